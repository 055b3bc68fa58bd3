//! One reading: what is heard around one moment.
use serde::{Deserialize, Serialize};

use crate::firing::Firing;
use crate::tach::{Speed, Unreadable};
use crate::units::{Decibels, Seconds};

/// What is heard around one moment.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Frame {
    /// Centre of what the frame describes, from the start of the sound.
    pub t: Seconds,
    /// Crank speed, or why there is none.
    pub speed: Result<Speed, Unreadable>,
    /// Firing; its kind is `None` exactly where there is no speed.
    pub firing: Firing,
    /// Root-mean-square level against full scale.
    pub level: Decibels,
    /// Share of samples at or beyond full scale, 0 to 1.
    pub clipped: f64,
}
