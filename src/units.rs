//! Units as types: the only place where 60 and 20·log10 stand.
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Crankshaft speed in revolutions per minute.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Rpm(pub f64);

impl Rpm {
    /// Revolutions per second: the frequency of order 1.
    pub fn hertz(self) -> Hertz {
        Hertz(self.0 / 60.0)
    }
}

impl fmt::Display for Rpm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.0} rpm", self.0)
    }
}

/// Frequency in cycles per second.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Hertz(pub f64);

impl Hertz {
    /// The crank speed whose order 1 is this frequency.
    pub fn rpm(self) -> Rpm {
        Rpm(self.0 * 60.0)
    }
}

impl fmt::Display for Hertz {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.1} Hz", self.0)
    }
}

/// A time or a duration in seconds.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema,
)]
#[serde(transparent)]
pub struct Seconds(pub f64);

impl fmt::Display for Seconds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} s", self.0)
    }
}

/// A level ratio in decibels.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Decibels(pub f64);

impl Decibels {
    /// From a ratio of amplitudes (not negative); 0 gives minus infinity.
    pub fn from_amplitude(ratio: f64) -> Self {
        Decibels(20.0 * ratio.log10())
    }

    /// From a ratio of powers (not negative); 0 gives minus infinity.
    pub fn from_power(ratio: f64) -> Self {
        Decibels(10.0 * ratio.log10())
    }

    /// The ratio of amplitudes.
    pub fn amplitude(self) -> f64 {
        10f64.powf(self.0 / 20.0)
    }
}

impl fmt::Display for Decibels {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.1} dB", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_hertz_is_sixty_rpm() {
        assert_eq!(Hertz(1.0).rpm(), Rpm(60.0));
        assert_eq!(Rpm(6600.0).hertz(), Hertz(110.0));
    }

    #[test]
    fn half_the_amplitude_is_six_decibels_down() {
        assert!((Decibels::from_amplitude(0.5).0 + 6.0206).abs() < 1e-4);
        assert!((Decibels::from_power(0.5).0 + 3.0103).abs() < 1e-4);
        assert!((Decibels(-20.0).amplitude() - 0.1).abs() < 1e-12);
    }
}
