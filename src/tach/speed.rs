//! What the tachometer says of one moment.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Rpm;

/// A crank speed with its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Speed {
    /// Best estimate.
    pub rpm: Rpm,
    /// Lower end of the 95 % interval.
    pub low: Rpm,
    /// Upper end of the 95 % interval.
    pub high: Rpm,
    /// Probability that the base is right (not half, double, …), 0 to 1.
    pub confidence: f64,
    /// A second base that fits as well, where nothing decides between the two.
    pub other: Option<Rpm>,
}

/// Why there is no speed.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Unreadable {
    /// Digital silence or near to it.
    Silence,
    /// Sound, but no set of lines that belong to one crank.
    NoEngine,
    /// Lines that never move: mains hum or a machine that runs at one fixed speed.
    SteadyHum,
    /// A voice, a chord, a whistle: a pitch, but not an engine's.
    OtherPitch,
    /// An engine may be there, but the noise hides it.
    TooMuchNoise,
    /// Two engines at once and none stands out.
    TwoEngines,
    /// The speed changes faster than can be followed: starting, stopping.
    Unsteady,
}

impl Unreadable {
    /// All of them.
    pub const ALL: [Unreadable; 7] = [
        Unreadable::Silence,
        Unreadable::NoEngine,
        Unreadable::SteadyHum,
        Unreadable::OtherPitch,
        Unreadable::TooMuchNoise,
        Unreadable::TwoEngines,
        Unreadable::Unsteady,
    ];
}
