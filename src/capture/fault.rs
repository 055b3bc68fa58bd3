//! What keeps a sound from being read, and what to do about it.
use thiserror::Error;

/// The lowest sample rate that is read, in samples per second.
pub const LOWEST_RATE: u32 = 8_000;
/// The highest sample rate that is read, in samples per second.
pub const HIGHEST_RATE: u32 = 192_000;
/// The most channels that are read.
pub const MOST_CHANNELS: usize = 8;

/// Why a sound cannot be read. The text is one line; [`Fault::hint`] says what to do.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum Fault {
    /// The sample rate lies outside 8 to 192 kHz.
    #[error("the sample rate of {rate} Hz is outside {LOWEST_RATE} to {HIGHEST_RATE} Hz")]
    SampleRate {
        /// What the sound declares, in samples per second.
        rate: u32,
    },
    /// There are no channels, or more than eight.
    #[error("{channels} channels, but 1 to {MOST_CHANNELS} can be read")]
    Channels {
        /// What the sound declares.
        channels: usize,
    },
}

impl Fault {
    /// What to do next, one line.
    pub fn hint(&self) -> String {
        match self {
            Fault::SampleRate { .. } => {
                "record at 44100 or 48000 Hz, or convert it: `ffmpeg -i CLIP -ar 48000 out.wav`"
                    .into()
            }
            Fault::Channels { .. } => {
                "mix it down to one channel: `ffmpeg -i CLIP -ac 1 out.wav`".into()
            }
        }
    }
}
