//! What can be wrong with a scene.

/// Why a scene cannot be rendered.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SceneError {
    /// The text is no scene; the message holds line and key.
    #[error("not a scene: {0}")]
    Syntax(Box<toml::de::Error>),
    /// The scene cannot be written as TOML.
    #[error("scene cannot be written: {0}")]
    Unwritable(Box<toml::ser::Error>),
    /// A number outside its range.
    #[error("{field} is {value}, must be {low} to {high}")]
    OutOfRange {
        /// The field, as a path through the file.
        field: &'static str,
        /// What stands there.
        value: f64,
        /// Least that is allowed.
        low: f64,
        /// Most that is allowed.
        high: f64,
    },
    /// An engine without a single segment to run through.
    #[error("the engine has no schedule")]
    NoSchedule,
}

impl SceneError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            SceneError::Syntax(_) => "compare with a scene file under fixtures/synth",
            SceneError::Unwritable(_) => "keep the seed below 9,223,372,036,854,775,808",
            SceneError::OutOfRange { .. } => "change the number in the scene file",
            SceneError::NoSchedule => {
                "add at least one [[engine.schedule]] with course, rpm and seconds"
            }
        }
    }
}
