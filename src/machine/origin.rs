//! Where a figure came from.
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where a figure came from; in the file one of three words or free text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(from = "String", into = "String")]
#[schemars(with = "String")]
pub enum Origin {
    /// The maker's manual or plate: wins over everything else.
    Maker,
    /// What machines of this class usually do: common practice, no source.
    Typical,
    /// Measured on this machine.
    Measured,
    /// In the technician's own words.
    Said(String),
}

impl Origin {
    /// The text in the file.
    pub fn as_str(&self) -> &str {
        match self {
            Origin::Maker => "maker",
            Origin::Typical => "typical",
            Origin::Measured => "measured",
            Origin::Said(words) => words,
        }
    }
}

impl From<String> for Origin {
    fn from(text: String) -> Self {
        match text.as_str() {
            "maker" => Origin::Maker,
            "typical" => Origin::Typical,
            "measured" => Origin::Measured,
            _ => Origin::Said(text),
        }
    }
}

impl From<Origin> for String {
    fn from(origin: Origin) -> Self {
        origin.as_str().to_owned()
    }
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Origin::Maker => f.write_str("maker's figure"),
            Origin::Typical => f.write_str("typical: common practice, no source"),
            Origin::Measured => f.write_str("measured on this machine"),
            Origin::Said(words) => f.write_str(words),
        }
    }
}

/// The origin of each speed, as far as it was said.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Sources {
    /// Of the idle speed.
    pub idle: Option<Origin>,
    /// Of the clutch-in speed.
    pub clutch_in: Option<Origin>,
    /// Of the full-throttle speed.
    pub full_throttle: Option<Origin>,
    /// Of the limiter speed.
    pub limiter: Option<Origin>,
}
