//! What makes a reading of a sound less sure, though it can be read.
use std::fmt;

use crate::units::Seconds;

/// A sound was read, but with this in mind. The text says the cause and the consequence;
/// [`Warning::hint`] says what to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Warning {
    /// The clip ends before its declared end.
    CutOff {
        /// What could be read.
        read: Seconds,
        /// What the head promises.
        declared: Option<Seconds>,
    },
    /// The head does not say how long the sound is, so it was read to the end of the file.
    LengthMissing {
        /// What was read.
        read: Seconds,
    },
    /// Parts could not be decoded and were replaced by silence.
    Damaged {
        /// Number of parts.
        parts: u64,
        /// How long they are together.
        length: Seconds,
    },
    /// Sample rate or channels change, and the rest was not read.
    Changed {
        /// What was read before.
        read: Seconds,
    },
    /// Samples that are no usable numbers were replaced by zero.
    NotFinite {
        /// How many.
        samples: u64,
    },
    /// The recording is overloaded.
    Clipped {
        /// Share of the samples that are at the limit, 0 to 1.
        share: f64,
    },
    /// Samples were lost between the microphone and the program.
    Dropped {
        /// How much sound is missing.
        length: Seconds,
    },
}

impl Warning {
    /// What to do next, one line.
    pub fn hint(&self) -> &'static str {
        match self {
            Warning::CutOff { .. } => "copy the clip again, or record again, to have the rest",
            Warning::LengthMissing { .. } => "stop the recording before copying the file",
            Warning::Damaged { .. } => "copy the clip again from the phone or the recorder",
            Warning::Changed { .. } => "save the parts as clips of their own",
            Warning::NotFinite { .. } => "export the clip again as 16-bit WAV",
            Warning::Clipped { .. } => {
                "go further from the muffler or turn the input level down, and record again"
            }
            Warning::Dropped { .. } => "close other programs that use the machine",
        }
    }
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Warning::CutOff {
                read,
                declared: Some(declared),
            } => {
                write!(
                    f,
                    "the clip is cut off: only {read} of {declared} could be read"
                )
            }
            Warning::CutOff {
                read,
                declared: None,
            } => {
                write!(
                    f,
                    "the clip is cut off: only the first {read} could be read"
                )
            }
            Warning::LengthMissing { read } => write!(
                f,
                "the recorder did not write the length into the clip: {read} were read, to the end of \
                 the file"
            ),
            Warning::Damaged { parts, length } => write!(
                f,
                "{parts} damaged {} ({length}) became silence, so nothing is read there",
                if *parts == 1 { "part" } else { "parts" }
            ),
            Warning::Changed { read } => write!(
                f,
                "the sample rate or the channels change: only the first {read} were read"
            ),
            Warning::NotFinite { samples } => write!(
                f,
                "{samples} {} no usable {} and became zero, which may hide a moment of the sound",
                if *samples == 1 {
                    "sample is"
                } else {
                    "samples are"
                },
                if *samples == 1 { "number" } else { "numbers" }
            ),
            Warning::Clipped { share } => write!(
                f,
                "the microphone was overloaded in {:.0} % of the samples: the speed holds, the firing \
                 is less sure",
                (share * 100.0).max(1.0)
            ),
            Warning::Dropped { length } => {
                write!(
                    f,
                    "{length} of sound were lost, so a reading may jump there"
                )
            }
        }
    }
}
