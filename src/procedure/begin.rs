//! How a tuning begins.
use serde::{Deserialize, Serialize};

/// In which state the machine is when the tuning begins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AsFound {
    /// Runs and is warm.
    Warm,
    /// Runs, but is cold.
    Cold,
    /// Does not run.
    #[default]
    Stopped,
}

/// How a tuning begins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Begin {
    /// State of the machine.
    pub as_found: AsFound,
    /// The checks before a screw is touched were already made.
    pub skip_checks: bool,
    /// The screws stay where they are instead of going to their base settings.
    pub no_base: bool,
}
