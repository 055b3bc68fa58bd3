//! Compressed sound taken apart into packets by the decoder library.
use std::io;

use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, Track, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;
use symphonia::core::units::{Duration, TimeBase};

use super::Fault;
use super::guard::guarded;
use super::input::Shared;

/// So many failures of the container reader in a row are the end of the clip.
const MOST_FAILURES: u32 = 64;

/// How the packets ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// In good order, as far as the container tells.
    Whole,
    /// The bytes ended within a packet, or nothing more could be found.
    CutOff,
    /// Another stream follows.
    Changed,
}

/// The packets of the sound in a container.
pub(super) struct Packets {
    container: Box<dyn FormatReader>,
    track: Track,
    /// Number of failures of the container reader.
    pub failures: u64,
}

impl Packets {
    /// Opens a container; `file` says whether it is one or a pipe.
    pub(super) fn new(input: Shared, file: bool) -> Result<Self, Fault> {
        let source = MediaSourceStream::new(Box::new(input), MediaSourceStreamOptions::default());
        let (hint, probe) = (Hint::new(), symphonia::default::get_probe());
        let opened = guarded(|| {
            probe.probe(
                &hint,
                source,
                FormatOptions::default(),
                MetadataOptions::default(),
            )
        });
        let container = opened
            .map_err(|_| panicked())?
            .map_err(|error| unopened(error, file))?;
        let track = container
            .default_track(TrackType::Audio)
            .cloned()
            .ok_or(Fault::NoSound)?;
        Ok(Packets {
            container,
            track,
            failures: 0,
        })
    }

    /// What the container says of the coding.
    pub(super) fn parameters(&self) -> Option<&AudioCodecParameters> {
        self.track.codec_params.as_ref().and_then(|all| all.audio())
    }

    /// Number of the track.
    pub(super) fn track(&self) -> u32 {
        self.track.id
    }

    /// Whether this is a Core Audio file, which counts delay and padding apart.
    pub(super) fn is_caf(&self) -> bool {
        self.container.format_info().short_name == "caf"
    }

    /// Frames that a Core Audio file says to drop.
    pub(super) fn delay(&self) -> u64 {
        self.track.delay.unwrap_or(0).into()
    }

    /// Frames that the declared number may hold too much: some writers of Core Audio files count
    /// whole packets.
    pub(super) fn most_padding(&self) -> u64 {
        let packet = self.parameters().and_then(|all| all.max_frames_per_packet);
        packet.filter(|_| self.is_caf()).unwrap_or(0)
    }

    /// Declared number of frames at a rate.
    pub(super) fn declared(&self, rate: u32) -> Option<u64> {
        // In CAF the count holds the padding, up to a packet, which for ALAC may be half a second.
        let padding = if self.is_caf() {
            self.track.padding.unwrap_or(0)
        } else {
            0
        };
        let counted = self
            .track
            .num_frames
            .map(|frames| frames.saturating_sub(padding.into()));
        let whole = self.container.media_info();
        counted.filter(|frames| *frames > 0).or_else(|| {
            seconds(self.track.time_base, self.track.duration)
                .or_else(|| seconds(whole.time_base, whole.duration))
                .filter(|length| *length > 0.0)
                .map(|length| (length * f64::from(rate)) as u64)
        })
    }

    /// When a packet starts and how long it sounds, in seconds, what is trimmed left out.
    pub(super) fn time(&self, packet: &Packet) -> Option<(f64, f64)> {
        let start = self.track.time_base?.calc_time(packet.pts)?.as_secs_f64();
        Some((start, seconds(self.track.time_base, Some(packet.dur))?))
    }

    /// Name of the container, where the coding does not stand alone in its file.
    pub(super) fn container(&self) -> Option<&'static str> {
        match self.container.format_info().short_name {
            "isomp4" => Some("MP4"),
            "matroska" => Some("WebM"),
            "ogg" => Some("Ogg"),
            "caf" => Some("CAF"),
            "aiff" => Some("AIFF"),
            "wave" => Some("WAV"),
            _ => None,
        }
    }

    /// The next packet of the sound, or how it ended.
    pub(super) fn next(&mut self) -> Result<Result<Packet, End>, Fault> {
        let mut failures = 0;
        while failures < MOST_FAILURES {
            match guarded(|| self.container.next_packet()).map_err(|_| panicked())? {
                Ok(Some(packet)) if packet.track_id == self.track.id => return Ok(Ok(packet)),
                Ok(Some(_)) => {}
                Ok(None) => return Ok(Err(End::Whole)),
                Err(Error::IoError(error)) if error.kind() == io::ErrorKind::UnexpectedEof => {
                    return Ok(Err(End::CutOff));
                }
                Err(Error::IoError(error)) => return Err(Fault::unreadable(&error)),
                Err(Error::ResetRequired) => return Ok(Err(End::Changed)),
                Err(_) => {
                    failures += 1;
                    self.failures += 1;
                }
            }
        }
        Ok(Err(End::CutOff))
    }
}

fn seconds(base: Option<TimeBase>, length: Option<Duration>) -> Option<f64> {
    Some(base?.calc_duration(length?)?.as_secs_f64())
}

pub(super) fn panicked() -> Fault {
    Fault::Broken {
        what: "the decoder failed on it".into(),
    }
}

/// Why a container could not be opened.
pub(super) fn unopened(error: Error, file: bool) -> Fault {
    match error {
        Error::IoError(error) if error.kind() == io::ErrorKind::UnexpectedEof && file => {
            Fault::Broken {
                what: "it ends within its head".into(),
            }
        }
        Error::IoError(error) if error.kind() == io::ErrorKind::UnexpectedEof => Fault::NeedsFile,
        Error::IoError(error) => Fault::unreadable(&error),
        Error::Unsupported("isomp4: missing moov atom") if file => Fault::Unfinished,
        Error::Unsupported("isomp4: missing moov atom") => Fault::NeedsFile,
        Error::Unsupported(_) => Fault::Unknown,
        Error::DecodeError(what) | Error::LimitError(what) => Fault::Broken { what: what.into() },
        Error::SeekError(_) => Fault::Broken {
            what: "its parts are out of place".into(),
        },
        _ => Fault::Broken {
            what: "it cannot be opened".into(),
        },
    }
}
