//! The whole adjustment, step by step: a state machine without sound and without a terminal.
//!
//! In: what is heard, hop by hop ([`Heard`]), and what the technician answers ([`Answer`]). Out:
//! [`Prompt`]s, and at the end an [`Outcome`]. Its clock is the sound's own time in seconds; speeds
//! are in rpm, screws in turns. A [`Procedure`] is plain data: written and read back it goes on
//! exactly where it was. [`Card`] is the same steps on paper.
//!
//! Each step (`checks`, `base`, `start`, `warm`, `edge`, `low`, `settle`, `high`, `proof`, `stuck`,
//! `rescue`) says which task comes next; `hand` carries tasks out (`listening`, `turning`, `opening`),
//! throttle first, then the screw; `passage` goes from task to task, `stall` leaves a step when the
//! engine dies, `cure` says what is tried then; `guard` lies over all of them: time at full throttle,
//! the maximum, lost readings, leaner turns. The `ear` doubts speeds that jump by a factor. Where the
//! high-speed screw belongs is estimated from all looks together (`onset`, `looks`), held against the
//! speeds (`peak`, `unheard`), and `approach` moves it there; `excess` weighs what was heard over the
//! maximum, `idle_ear` an idle that is heard at a multiple. The order of the
//! trade and its figures are common practice, no source (`guide::trade`).
//!
//! Refused: a leaner turn over the maximum, in doubt, or without a burble; more than a quarter turn
//! in one move; carburetors and engines that are not set by ear.
mod answer;
mod approach;
mod base;
mod begin;
mod book;
mod card;
mod checks;
mod course;
mod cure;
mod ear;
mod edge;
mod excess;
mod facts;
mod guard;
mod hand;
mod heard;
mod high;
mod idle_ear;
mod lever;
mod limited;
mod listening;
mod looks;
mod low;
mod machine;
mod moves;
mod onset;
mod opening;
mod outcome;
mod passage;
mod peak;
mod prompt;
mod proof;
mod reply;
mod rescue;
mod screws;
mod settle;
mod stage;
mod stall;
mod start;
mod stuck;
mod task;
mod turning;
mod unheard;
mod voice;
mod walk;
mod warm;
mod words;

pub use answer::{Answer, Word};
pub use begin::{AsFound, Begin};
pub use card::{Card, CardCheck, CardStep, CardSymptom};
pub use heard::Heard;
pub use machine::{Place, Procedure, Step};
pub use outcome::{NetTurns, Outcome, OutcomeFault, ProofLine, Verdict};
pub use prompt::{Prompt, Reference, Throttle};
