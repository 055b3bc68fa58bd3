//! The whole adjustment, step by step: a state machine without sound and without a terminal.
//!
//! In: what is heard, hop by hop ([`Heard`]), and what the technician answers ([`Answer`]). Out:
//! [`Prompt`]s, and at the end an [`Outcome`]. Its clock is the sound's own time in seconds.
mod answer;
mod begin;
mod heard;
mod machine;
mod outcome;
mod prompt;

pub use answer::{Answer, Word};
pub use begin::{AsFound, Begin};
pub use heard::Heard;
pub use machine::{Procedure, Step};
pub use outcome::{NetTurns, Outcome, OutcomeFault, ProofLine, Verdict};
pub use prompt::{Prompt, Reference, Throttle};
