//! Hunting: a slow periodic swing of the idle speed.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::{Hertz, Rpm, Seconds};

/// A slow periodic swing of the idle speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hunting {
    /// Swings per second.
    pub rate_hz: Hertz,
    /// Swing to either side of the mean, in percent of it: 4 means from 4 % below to 4 % above.
    pub depth_pct: f64,
    /// Mean speed of the swing less its depth.
    pub low_rpm: Rpm,
    /// Mean speed of the swing plus its depth.
    pub high_rpm: Rpm,
    /// Seconds of idle in which it was found.
    #[serde(rename = "heard_s")]
    pub heard: Seconds,
    /// Share of the speed's variation that the swing explains, 0 to 1.
    pub explained: f64,
}
