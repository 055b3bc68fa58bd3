//! Sound in: files, standard input, microphone.
//!
//! *In*: a path or standard input ([`Source`]), or bytes. *Out*: a [`Clip`], which gives its
//! [`Facts`] at once and then blocks of interleaved samples (finite, full scale 1), and a
//! [`Resampler`], which turns such blocks into one list for each channel at [`WORKING_RATE`].
//!
//! *Method*: WAV and raw samples are read here, since recorders that stream or die write lengths that
//! decoders refuse. All else is taken apart and decoded by `symphonia`, Opus by `ropus`; both run
//! guarded, since hostile bytes make decoders panic. Nothing is held but one block, so memory does not
//! grow with the length.
//!
//! *Refused*, each as a [`Fault`] with a hint: what is no recording, what no decoder knows, rates
//! outside 8 to 192 kHz, more than eight channels, and sounds that cannot be judged (no samples,
//! silence, shorter than [`SHORTEST`], no usable numbers). What can be read in part is read, with a
//! [`Warning`].
#[cfg(feature = "mic")]
mod choice;
mod clip;
mod coded;
mod decoder;
mod fault;
mod guard;
#[cfg(feature = "mic")]
mod held;
mod input;
mod kind;
mod live;
#[cfg(feature = "mic")]
mod microphone;
mod microphones;
mod opus;
mod outline;
mod packets;
mod played;
mod raw;
#[cfg(feature = "mic")]
mod refit;
mod resample;
#[cfg(all(feature = "mic", target_os = "linux"))]
mod server;
mod soundness;
mod warning;
mod wav;

pub use clip::{Clip, Facts, Source, open};
pub use fault::{Fault, Foreign, HIGHEST_RATE, LOWEST_RATE, MOST_CHANNELS, SHORTEST};
pub use live::{Condition, Live, LiveSource, Notice, Pace, Piece};
pub use microphones::{Listed, microphones};
pub use raw::{Coding, RawFormat};
pub use resample::Resampler;
pub use warning::Warning;

/// The rate at which all later stages work, in samples per second. The lines that tell the crank
/// speed lie below 3 kHz (order 10 at 16,000 rpm is 2.7 kHz).
pub const WORKING_RATE: u32 = 8_000;
