//! The one documented result that everything downstream reads: frames and spans.
//!
//! In: blocks of samples ([`Listener`]) give [`Frame`]s; frames ([`Spans`]) give the [`Reading`] of
//! the whole clip: [`Span`]s, the idle and full-throttle [`Plateau`]s, [`Hunting`],
//! [`Acceleration`]s with a [`Bog`], [`Return`]s with a [`Hang`], and how much could be read.
mod frame;
mod hang;
mod hunting;
mod listener;
mod rise;
mod span;
mod spans;
mod summary;

pub use frame::Frame;
pub use hang::{Hang, Return};
pub use hunting::Hunting;
pub use listener::{Listener, Look};
pub use rise::{Acceleration, Bog};
pub use span::{Plateau, Span, SpanKind};
pub use spans::Spans;
pub use summary::{Reading, UnreadableTime};
