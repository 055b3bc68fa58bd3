//! What a clip should read.
use serde::Deserialize;

use crate::firing::FiringKind;

/// What a clip should read: the fields of the expectation file.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expectation {
    /// Something is heard as an engine, or nothing is.
    pub engine: Option<bool>,
    /// Share of the clip with a speed, least and most, 0 to 1.
    pub readable: Option<[f64; 2]>,
    /// Parts of the clip.
    #[serde(default)]
    pub stretch: Vec<Stretch>,
}

/// What a part of the clip should read.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stretch {
    /// Begin, in seconds.
    pub from_s: f64,
    /// End, in seconds.
    pub to_s: f64,
    /// Crank speed, least and most.
    pub rpm: Option<[f64; 2]>,
    /// Kind of firing.
    pub firing: Option<FiringKind>,
    /// Mean share of turns without a full firing, least and most, 0 to 1.
    pub skip_ratio: Option<[f64; 2]>,
    /// Share of the readable frames that must agree on speed and firing, 0 to 1.
    pub share: Option<f64>,
    /// Share of the stretch with a speed, least and most, 0 to 1.
    pub readable: Option<[f64; 2]>,
}

/// Why an expectation cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ExpectationError {
    /// The text is none.
    #[error("no expectation: {}", .0.message())]
    Syntax(Box<toml::de::Error>),
    /// A range that no number fits.
    #[error("{key}: the range [{low}, {high}] runs backwards or leaves {least} to {most}")]
    Range {
        /// The key.
        key: String,
        /// First value.
        low: f64,
        /// Second value.
        high: f64,
        /// Least that is allowed.
        least: f64,
        /// Most that is allowed.
        most: f64,
    },
    /// Nothing is expected.
    #[error("nothing is expected")]
    Empty,
}

impl ExpectationError {
    /// What to do next, one line.
    pub fn hint(&self) -> &'static str {
        match self {
            ExpectationError::Syntax(_) => "`engine-note check --help` shows an expectation file",
            ExpectationError::Range { .. } => {
                "write the lower end first; shares run from 0 to 1, times from 0"
            }
            ExpectationError::Empty => {
                "say what should be heard: `engine`, `readable` or a [[stretch]]"
            }
        }
    }
}

impl Expectation {
    /// Reads an expectation file.
    ///
    /// # Errors
    /// Where the text is none, a range is impossible, or nothing is expected.
    pub fn from_toml(text: &str) -> Result<Self, ExpectationError> {
        let expectation: Expectation =
            toml::from_str(text).map_err(|error| ExpectationError::Syntax(Box::new(error)))?;
        expectation.check()?;
        Ok(expectation)
    }

    fn check(&self) -> Result<(), ExpectationError> {
        let range = |key: String, range: Option<[f64; 2]>, most: f64| match range {
            Some([low, high]) if !(low <= high && low >= 0.0 && high <= most) => {
                Err(ExpectationError::Range {
                    key,
                    low,
                    high,
                    least: 0.0,
                    most,
                })
            }
            _ => Ok(()),
        };
        range("readable".into(), self.readable, 1.0)?;
        for (at, stretch) in self.stretch.iter().enumerate() {
            let key = |key: &str| format!("stretch {}, {key}", at + 1);
            range(
                key("from_s and to_s"),
                Some([stretch.from_s, stretch.to_s]),
                1e9,
            )?;
            range(key("rpm"), stretch.rpm, 1e6)?;
            range(key("skip_ratio"), stretch.skip_ratio, 1.0)?;
            range(key("share"), stretch.share.map(|share| [share, 1.0]), 1.0)?;
            range(key("readable"), stretch.readable, 1.0)?;
        }
        let nothing = self.engine.is_none() && self.readable.is_none() && self.stretch.is_empty();
        if nothing {
            Err(ExpectationError::Empty)
        } else {
            Ok(())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_expectation_that_cannot_be_met_or_says_nothing_is_refused() {
        let error = |text: &str| Expectation::from_toml(text).unwrap_err().to_string();
        assert_eq!(error(""), "nothing is expected");
        assert!(error("engine = 3").contains("expected a boolean"));
        assert!(error("readable = [0.9, 0.1]").starts_with("readable: "));
        assert!(error("readable = [0.9, nan]").starts_with("readable: "));
        assert!(error("speed = 3").contains("unknown field `speed`"));
        assert!(
            error("[[stretch]]\nfrom_s = 2\nto_s = 1").starts_with("stretch 1, from_s and to_s: ")
        );
    }
}
