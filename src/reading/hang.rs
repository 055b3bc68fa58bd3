//! Return to idle: how long it takes, and whether it hangs above idle on the way.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::{Rpm, Seconds};

/// A return from a higher speed to idle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Return {
    /// When the speed begins to fall.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// Speed before the fall.
    pub from_rpm: Rpm,
    /// The idle that it settles on; where the clip ends while it hangs, the idle before.
    pub idle_rpm: Rpm,
    /// Time from the start of the fall until idle is reached; until the end of the clip where it
    /// hangs to the end.
    #[serde(rename = "return_s")]
    pub time: Seconds,
    /// A plateau above idle on the way.
    pub hang: Option<Hang>,
    /// Median confidence of its frames, 0 to 1.
    pub confidence: f64,
}

/// A plateau above idle with the throttle closed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hang {
    /// Speed of the plateau.
    pub plateau_rpm: Rpm,
    /// Height above idle.
    pub above_idle_rpm: Rpm,
    /// How long it hangs.
    #[serde(rename = "lasts_s")]
    pub lasts: Seconds,
    /// It hangs until the clip ends.
    pub to_the_end: bool,
}
