//! What can be wrong with a profile.
use std::fmt;

use thiserror::Error;

/// Where in a profile: the line (none when the profile did not come from a text) and the key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Line, counted from 1.
    pub line: Option<usize>,
    /// The key with its table, as in `speeds.idle`.
    pub key: String,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}, {}", self.key),
            None => f.write_str(&self.key),
        }
    }
}

/// Why a profile cannot be used. [`ProfileError::hint`] says what to do.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ProfileError {
    /// The text is not TOML.
    #[error("line {line}, column {column}: {message}")]
    Syntax {
        /// Line, counted from 1.
        line: usize,
        /// Column in characters, counted from 1.
        column: usize,
        /// What the TOML reader says.
        message: String,
    },
    /// A key that no profile has.
    #[error("{at}: there is no such key{}", did_you_mean(.nearest))]
    UnknownKey {
        /// Where.
        at: Place,
        /// A known key that reads like it.
        nearest: Option<&'static str>,
        /// The keys of this table.
        known: &'static [&'static str],
    },
    /// A value of the wrong type.
    #[error("{at}: {expected} is expected here, not {found}")]
    WrongType {
        /// Where.
        at: Place,
        /// What should stand there.
        expected: &'static str,
        /// What stands there.
        found: String,
    },
    /// A word that is none of the choices.
    #[error("{at}: \"{word}\" is not one of the choices{}", did_you_mean(.nearest))]
    UnknownWord {
        /// Where.
        at: Place,
        /// The word.
        word: String,
        /// A choice that reads like it.
        nearest: Option<&'static str>,
        /// All choices.
        choices: &'static [&'static str],
    },
    /// A speed or count outside what a small engine can have.
    #[error("{at}: {value} is outside {low} to {high}")]
    OutOfRange {
        /// Where.
        at: Place,
        /// The value; may be infinite or not a number.
        value: f64,
        /// Lowest allowed.
        low: f64,
        /// Highest allowed.
        high: f64,
    },
    /// A range with its higher end first.
    #[error("{at}: the range runs backwards, from {low} to {high}")]
    Reversed {
        /// Where.
        at: Place,
        /// First value.
        low: f64,
        /// Second value.
        high: f64,
    },
    /// A blower has no clutch.
    #[error("{at}: a blower has no clutch, but {value} rpm is given")]
    ClutchOnBlower {
        /// Where.
        at: Place,
        /// The clutch-in speed.
        value: f64,
    },
    /// One speed must lie below another and does not.
    #[error("{at}: {low_name} ({low} rpm) must lie below {high_name} ({high} rpm)")]
    WrongOrder {
        /// Where.
        at: Place,
        /// Name of the speed that should be lower.
        low_name: &'static str,
        /// Its value.
        low: f64,
        /// Name of the speed that should be higher.
        high_name: &'static str,
        /// Its value.
        high: f64,
    },
}

impl ProfileError {
    /// The line it points at, counted from 1; none when the profile did not come from a text.
    pub fn line(&self) -> Option<usize> {
        match self {
            ProfileError::Syntax { line, .. } => Some(*line),
            ProfileError::UnknownKey { at, .. }
            | ProfileError::WrongType { at, .. }
            | ProfileError::UnknownWord { at, .. }
            | ProfileError::OutOfRange { at, .. }
            | ProfileError::Reversed { at, .. }
            | ProfileError::ClutchOnBlower { at, .. }
            | ProfileError::WrongOrder { at, .. } => at.line,
        }
    }

    /// What to do next.
    pub fn hint(&self) -> String {
        match self {
            ProfileError::Syntax { .. } => "each line is a key, an equals sign and a value; words \
                 stand in \"quotes\", ranges in [brackets]"
                .into(),
            ProfileError::UnknownKey { known, .. } => {
                format!("known keys here: {}", known.join(", "))
            }
            ProfileError::WrongType { .. } => {
                "speeds are plain numbers in rpm, ranges are [low, high], words stand in \"quotes\""
                    .into()
            }
            ProfileError::UnknownWord { choices, .. } => {
                format!("choose one of: \"{}\"", choices.join("\", \""))
            }
            ProfileError::OutOfRange { .. } => {
                "give the figure from the maker's manual, or leave the key out if it is not known"
                    .into()
            }
            ProfileError::Reversed { low, high, .. } => {
                format!("write the lower end first: [{high}, {low}]")
            }
            ProfileError::ClutchOnBlower { .. } => {
                "leave clutch_in out, or correct the use of the machine".into()
            }
            ProfileError::WrongOrder { .. } => {
                "look both figures up in the maker's manual; leave out the one that is not known"
                    .into()
            }
        }
    }
}

fn did_you_mean(nearest: &Option<&'static str>) -> String {
    match nearest {
        Some(word) => format!(" (did you mean \"{word}\"?)"),
        None => String::new(),
    }
}
