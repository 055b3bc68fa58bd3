//! The whole adjustment, step by step: a state machine without sound and without a terminal.
//!
//! In: what is heard, hop by hop ([`Heard`]), and what the technician answers ([`Answer`]). Out:
//! [`Prompt`]s, and at the end an [`Outcome`]. Its clock is the sound's own time in seconds.
mod answer;
mod base;
mod begin;
mod book;
mod card;
mod checks;
mod ear;
mod edge;
mod facts;
mod guard;
mod hand;
mod heard;
mod high;
mod lever;
mod limited;
mod low;
mod machine;
mod onset;
mod outcome;
mod prompt;
mod proof;
mod rescue;
mod screws;
mod settle;
mod stage;
mod start;
mod stuck;
mod task;
mod voice;
mod warm;
mod words;

pub use answer::{Answer, Word};
pub use begin::{AsFound, Begin};
pub use card::{Card, CardCheck, CardStep, CardSymptom};
pub use heard::Heard;
pub use machine::{Procedure, Step};
pub use outcome::{NetTurns, Outcome, OutcomeFault, ProofLine, Verdict};
pub use prompt::{Prompt, Reference, Throttle};
