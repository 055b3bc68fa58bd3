//! Where the sound of a tuning comes from.
use std::time::Duration;

use super::bench::Bench;
use crate::capture::{Condition, Fault, Live, Piece};
use crate::units::Seconds;

/// How long sound is waited for before keys are looked at again.
pub const WAIT: Duration = Duration::from_millis(20);

/// Where the sound comes from.
pub enum Feed {
    /// A microphone or a clip.
    Live(Live),
    /// The engine on the bench.
    Bench(Box<Bench>),
}

impl Feed {
    /// The next piece of sound, or what happened meanwhile.
    ///
    /// # Errors
    /// Where it cannot be heard any more.
    pub fn next(&mut self, block: &mut Vec<f32>) -> Result<Piece, Fault> {
        match self {
            Feed::Live(live) => live.next(WAIT, block),
            Feed::Bench(bench) => Ok(bench.next(WAIT, block)),
        }
    }

    /// How the sound comes, and how much of it was lost.
    pub fn condition(&self) -> (Condition, Seconds) {
        match self {
            Feed::Live(live) => (live.condition(), live.dropped()),
            Feed::Bench(_) => (Condition::Fine, Seconds(0.0)),
        }
    }

    /// What the hands do on the bench; nothing beside a real engine.
    pub fn extra(&self) -> Vec<String> {
        match self {
            Feed::Live(_) => vec![],
            Feed::Bench(bench) => bench.lines(),
        }
    }
}
