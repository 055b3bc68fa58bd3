//! The one documented result that everything downstream reads: frames and spans.
//!
//! In: blocks of samples ([`Listener`]) give [`Frame`]s; frames ([`Spans`]) give the [`Reading`] of
//! the whole clip: [`Span`]s, the idle and full-throttle [`Plateau`]s, [`Hunting`],
//! [`Acceleration`]s with a [`Bog`], [`Return`]s with a [`Hang`], and how much could be read.
//!
//! Live, [`Recent`] keeps the last seconds: the speed now, and how steadily it is [`Held`].
//!
//! How frames become spans: the speed is cut into pieces that hold a level, rise, fall or are not
//! readable (`cutter`, `level`, `movement`, `piece`); medians come from a bounded sample in which
//! doubtful frames count little (`sample`); the pieces get their names from the profile and from
//! the clip's own levels (`zones`); then the sequence of pieces shows accelerations (`rise`),
//! returns (`hang`) and a swinging idle (`hunting`). Nothing is refused: a clip without a readable
//! frame has spans that say why.
mod cutter;
mod ear;
mod frame;
mod gait;
mod hang;
mod hunting;
mod level;
mod listener;
mod movement;
mod piece;
pub mod presence;
mod recent;
mod rise;
mod sample;
mod span;
mod spans;
pub mod standing;
mod summary;
mod weights;
mod zones;

pub use frame::Frame;
pub use hang::{Hang, Return};
pub use hunting::Hunting;
pub use listener::{Listener, Look};
pub use recent::{Held, Recent, Steadiness};
pub use rise::{Acceleration, Bog};
pub use span::{Plateau, Span, SpanKind};
pub use spans::Spans;
pub use summary::{Reading, UnreadableTime};
