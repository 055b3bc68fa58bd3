//! Crank speed from spectra.
mod speed;

pub use speed::{Speed, Unreadable};
