//! What was measured at one moment of a visit.
use serde::{Deserialize, Serialize};

use super::error::BookError;
use crate::firing::FiringKind;
use crate::reading::{Plateau, Reading};
use crate::units::Rpm;

/// How it was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// Heard in a clip by this program.
    Heard,
    /// Heard during a tuning by this program.
    Tuning,
    /// Typed in.
    Typed,
}

/// A speed that was held.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Held {
    /// The speed.
    pub rpm: Rpm,
    /// Lower end of the 95 % interval, where known.
    #[serde(default)]
    pub low: Option<Rpm>,
    /// Upper end of it.
    #[serde(default)]
    pub high: Option<Rpm>,
}

impl Held {
    /// A speed without an interval.
    pub fn bare(rpm: Rpm) -> Held {
        Held {
            rpm,
            low: None,
            high: None,
        }
    }
}

impl From<&Plateau> for Held {
    fn from(plateau: &Plateau) -> Held {
        Held {
            rpm: plateau.rpm,
            low: Some(plateau.rpm_low),
            high: Some(plateau.rpm_high),
        }
    }
}

/// What was measured at one moment of a visit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// How.
    pub how: How,
    /// Idle.
    #[serde(default)]
    pub idle: Option<Held>,
    /// Full throttle without load.
    #[serde(default)]
    pub full_throttle: Option<Held>,
    /// Share of the turns at full throttle without a full firing, 0 to 1.
    #[serde(default)]
    pub skip_ratio: Option<f64>,
    /// How it fired at full throttle.
    #[serde(default)]
    pub firing: Option<FiringKind>,
}

impl Measured {
    /// Nothing yet.
    pub fn nothing(how: How) -> Measured {
        Measured {
            how,
            idle: None,
            full_throttle: None,
            skip_ratio: None,
            firing: None,
        }
    }

    /// Whether anything was measured.
    pub fn is_empty(&self) -> bool {
        *self == Measured::nothing(self.how)
    }

    pub(super) fn check(&self) -> Result<(), BookError> {
        let held = [
            ("idle in rpm", self.idle),
            ("full throttle in rpm", self.full_throttle),
        ];
        for (what, held) in held {
            let Some(held) = held else { continue };
            for rpm in [Some(held.rpm), held.low, held.high].into_iter().flatten() {
                within(what, rpm.0, 0.0, 30_000.0)?;
            }
        }
        self.skip_ratio.map_or(Ok(()), |share| {
            within("share of skipped turns", share, 0.0, 1.0)
        })
    }
}

/// Whether a value lies where such values lie.
pub(super) fn within(what: &'static str, value: f64, low: f64, high: f64) -> Result<(), BookError> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(BookError::Value {
            what,
            value,
            low,
            high,
        })
    }
}

impl From<&Reading> for Measured {
    /// The idle and full-throttle plateaus of a clip.
    fn from(reading: &Reading) -> Measured {
        let full = reading.full_throttle.as_ref();
        Measured {
            how: How::Heard,
            idle: reading.idle.as_ref().map(Held::from),
            full_throttle: full.map(Held::from),
            skip_ratio: full.and_then(|plateau| plateau.skip_ratio),
            firing: full.map(|plateau| plateau.firing),
        }
    }
}
