//! One visit of a machine to the bench.
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::air::Air;
use super::digest::Digest;
use super::error::BookError;
use super::measured::{Measured, within};
use crate::guide::{Direction, Screw, Turn};
use crate::procedure::{OutcomeFault, ProofLine, Reference, Verdict};

/// One visit of a machine to the bench.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Visit {
    /// The day.
    pub date: Date,
    /// Who did the work.
    #[serde(default)]
    pub technician: Option<String>,
    /// What was fitted to the machine: head and line, blade, bar and chain.
    #[serde(default)]
    pub attachment: Option<String>,
    /// What the customer or the user complained of.
    #[serde(default)]
    pub complaint: Option<String>,
    /// What was checked before a screw was touched.
    #[serde(default)]
    pub checks: Vec<Check>,
    /// As it came in.
    #[serde(default)]
    pub before: Option<Measured>,
    /// As it left.
    #[serde(default)]
    pub after: Option<Measured>,
    /// Where the screws stood as it came in.
    #[serde(default)]
    pub screws_found: Screws,
    /// Where they stood as it left.
    #[serde(default)]
    pub screws_left: Screws,
    /// What was turned, in order.
    #[serde(default)]
    pub moves: Vec<MoveMade>,
    /// The proof, line by line.
    #[serde(default)]
    pub proof: Vec<ProofLine>,
    /// How a tuning ended, if there was one.
    #[serde(default)]
    pub verdict: Option<Verdict>,
    /// Likely faults, the likeliest first.
    #[serde(default)]
    pub faults: Vec<OutcomeFault>,
    /// In the technician's own words.
    #[serde(default)]
    pub notes: Option<String>,
    /// The air.
    #[serde(default)]
    pub air: Air,
    /// Fuel and mix.
    #[serde(default)]
    pub fuel: Option<String>,
    /// The clips that were heard.
    #[serde(default)]
    pub clips: Vec<Clip>,
}

/// A visit with its number in the book.
#[derive(Clone, Debug, PartialEq)]
pub struct Numbered {
    /// The number, from 1.
    pub number: u32,
    /// The visit.
    pub visit: Visit,
}

/// Something that was checked before a screw was touched.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// What.
    pub what: String,
    /// What was found.
    pub found: Finding,
}

/// What a check found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Finding {
    /// As it should be.
    Good,
    /// Not as it should be, or done with something changed: in words.
    Words(String),
    /// Not checked.
    NotChecked,
}

/// Where the screws stand, in turns; none where it is not known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Screws {
    /// High-speed screw, out from lightly seated.
    #[serde(default)]
    pub high: Option<f64>,
    /// Low-speed screw, out from lightly seated.
    #[serde(default)]
    pub low: Option<f64>,
    /// Idle-speed screw, in from its first touch.
    #[serde(default)]
    pub idle: Option<f64>,
}

impl Screws {
    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        *self == Screws::default()
    }

    /// One of them.
    pub fn get(&self, screw: Screw) -> Option<f64> {
        match screw {
            Screw::High => self.high,
            Screw::Low => self.low,
            Screw::Idle => self.idle,
        }
    }

    /// One of them, to be set.
    pub fn of(&mut self, screw: Screw) -> &mut Option<f64> {
        match screw {
            Screw::High => &mut self.high,
            Screw::Low => &mut self.low,
            Screw::Idle => &mut self.idle,
        }
    }
}

/// A turn that was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MoveMade {
    /// Which screw.
    pub screw: Screw,
    /// Which way.
    pub direction: Direction,
    /// How far.
    pub turns: Turn,
    /// From where it was counted.
    pub from: Reference,
}

/// When in a visit a clip was recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Moment {
    /// As the machine came in.
    Before,
    /// While it was worked on.
    During,
    /// As it left.
    After,
}

impl Moment {
    /// All of them, in order.
    pub const ALL: [Moment; 3] = [Moment::Before, Moment::During, Moment::After];

    /// Its word in the file.
    pub fn word(self) -> &'static str {
        match self {
            Moment::Before => "before",
            Moment::During => "during",
            Moment::After => "after",
        }
    }
}

/// A clip of the visit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Clip {
    /// When it was recorded.
    pub moment: Moment,
    /// Where it lay; what is not Unicode in it is replaced.
    pub path: String,
    /// By what it is known again.
    pub sha256: Digest,
}

impl Visit {
    /// A visit of which only the day is known.
    pub fn on(date: Date) -> Visit {
        Visit {
            date,
            technician: None,
            attachment: None,
            complaint: None,
            checks: vec![],
            before: None,
            after: None,
            screws_found: Screws::default(),
            screws_left: Screws::default(),
            moves: vec![],
            proof: vec![],
            verdict: None,
            faults: vec![],
            notes: None,
            air: Air::default(),
            fuel: None,
            clips: vec![],
        }
    }

    /// Whether every value can be one of an engine, a screw or the weather.
    ///
    /// # Errors
    /// With the first that cannot.
    pub fn check(&self) -> Result<(), BookError> {
        for measured in [&self.before, &self.after].into_iter().flatten() {
            measured.check()?;
        }
        for screws in [self.screws_found, self.screws_left] {
            for turns in [screws.high, screws.low, screws.idle].into_iter().flatten() {
                within("position of a screw in turns", turns, -30.0, 30.0)?;
            }
        }
        for line in &self.proof {
            for value in [line.value, line.low, line.high].into_iter().flatten() {
                within("value of a proof line", value, -1e9, 1e9)?;
            }
        }
        self.air.check()
    }
}
