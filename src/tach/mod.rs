//! Crank speed from spectra.
pub mod angle;
pub mod evidence;
mod path;
mod refine;
mod speed;
mod tachometer;
mod weights;

pub use refine::Refined;
pub use speed::{Speed, Unreadable};
pub use tachometer::{LookAhead, Moment, Tachometer};
