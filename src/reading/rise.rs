//! Acceleration from idle: how long it takes, and a bog in it.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::{Rpm, Seconds};

/// An acceleration from idle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Acceleration {
    /// When the speed leaves idle.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// Idle speed before it.
    pub from_rpm: Rpm,
    /// The plateau after it, or the highest speed reached where there is none.
    pub to_rpm: Rpm,
    /// Time from leaving idle to 90 % of `to_rpm`.
    #[serde(rename = "rise_s")]
    pub rise: Seconds,
    /// A bog on the way: the speed sags before it rises.
    pub bog: Option<Bog>,
    /// Median confidence of its frames, 0 to 1.
    pub confidence: f64,
}

/// A sag of the speed while it should rise.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Bog {
    /// Depth below the highest speed reached before it.
    pub dip_rpm: Rpm,
    /// Time from that highest speed until it is reached again.
    #[serde(rename = "lasts_s")]
    pub lasts: Seconds,
}
