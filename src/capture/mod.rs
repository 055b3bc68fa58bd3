//! Sound in: files, standard input, microphone.
//!
//! *In*: a path or standard input ([`Source`]), or bytes. *Out*: a [`Clip`], which gives its
//! [`Facts`] at once and then blocks of interleaved samples (finite, full scale 1), and a
//! [`Resampler`], which turns such blocks into one list for each channel at [`WORKING_RATE`].
//!
//! Live sound is a [`Live`]: a microphone, or a clip that is played as if it were one, in blocks of
//! about 10 ms and at a rate that never changes; what happens on the way is a [`Notice`]. A
//! [`Recording`] keeps it, a [`Meter`] says how loud it comes.
//!
//! *Method*: WAV and raw samples are read here, since recorders that stream or die write lengths that
//! decoders refuse. All else is taken apart and decoded by `symphonia`, Opus by `ropus`; both run
//! guarded, since hostile bytes make decoders panic. Nothing is held but one block, so memory does not
//! grow with the length. A microphone is read through `cpal`; its thread writes into a ring and
//! neither waits nor asks for memory. One that is lost is waited for, while silence keeps the clock
//! going.
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
mod flac;
mod guard;
#[cfg(feature = "mic")]
mod held;
mod input;
mod kind;
mod live;
mod meter;
#[cfg(feature = "mic")]
mod microphone;
mod microphones;
mod opus;
mod outline;
#[cfg(feature = "mic")]
mod pace;
mod packets;
mod played;
mod raw;
mod recording;
#[cfg(feature = "mic")]
mod refit;
mod resample;
#[cfg(all(feature = "mic", target_os = "linux"))]
mod server;
mod soundness;
mod warning;
#[cfg(all(feature = "mic", target_os = "linux"))]
mod watch;
mod wav;

pub use clip::{Clip, Facts, Source, open};
pub use fault::{Fault, Foreign, HIGHEST_RATE, LOWEST_RATE, MOST_CHANNELS, SHORTEST};
pub use live::{Condition, Live, LiveSource, Notice, Pace, Piece};
pub use meter::{Level, LevelFault, Meter};
pub use microphones::{Listed, microphones};
pub use raw::{Coding, RawFormat};
pub use recording::{Recording, RecordingKind};
pub use resample::Resampler;
pub use warning::Warning;

/// The rate at which all later stages work, in samples per second. The lines that tell the crank
/// speed lie below 3 kHz (order 10 at 16,000 rpm is 2.7 kHz).
pub const WORKING_RATE: u32 = 8_000;
