//! From samples at the working rate to lines: for each hop one pair of spectra, whitened and laid
//! on a logarithmic frequency axis.
//!
//! In: mono samples at [`WORKING_RATE`](crate::capture::WORKING_RATE). Out: one [`Lines`] a hop,
//! centred on the hop, on the axis of [`LogAxis`], in decibels. A logarithmic axis turns "every
//! multiple of the crank frequency" into a fixed shift, so that all speeds are judged at once.
//!
//! Nothing is refused here; silence gives lines at the floor.
mod axis;
mod frame;
mod lanes;
mod still;
mod transform;
mod whiten;
mod window;

pub use axis::LogAxis;
pub use frame::{Framer, HOP};
pub(crate) use lanes::widest;
pub use lanes::{LANES, add, best_cut, exp, greater, greatest, halve, lesser, sum};
pub use still::Still;
pub use transform::{Lines, Spectrum};
pub use whiten::{decibels, power};
pub use window::Window;
