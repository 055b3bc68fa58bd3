//! A stretch of sound in which the engine does one thing.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::firing::FiringKind;
use crate::tach::Unreadable;
use crate::units::{Rpm, Seconds};

/// What the engine does in a span.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SpanKind {
    /// Turns steadily at the lowest speed it settles on.
    Idle,
    /// Gains speed.
    Rising,
    /// Steady between idle and full throttle.
    PartThrottle,
    /// Steady on the upper plateau.
    FullThrottle,
    /// Loses speed, or hangs above idle on the way back to it.
    Falling,
    /// No engine runs, before, between or after the stretches where one does.
    Stopped,
    /// Sound, but no speed can be read.
    Unreadable,
}

/// A stretch of sound in which the engine does one thing.
///
/// Speeds are medians in which frames of low confidence, or with a second base that fits as well,
/// count little. `None` throughout where no speed is readable.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Span {
    /// What the engine does.
    pub kind: SpanKind,
    /// Start, from the start of the sound.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// End, from the start of the sound.
    #[serde(rename = "end_s")]
    pub end: Seconds,
    /// Median speed.
    pub rpm: Option<Rpm>,
    /// Lower end of the 95 % interval of the median.
    pub rpm_low: Option<Rpm>,
    /// Upper end of the 95 % interval of the median.
    pub rpm_high: Option<Rpm>,
    /// Robust spread of the frames around the median: half the range that holds the middle 68 %.
    pub spread_rpm: Option<Rpm>,
    /// The same in percent of the median.
    pub spread_pct: Option<f64>,
    /// Speed at the start of a rising or falling span.
    pub from_rpm: Option<Rpm>,
    /// Speed at the end of a rising or falling span.
    pub to_rpm: Option<Rpm>,
    /// The most frequent kind of firing.
    pub firing: FiringKind,
    /// Share of the frames that have it, 0 to 1.
    pub firing_share: f64,
    /// Median share of revolutions without a full firing, 0 to 1.
    pub skip_ratio: Option<f64>,
    /// Probability that the speed's base is right, median of the frames, 0 to 1.
    pub confidence: f64,
    /// A second speed that fits as well, where nothing decides between the two in a fifth of the
    /// frames or more.
    pub other_rpm: Option<Rpm>,
    /// The most frequent reason, where nothing is readable.
    pub unreadable: Option<Unreadable>,
}

impl Span {
    /// Its length.
    pub fn length(&self) -> Seconds {
        Seconds(self.end.0 - self.start.0)
    }
}

/// A speed that the engine held, pooled over all spans of one kind.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Plateau {
    /// Seconds for which it was held.
    #[serde(rename = "held_s")]
    pub held: Seconds,
    /// Median speed.
    pub rpm: Rpm,
    /// Lower end of the 95 % interval of the median.
    pub rpm_low: Rpm,
    /// Upper end of the 95 % interval of the median.
    pub rpm_high: Rpm,
    /// Robust spread of the frames around the median: half the range that holds the middle 68 %.
    pub spread_rpm: Rpm,
    /// The same in percent of the median.
    pub spread_pct: f64,
    /// The most frequent kind of firing.
    pub firing: FiringKind,
    /// Share of the frames that have it, 0 to 1.
    pub firing_share: f64,
    /// Median share of revolutions without a full firing, 0 to 1.
    pub skip_ratio: Option<f64>,
    /// Probability that the speed's base is right, median of the frames, 0 to 1.
    pub confidence: f64,
    /// A second speed that fits as well, where nothing decides between the two in a fifth of the
    /// frames or more.
    pub other_rpm: Option<Rpm>,
    /// Share of samples at full scale, in percent.
    pub clipped_pct: f64,
}
