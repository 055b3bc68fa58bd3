//! Sound as it comes: from a microphone, or from a clip that is played as if it were one.
use std::time::Duration;

#[cfg(feature = "mic")]
use super::held::Held;
use super::played::Played;
use super::{Facts, Fault, Source, Warning};
use crate::units::Seconds;

/// Where live sound comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LiveSource {
    /// A microphone: the one whose id or name is given, or the system's choice.
    Microphone {
        /// An id or a name from [`microphones`](super::microphones).
        name: Option<String>,
    },
    /// A clip or a stream.
    Clip {
        /// Which.
        source: Source,
        /// How fast.
        pace: Pace,
    },
}

/// How fast a clip is played.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// A second of sound takes a second.
    RealTime,
    /// As fast as it comes and is taken.
    AsItComes,
}

/// What [`Live::next`] brings.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
    /// Samples were put into the block.
    Sound,
    /// Nothing has come within the given time.
    Nothing,
    /// Something is to be told; the sound goes on.
    Told(Notice),
    /// The clip has ended. A microphone never ends.
    End,
}

/// What happened to the sound, while the session goes on. The text is one line;
/// [`Notice::hint`] says what to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Notice {
    /// The microphone is gone and is waited for. Until it is back there is silence, so that the clock
    /// goes on.
    Lost {
        /// Why.
        fault: Fault,
    },
    /// The microphone is there again.
    Back {
        /// Which one is heard now.
        name: String,
        /// How long it was away.
        away: Seconds,
    },
    /// The microphone came back with other samples, which are converted.
    Converted {
        /// Its sample rate now, in samples per second.
        rate: u32,
        /// Its channels now.
        channels: usize,
    },
    /// The system took the sound from one microphone to another by itself.
    Switched {
        /// Which one was heard.
        from: String,
        /// Which one is heard now.
        to: String,
    },
    /// The system has muted the microphone, or turned it down to nothing.
    Muted {
        /// Which one.
        name: String,
    },
    /// The microphone is no longer muted.
    Unmuted {
        /// Which one.
        name: String,
    },
    /// Nothing but exact zeros, which no open microphone gives.
    Zeros {
        /// For how long.
        length: Seconds,
    },
    /// The sound system could not keep up and lost a piece of unknown length.
    Overrun,
    /// Anything that makes the reading of the sound less sure.
    Less(Warning),
}

impl Notice {
    /// What to do next, one line; none where nothing is to be done.
    pub fn hint(&self) -> Option<String> {
        let words = match self {
            Notice::Lost { fault } => {
                return Some(format!("{}; it is picked up again by itself", fault.hint()));
            }
            Notice::Back { .. } | Notice::Unmuted { .. } | Notice::Converted { .. } => return None,
            Notice::Switched { .. } => {
                "put that one beside the muffler, or plug the first one in again; `--mic` names one"
            }
            Notice::Muted { .. } => "unmute it and turn it up in the system's sound settings",
            Notice::Zeros { .. } => {
                "unmute the microphone, switch it on, and allow the program to use it in the privacy settings"
            }
            Notice::Overrun => "close other programs that use the machine",
            Notice::Less(warning) => warning.hint(),
        };
        Some(words.into())
    }
}

impl std::fmt::Display for Notice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Notice::Lost { fault } => write!(f, "{fault}; waiting for it"),
            Notice::Back { name, away } => {
                write!(f, "the microphone `{name}` is back after {:.1} s", away.0)
            }
            Notice::Converted { rate, channels } => write!(
                f,
                "the microphone now gives {rate} Hz with {channels} {}, which is converted",
                if *channels == 1 {
                    "channel"
                } else {
                    "channels"
                }
            ),
            Notice::Switched { from, to } => {
                write!(f, "the system switched from `{from}` to `{to}`")
            }
            Notice::Muted { name } => write!(f, "the microphone `{name}` is muted"),
            Notice::Unmuted { name } => write!(f, "the microphone `{name}` is no longer muted"),
            Notice::Zeros { length } => {
                write!(
                    f,
                    "digital silence for {:.0} s: no open microphone is that still",
                    length.0
                )
            }
            Notice::Overrun => f.write_str("the sound system lost a piece of sound"),
            Notice::Less(warning) => warning.fmt(f),
        }
    }
}

/// How the sound comes at the moment.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Condition {
    /// As it should.
    #[default]
    Fine,
    /// The microphone is gone and is waited for.
    Waiting,
    /// The microphone is muted.
    Muted,
}

/// Live sound. It stops when it is dropped.
///
/// Sample rate and channels stay the same as long as it lives: a microphone that comes back with
/// others is converted, and while it is away silence keeps the clock going.
pub struct Live {
    facts: Facts,
    way: Way,
}

enum Way {
    #[cfg(feature = "mic")]
    Held(Box<Held>),
    Played(Played),
}

impl Live {
    /// Opens a source and starts it.
    ///
    /// # Errors
    /// A [`Fault`] if a clip cannot be read, or a microphone cannot be started now.
    pub fn open(source: &LiveSource) -> Result<Self, Fault> {
        match source {
            #[cfg(feature = "mic")]
            LiveSource::Microphone { name } => {
                let held = Held::open(name.as_deref())?;
                Ok(Live {
                    facts: held.facts().clone(),
                    way: Way::Held(Box::new(held)),
                })
            }
            #[cfg(not(feature = "mic"))]
            LiveSource::Microphone { .. } => Err(Fault::NoMicrophoneBuilt),
            LiveSource::Clip { source, pace } => {
                let played = Played::open(source, *pace)?;
                Ok(Live {
                    facts: played.facts().clone(),
                    way: Way::Played(played),
                })
            }
        }
    }

    /// Sample rate and channels; the format is the kind of recording or the name of the microphone.
    pub fn facts(&self) -> &Facts {
        &self.facts
    }

    /// Waits for sound, `wait` at most, and replaces `out` by interleaved samples: whole frames,
    /// finite, full scale 1, about 10 ms (more where the caller was away).
    ///
    /// # Errors
    /// A [`Fault`] that ends the sound: a clip that fails or cannot be judged, a device that is no
    /// microphone. A microphone that is lost is no error but [`Notice::Lost`].
    pub fn next(&mut self, wait: Duration, out: &mut Vec<f32>) -> Result<Piece, Fault> {
        out.clear();
        match &mut self.way {
            #[cfg(feature = "mic")]
            Way::Held(held) => held.next(wait, out),
            Way::Played(played) => played.next(wait, out),
        }
    }

    /// How the sound comes at the moment.
    pub fn condition(&self) -> Condition {
        match &self.way {
            #[cfg(feature = "mic")]
            Way::Held(held) => held.condition(),
            Way::Played(_) => Condition::Fine,
        }
    }

    /// Sound that was lost so far, because it was not taken in time.
    pub fn dropped(&self) -> Seconds {
        match &self.way {
            #[cfg(feature = "mic")]
            Way::Held(held) => held.dropped(),
            Way::Played(_) => Seconds(0.0),
        }
    }
}
