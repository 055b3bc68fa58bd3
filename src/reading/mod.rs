//! The one documented result that everything downstream reads: frames and spans.
mod frame;
mod listener;
pub mod presence;
mod weights;

pub use frame::Frame;
pub use listener::{Listener, Look};
