//! Sound in: files, standard input, microphone; every rate and channel count becomes blocks of
//! samples at the working rate.
mod fault;
mod resample;

pub use fault::{Fault, HIGHEST_RATE, LOWEST_RATE, MOST_CHANNELS};
pub use resample::Resampler;

/// The rate at which all later stages work, in samples per second. The lines that tell the crank
/// speed lie below 3 kHz (order 10 at 16,000 rpm is 2.7 kHz).
pub const WORKING_RATE: u32 = 8_000;
