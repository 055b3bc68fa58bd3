//! The result of one clip: everything that any format shows.
use schemars::JsonSchema;
use serde::Serialize;

use super::frames::{FrameLine, KeptFrames};
use super::trace::Trace;
use crate::guide::Advice;
use crate::machine::Profile;
use crate::reading::{Reading, SpanKind};
use crate::units::Seconds;

/// The least length of a stretch with a speed that counts as an engine heard, in seconds. Shorter
/// ones come from a blip of noise now and then.
const LEAST_ENGINE: f64 = 0.3;

/// Which layout of the data this is; a change that could break a reader gives a new name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Layout {
    /// The first.
    #[serde(rename = "engine-note/reading/1")]
    Reading1,
}

/// The clip.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ClipFacts {
    /// Path as it was given; "-" for standard input. What is not Unicode in it is replaced.
    pub path: String,
    /// Length of the sound that was read, in seconds.
    pub seconds: f64,
    /// Sample rate of the clip, in samples per second.
    #[serde(rename = "sample_rate_hz")]
    pub sample_rate: u32,
    /// Number of channels of the clip.
    pub channels: usize,
}

/// Something about the clip that may make the reading worse.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Notice {
    /// What is wrong.
    pub words: String,
    /// What to do about it.
    pub hint: String,
}

/// What was heard in one clip and what follows from it.
#[derive(Serialize, JsonSchema)]
pub struct Report {
    /// Which layout of the data this is.
    pub schema: Layout,
    /// The clip.
    pub clip: ClipFacts,
    /// What was known of the machine, as it was used.
    pub machine: Profile,
    /// A line for each moment, in order.
    #[schemars(with = "Vec<FrameLine>")]
    pub frames: KeptFrames,
    /// Spans and what they show together.
    #[serde(flatten)]
    pub reading: Reading,
    /// What to do.
    pub advice: Advice,
    /// What may make the reading worse.
    pub warnings: Vec<Notice>,
    /// The course of the clip, for the chart.
    #[serde(skip)]
    pub trace: Trace,
}

impl Report {
    /// Whether anything was audible as an engine: a stretch of 0.3 s or longer with a speed.
    pub fn heard_engine(&self) -> bool {
        self.reading.spans.iter().any(|span| match span.kind {
            SpanKind::Stopped | SpanKind::Unreadable => false,
            SpanKind::Idle
            | SpanKind::Rising
            | SpanKind::PartThrottle
            | SpanKind::FullThrottle
            | SpanKind::Falling => span.length() >= Seconds(LEAST_ENGINE),
        })
    }
}
