//! One tuning by ear: sound and answers in, [`Event`]s out, in the order of production.
//!
//! The clock is the sound's own time; the same sound and answers give the same events whatever the
//! sizes of the blocks.
mod event;

pub use event::Event;
