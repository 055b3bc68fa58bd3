//! The whole of a clip: spans, what they show together, and how much could be read.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::hang::Return;
use super::hunting::Hunting;
use super::rise::Acceleration;
use super::span::{Plateau, Span};
use crate::tach::Unreadable;
use crate::units::{Decibels, Rpm, Seconds};

/// Everything that was read in one clip; `guide` and `report` take it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Reading {
    /// Length of the sound that the frames cover.
    #[serde(rename = "heard_s")]
    pub heard: Seconds,
    /// Seconds with a readable speed.
    #[serde(rename = "readable_s")]
    pub readable: Seconds,
    /// Share of the readable frames with low confidence or a second base that fits, 0 to 100.
    pub doubtful_pct: f64,
    /// What the engine does, in order, without gaps.
    pub spans: Vec<Span>,
    /// The idle, pooled over its spans.
    pub idle: Option<Plateau>,
    /// Full throttle, pooled over its spans.
    pub full_throttle: Option<Plateau>,
    /// Highest speed that was held for 0.3 s in frames that can be trusted.
    pub peak_rpm: Option<Rpm>,
    /// A slow periodic swing of the idle speed.
    pub hunting: Option<Hunting>,
    /// Accelerations from idle, in order.
    pub accelerations: Vec<Acceleration>,
    /// Returns to idle, in order.
    pub returns: Vec<Return>,
    /// Why frames were not readable, most frequent first.
    pub unreadable: Vec<UnreadableTime>,
    /// Root-mean-square level of the whole clip against full scale; none for digital silence.
    pub level_dbfs: Option<Decibels>,
    /// Share of samples at full scale, in percent.
    pub clipped_pct: f64,
}

/// How long nothing could be read for one reason.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UnreadableTime {
    /// The reason.
    pub reason: Unreadable,
    /// For how long.
    #[serde(rename = "time_s")]
    pub time: Seconds,
}
