//! How the engine fires.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Decibels;

/// How the engine fires, in the words of the trade.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FiringKind {
    /// Every revolution that should fire does.
    Clean,
    /// Firings are skipped, but not by an ignition limiter.
    FourStroking,
    /// The coil cuts the spark at its ceiling.
    Limiter,
    /// A speed is heard, but the firing cannot be judged.
    Unclear,
    /// No engine is heard.
    None,
}

/// The rhythm of skipped firings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Pattern {
    /// Fires every second revolution.
    EverySecond,
    /// Fires every third revolution.
    EveryThird,
    /// Fires every fourth revolution.
    EveryFourth,
    /// Skips without a fixed rhythm.
    Irregular,
    /// Skips come in bursts.
    Bursts,
}

/// What is heard of the firing around one moment.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Firing {
    /// The kind, after hysteresis.
    pub kind: FiringKind,
    /// Share of revolutions without a full firing, 0 to 1; none where it cannot be judged.
    pub skip_ratio: Option<f64>,
    /// Rhythm of the skips; none where nothing is skipped.
    pub pattern: Option<Pattern>,
    /// Level of the strongest sub-order family against the whole orders.
    pub sub_order: Option<Decibels>,
    /// Cycle-to-cycle variation: mean squared difference of neighbouring revolutions over twice
    /// their mean square, 0 (all alike) to 1 (nothing in common).
    pub variation: Option<f64>,
}
