//! What keeps a sound from being read, and what to do about it.
use std::io;

use thiserror::Error;

use crate::units::Seconds;

/// The lowest sample rate that is read, in samples per second.
pub const LOWEST_RATE: u32 = 8_000;
/// The highest sample rate that is read, in samples per second.
pub const HIGHEST_RATE: u32 = 192_000;
/// The most channels that are read.
pub const MOST_CHANNELS: usize = 8;
/// Below this a sound is too short to judge: an idling engine turns 20 times in it.
pub const SHORTEST: Seconds = Seconds(0.5);

/// A kind of recording that is known but not decoded here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Foreign {
    /// Adaptive multi-rate speech, the voice memos of older phones.
    Amr,
    /// Windows Media Audio.
    Wma,
}

impl Foreign {
    /// The name that goes with the file ending.
    pub fn name(self) -> &'static str {
        match self {
            Foreign::Amr => "AMR",
            Foreign::Wma => "WMA",
        }
    }
}

/// Why a sound cannot be read. The text is one line; [`Fault::hint`] says what to do.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum Fault {
    /// There is no such file.
    #[error("there is no such file")]
    Missing,
    /// The path names a folder.
    #[error("this is a folder, not a clip")]
    Directory,
    /// The file may not be read.
    #[error("no permission to read the file")]
    Denied,
    /// Reading failed on the way.
    #[error("reading failed: {cause}")]
    Unreadable {
        /// What the system said.
        cause: String,
    },
    /// The file has no bytes.
    #[error("the file is empty")]
    Empty,
    /// The file holds text.
    #[error("this is a text file, not a recording")]
    Text,
    /// No decoder knows the bytes.
    #[error("no known kind of recording")]
    Unknown,
    /// A kind of recording that is known but not decoded here.
    #[error("{} recordings cannot be read directly", kind.name())]
    Foreign {
        /// Which kind.
        kind: Foreign,
        /// File name of the clip.
        name: String,
    },
    /// An m4a, mp4, mov or 3gp without its index.
    #[error("the recording was cut off before the phone finished it, so nothing in it can be read")]
    Unfinished,
    /// A recording from a pipe that has its index behind the sound, as most from phones do.
    #[error("this recording has its index at the end, so it cannot be read from a pipe")]
    NeedsFile,
    /// A file without a sound track.
    #[error("there is no sound in the file")]
    NoSound,
    /// A sound track in a coding that no decoder knows.
    #[error("the sound is coded as {coding}, which cannot be read directly")]
    Coding {
        /// Name of the coding.
        coding: String,
    },
    /// The bytes make no sense.
    #[error("the file is damaged: {what}")]
    Broken {
        /// What was found, in the words of the decoder.
        what: String,
    },
    /// The text after `--raw` is no sample format.
    #[error("`{text}` is not a raw sample format")]
    RawFormat {
        /// What was given.
        text: String,
    },
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
    /// The head is there, but no sample follows.
    #[error("there are no samples in the recording")]
    NoSamples,
    /// All samples have the same value.
    #[error("the recording is silent: all samples are {}", if *value == 0.0 { "zero" } else { "equal" })]
    Silent {
        /// The value, full scale 1.
        value: f32,
        /// How long the recording is.
        length: Seconds,
    },
    /// Too short to judge.
    #[error("the recording lasts {:.2} s, too short to judge", length.0)]
    TooShort {
        /// How long it is.
        length: Seconds,
    },
    /// Most samples are no numbers, infinite or absurdly large.
    #[error("{:.0} % of the samples are not usable numbers", share * 100.0)]
    NotFinite {
        /// Share of such samples, 0 to 1.
        share: f64,
    },
    /// The program was built without the microphone.
    #[error("this build has no microphone")]
    NoMicrophoneBuilt,
    /// The system does not let the program hear.
    #[error("no permission to use the microphone")]
    MicrophoneDenied,
    /// Another program has the microphone for itself.
    #[error("another program holds the microphone")]
    MicrophoneBusy,
    /// There is no microphone, or none of that name.
    #[error("no microphone {}", wanted.as_ref().map_or("was found".into(), |name| format!("is named `{name}`")))]
    NoMicrophone {
        /// The name that was asked for.
        wanted: Option<String>,
    },
    /// The microphone offers no format that can be read.
    #[error("the microphone offers neither 48000 nor 44100 Hz in 16-bit, 32-bit or float samples")]
    MicrophoneFormat,
    /// The microphone stopped.
    #[error("the microphone stopped: {cause}")]
    MicrophoneLost {
        /// What the system said.
        cause: String,
    },
    /// The microphone gives no samples.
    #[error("the microphone has given no sound for {:.0} s", waited.0)]
    MicrophoneMute {
        /// How long nothing came.
        waited: Seconds,
    },
    /// The device delivers faster than time passes, so it is no microphone.
    #[error("the device gives {:.0} s of sound in {:.1} s, so it is no microphone", sound.0, passed.0)]
    MicrophoneTooFast {
        /// How much sound came.
        sound: Seconds,
        /// How much time passed.
        passed: Seconds,
    },
}

impl Fault {
    pub(super) fn unreadable(error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound => Fault::Missing,
            io::ErrorKind::PermissionDenied => Fault::Denied,
            io::ErrorKind::IsADirectory => Fault::Directory,
            _ => Fault::Unreadable {
                cause: error.to_string(),
            },
        }
    }

    /// What to do next, one line.
    pub fn hint(&self) -> String {
        match self {
            Fault::Missing => "check the name and the folder".into(),
            Fault::Directory => "name a clip in it".into(),
            Fault::Denied => "allow reading it: `chmod u+r CLIP`, or copy it somewhere else".into(),
            Fault::Unreadable { .. } => "check the disk or the cable and copy the clip again".into(),
            Fault::Empty => "record again, and stop the recording before copying the file".into(),
            Fault::Text => "name the recording itself, for example a .wav or .m4a file".into(),
            Fault::Unknown => {
                "if it is a recording, convert it first: `ffmpeg -i CLIP out.wav`".into()
            }
            Fault::Foreign { name, .. } => {
                let out = name.rsplit_once('.').map_or(name.as_str(), |(stem, _)| stem);
                let (name, out) = (quoted(name), quoted(&format!("{out}.wav")));
                format!("convert it first: `ffmpeg -i {name} {out}`")
            }
            Fault::Unfinished => {
                "record again, and stop the recording before the phone is locked or the file copied"
                    .into()
            }
            Fault::NeedsFile => "save it as a file and name that".into(),
            Fault::NoSound => "record with the sound switched on".into(),
            Fault::Coding { .. } => "convert it first: `ffmpeg -i CLIP out.wav`".into(),
            Fault::Broken { .. } => {
                "copy it again from the phone; what is left may be saved with `ffmpeg -i CLIP out.wav`"
                    .into()
            }
            Fault::RawFormat { .. } => {
                "write coding, rate and channels as in `s16le:48000:1`; codings are u8, s16le, s24le, \
                 s32le and f32le"
                    .into()
            }
            Fault::SampleRate { .. } => {
                "record at 44100 or 48000 Hz, or convert it: `ffmpeg -i CLIP -ar 48000 out.wav`"
                    .into()
            }
            Fault::Channels { .. } => {
                "mix it down to one channel: `ffmpeg -i CLIP -ac 1 out.wav`".into()
            }
            Fault::NoSamples => {
                "record again, and stop the recording before copying the file".into()
            }
            Fault::Silent { .. } => {
                "check that the microphone is not muted and that the recorder may use it".into()
            }
            Fault::TooShort { .. } => format!(
                "record ten seconds, and at least {SHORTEST}, with the microphone beside the muffler"
            ),
            Fault::NotFinite { .. } => {
                "check the sample format (with --raw: the coding), or export the clip again".into()
            }
            Fault::NoMicrophoneBuilt => "install it with the microphone: `make install` (or `cargo install --path . --features mic`; on \
                 Linux after `apt-get install libasound2-dev`); recordings are heard with `--from FILE`"
                .into(),
            Fault::MicrophoneDenied => "allow it in the system's privacy settings; on Linux join the group `audio`, or start the \
                 program as the user who is logged in"
                .into(),
            Fault::MicrophoneBusy => "close the other program, or name another microphone with `--mic`".into(),
            Fault::NoMicrophone { wanted: None } => {
                "plug one in, or switch it on in the system's sound settings".into()
            }
            Fault::NoMicrophone { wanted: Some(_) } => {
                "`engine-note listen --list-mics` lists what there is".into()
            }
            Fault::MicrophoneFormat => "choose another microphone".into(),
            Fault::MicrophoneLost { .. } => "plug it in again".into(),
            Fault::MicrophoneMute { .. } => {
                "check that it is switched on and that no other program holds it".into()
            }
            Fault::MicrophoneTooFast { .. } => "choose a real microphone from the list".into(),
        }
    }
}

/// A file name as a shell takes it.
fn quoted(name: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "._-/+=,@".contains(c);
    if name.starts_with('-') {
        return quoted(&format!("./{name}"));
    }
    if !name.is_empty() && name.chars().all(plain) {
        return name.to_owned();
    }
    let safe: String = name
        .chars()
        .map(|c| if c.is_control() { '?' } else { c })
        .collect();
    format!("'{}'", safe.replace('\'', r"'\''"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn causes_that_the_system_names_have_faults_of_their_own() {
        for (kind, fault) in [
            (io::ErrorKind::NotFound, Fault::Missing),
            (io::ErrorKind::PermissionDenied, Fault::Denied),
            (io::ErrorKind::IsADirectory, Fault::Directory),
        ] {
            assert_eq!(Fault::unreadable(&kind.into()), fault);
        }
        let cause = io::Error::other("the disk is gone");
        assert_eq!(
            Fault::unreadable(&cause).to_string(),
            "reading failed: the disk is gone"
        );
    }

    #[test]
    fn conversion_command_takes_the_name_as_a_shell_does() {
        let hint = |name: &str| {
            Fault::Foreign {
                kind: Foreign::Amr,
                name: name.into(),
            }
            .hint()
        };
        assert_eq!(
            hint("in.amr"),
            "convert it first: `ffmpeg -i in.amr in.wav`"
        );
        assert_eq!(
            hint("saw 2.amr"),
            "convert it first: `ffmpeg -i 'saw 2.amr' 'saw 2.wav'`"
        );
        assert_eq!(
            hint("it's"),
            r"convert it first: `ffmpeg -i 'it'\''s' 'it'\''s.wav'`"
        );
        assert_eq!(
            hint("-y.amr"),
            "convert it first: `ffmpeg -i ./-y.amr ./-y.wav`"
        );
    }
}
