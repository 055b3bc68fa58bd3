//! Crank speed from spectra.
pub mod angle;
pub mod base;
mod continuity;
pub mod counts;
pub mod curve;
pub mod evidence;
mod fine;
mod fit;
mod halves;
mod lines;
pub mod memory;
pub mod mixture;
mod moment;
mod path;
mod refine;
pub mod slip;
mod speed;
mod tachometer;
mod usual;
mod weights;

pub use fit::TwoKinds;
pub use moment::Moment;
pub use refine::Refined;
pub use speed::{Speed, Unreadable};
pub use tachometer::{LookAhead, Tachometer};
pub use usual::{Throttle, Usual};
