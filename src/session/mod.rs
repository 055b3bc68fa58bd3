//! One tuning by ear: sound and answers in, [`Event`]s out, in the order of production.
//!
//! *In*: blocks of interleaved samples (finite, full scale 1) of any length, and
//! [`Answer`](crate::procedure::Answer)s with their time. *Out*: [`Event`]s: every
//! [`hop`](Session::hop) a reading, prompts as the [`Procedure`](crate::procedure::Procedure) gives
//! them, the result once at the end. Times are seconds of the sound since the session began; there
//! is no other clock.
//!
//! *Method*: the sound is cut at each hop whatever the sizes of the blocks, so that the same sound
//! and answers give the same events; at the end of a hop come first the readings that are now
//! decided, then the prompts that they led to.
//!
//! A [`Journal`] keeps a session while it goes, so that it can be resumed after a crash.
//!
//! *Refused*: rates and channel counts that cannot be heard, as a [`Fault`](crate::capture::Fault);
//! files that are no session, damaged, in use or at their end, as a [`JournalError`].
mod delta;
mod error;
mod event;
mod hearing;
mod journal;
mod schema;
mod skips;
mod tuning;

pub use delta::Delta;
pub use error::JournalError;
pub use event::{Event, SCHEMA};
pub use hearing::Hearing;
pub use journal::{Journal, Kept, Line};
pub use schema::schema;
pub use tuning::{LAG, Session};
