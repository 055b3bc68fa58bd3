//! Starting profiles by class of machine.
use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::check::{IDLE_MARGIN, contradiction};
use super::origin::Origin;
use super::profile::{Figure, Profile, SpeedRange, Use};
use crate::units::Rpm;

/// A class of machine. Its speeds are common practice, no source: a place to start from until the
/// maker's figures are at hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Class {
    /// Trimmer of 20 to 30 cm³ with head and line at full length.
    Trimmer,
    /// Brush cutter of 30 to 55 cm³ with a blade.
    BrushCutter,
    /// Saw of 25 to 35 cm³.
    SmallSaw,
    /// Saw of 40 to 60 cm³.
    Saw,
    /// Saw of 70 to 120 cm³.
    LargeSaw,
    /// Hand-held blower.
    Blower,
    /// Blower carried on the back.
    BackpackBlower,
    /// Hedge trimmer of 21 to 27 cm³.
    HedgeTrimmer,
}

/// Common-practice speeds of a class in rpm.
struct Usual {
    used_for: Use,
    idle: (f64, f64),
    /// The range over which the clutches of the class begin to bite; none on a blower.
    clutch_in: Option<(f64, f64)>,
    full_throttle: (f64, f64),
}

impl Class {
    /// All classes.
    pub const ALL: [Class; 8] = [
        Class::Trimmer,
        Class::BrushCutter,
        Class::SmallSaw,
        Class::Saw,
        Class::LargeSaw,
        Class::Blower,
        Class::BackpackBlower,
        Class::HedgeTrimmer,
    ];

    /// Its word on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Class::Trimmer => "trimmer",
            Class::BrushCutter => "brush-cutter",
            Class::SmallSaw => "small-saw",
            Class::Saw => "saw",
            Class::LargeSaw => "large-saw",
            Class::Blower => "blower",
            Class::BackpackBlower => "backpack-blower",
            Class::HedgeTrimmer => "hedge-trimmer",
        }
    }

    /// What belongs to it, with its displacement.
    pub fn describes(self) -> &'static str {
        match self {
            Class::Trimmer => "trimmer, 20 to 30 cm³, head and line at full length",
            Class::BrushCutter => "brush cutter, 30 to 55 cm³, blade",
            Class::SmallSaw => "saw, 25 to 35 cm³",
            Class::Saw => "saw, 40 to 60 cm³",
            Class::LargeSaw => "saw, 70 to 120 cm³",
            Class::Blower => "hand-held blower",
            Class::BackpackBlower => "back-pack blower",
            Class::HedgeTrimmer => "hedge trimmer, 21 to 27 cm³",
        }
    }

    /// Common practice, no source.
    fn usual(self) -> Usual {
        let (used_for, idle, clutch_in, full_throttle) = match self {
            Class::Trimmer => (
                Use::TrimmerHead,
                (2_600.0, 3_200.0),
                Some((3_500.0, 4_500.0)),
                (7_500.0, 10_500.0),
            ),
            Class::BrushCutter => (
                Use::BrushBlade,
                (2_500.0, 3_000.0),
                Some((3_400.0, 4_300.0)),
                (9_500.0, 12_500.0),
            ),
            Class::SmallSaw => (
                Use::Saw,
                (2_800.0, 3_300.0),
                Some((3_600.0, 4_500.0)),
                (11_500.0, 13_500.0),
            ),
            Class::Saw => (
                Use::Saw,
                (2_500.0, 3_000.0),
                Some((3_300.0, 4_200.0)),
                (12_500.0, 14_000.0),
            ),
            Class::LargeSaw => (
                Use::Saw,
                (2_300.0, 2_800.0),
                Some((3_200.0, 3_800.0)),
                (12_000.0, 13_500.0),
            ),
            Class::Blower => (Use::Blower, (2_600.0, 3_200.0), None, (7_000.0, 8_500.0)),
            Class::BackpackBlower => (Use::Blower, (2_000.0, 2_600.0), None, (6_000.0, 7_800.0)),
            Class::HedgeTrimmer => (
                Use::Hedge,
                (2_600.0, 3_100.0),
                Some((3_600.0, 4_500.0)),
                (8_500.0, 11_000.0),
            ),
        };
        Usual {
            used_for,
            idle,
            clutch_in,
            full_throttle,
        }
    }

    /// The range over which clutches of this class usually begin to bite, in rpm; none on a blower.
    pub fn clutch_range(self) -> Option<SpeedRange> {
        self.usual().clutch_in.map(range)
    }

    /// A profile that holds nothing but the common-practice speeds of the class, all marked so.
    pub fn profile(self) -> Profile {
        let mut profile = Profile::default();
        profile.fill_from(self);
        profile
    }
}

fn range((low, high): (f64, f64)) -> SpeedRange {
    SpeedRange(Rpm(low), Rpm(high))
}

impl Usual {
    /// One clutch speed for the class: the middle of the range, and no less than its own idle
    /// range needs by the 1.25 rule, so that no class contradicts itself.
    fn clutch_speed(&self) -> Option<Rpm> {
        let (low, high) = self.clutch_in?;
        Some(Rpm(f64::midpoint(low, high).max(IDLE_MARGIN * self.idle.1)))
    }
}

impl Profile {
    /// Fills in what is missing from a class and marks it as typical. What is already known stays,
    /// and so does what would contradict it. Gives the figures that were filled in.
    pub fn fill_from(&mut self, class: Class) -> Vec<Figure> {
        let usual = class.usual();
        let blower_with_clutch = usual.used_for == Use::Blower && self.speeds.clutch_in.is_some();
        if self.used_for.is_none() && !blower_with_clutch {
            self.used_for = Some(usual.used_for);
        }
        let blower = self.used_for == Some(Use::Blower);
        let mut filled = Vec::new();
        for figure in [Figure::Idle, Figure::FullThrottle, Figure::ClutchIn] {
            if self.knows(figure) || (figure == Figure::ClutchIn && blower) {
                continue;
            }
            let mut trial = self.clone();
            match figure {
                Figure::Idle => {
                    trial.speeds.idle = Some(range(usual.idle));
                    trial.sources.idle = Some(Origin::Typical);
                }
                Figure::FullThrottle => {
                    trial.speeds.full_throttle = Some(range(usual.full_throttle));
                    trial.sources.full_throttle = Some(Origin::Typical);
                }
                Figure::ClutchIn => {
                    let Some(speed) = usual.clutch_speed() else {
                        continue;
                    };
                    trial.speeds.clutch_in = Some(speed);
                    trial.sources.clutch_in = Some(Origin::Typical);
                }
                // Limiters differ too much from coil to coil to be guessed from the class.
                Figure::Limiter => continue,
            }
            if contradiction(&trial).is_none() {
                *self = trial;
                filled.push(figure);
            }
        }
        filled
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// The word is none of the classes.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{word}\" is no class of machine")]
pub struct UnknownClass {
    /// The word.
    pub word: String,
}

impl UnknownClass {
    /// What to do next.
    pub fn hint(&self) -> String {
        format!("choose one of: {}", Class::ALL.map(Class::word).join(", "))
    }
}

impl FromStr for Class {
    type Err = UnknownClass;

    fn from_str(word: &str) -> Result<Self, UnknownClass> {
        Class::ALL
            .into_iter()
            .find(|class| class.word() == word)
            .ok_or_else(|| UnknownClass {
                word: word.to_owned(),
            })
    }
}
