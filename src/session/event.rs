//! The event stream, one JSON object a line.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::firing::FiringKind;
use crate::procedure::{Heard, Outcome, Prompt};
use crate::units::{Rpm, Seconds};

/// Name of the layout of the stream; it changes when a reader could break.
pub const SCHEMA: &str = "engine-note/events/1";

/// One event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Event {
    /// The first event.
    Start {
        /// Version of the stream.
        schema: String,
        /// Time between readings.
        hop_s: Seconds,
        /// How far a reading's centre is behind the sound, at most.
        lag_s: Seconds,
    },
    /// What is heard at one hop; null where nothing is readable.
    Reading {
        /// Centre of its window.
        t_s: Seconds,
        /// Crank speed.
        rpm: Option<Rpm>,
        /// Lower end of the 95 % interval.
        rpm_low: Option<Rpm>,
        /// Upper end of the 95 % interval.
        rpm_high: Option<Rpm>,
        /// Confidence in the base, 0 to 1.
        confidence: Option<f64>,
        /// Firing kind.
        firing: FiringKind,
        /// Share of the judged revolutions of the last second without a full firing; under the
        /// limiter of cut ones.
        skip_ratio: Option<f64>,
    },
    /// What the technician is asked to do.
    Prompt {
        /// Time of the latest sample received.
        t_s: Seconds,
        /// The prompt.
        #[serde(flatten)]
        prompt: Prompt,
    },
    /// How it ended; the last event.
    Result {
        /// Time of the latest sample received.
        t_s: Seconds,
        /// The outcome.
        #[serde(flatten)]
        outcome: Outcome,
    },
}

impl Event {
    /// What is heard at one hop.
    pub fn reading(heard: &Heard) -> Event {
        let frame = &heard.frame;
        let speed = frame.speed.ok();
        let rounded = |rpm: Rpm| Rpm(places(rpm.0, 1));
        Event::Reading {
            t_s: Seconds(places(frame.t.0, 4)),
            rpm: speed.map(|speed| rounded(speed.rpm)),
            rpm_low: speed.map(|speed| rounded(speed.low)),
            rpm_high: speed.map(|speed| rounded(speed.high)),
            confidence: speed.map(|speed| places(speed.confidence, 4)),
            firing: frame.firing.kind,
            skip_ratio: heard.skip_ratio.map(|share| places(share, 4)),
        }
    }
}

/// Rounded to so many decimals, so that lines stay short.
pub(super) fn places(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale).round() / scale
}
