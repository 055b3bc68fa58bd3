//! Crank speed from spectra.
pub mod evidence;
mod speed;
mod weights;

pub use speed::{Speed, Unreadable};
