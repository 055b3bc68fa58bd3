//! The whole adjustment, step by step: a state machine without sound and without a terminal.
//!
//! In: what is heard, hop by hop ([`Heard`]), and what the technician answers ([`Answer`]). Out:
//! [`Prompt`]s, and at the end an [`Outcome`]. Its clock is the sound's own time in seconds.
mod answer;
mod outcome;
mod prompt;

pub use answer::{Answer, Word};
pub use outcome::{NetTurns, Outcome, OutcomeFault, ProofLine, Verdict};
pub use prompt::{Prompt, Reference, Throttle};

use crate::reading::Frame;

/// One hop of sound as the procedure takes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heard {
    /// The frame.
    pub frame: Frame,
    /// Share of the judged revolutions of the last second without a full firing, 0 to 1; under the
    /// limiter the share of cut ones; none where it was not judged.
    pub skip_ratio: Option<f64>,
}

/// In which state the machine is when the tuning begins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AsFound {
    /// Runs and is warm.
    Warm,
    /// Runs, but is cold.
    Cold,
    /// Does not run.
    #[default]
    Stopped,
}

/// How a tuning begins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Begin {
    /// State of the machine.
    pub as_found: AsFound,
    /// The checks before a screw is touched were already made.
    pub skip_checks: bool,
    /// The screws stay where they are instead of going to their base settings.
    pub no_base: bool,
}
