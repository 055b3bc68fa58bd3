//! Compressed sound: the decoder library takes the container apart and decodes the packets.
use std::io;

use symphonia::core::codecs::audio::well_known::CODEC_ID_OPUS;
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, Track, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;
use symphonia::core::units::{Duration, TimeBase};

use super::guard::guarded;
use super::input::Input;
use super::opus::{self, Opus};
use super::outline::Edit;
use super::raw::in_range;
use super::{Fault, Warning};
use crate::units::Seconds;

/// So many failures of the container reader in a row are the end of the clip.
const MOST_FAILURES: u32 = 64;
/// The longest packet that is replaced by silence; real ones last 0.12 s at most.
const LONGEST_GAP: f64 = 0.2;
/// A clip may be so much shorter than declared without being cut off: some writers count the
/// padding of the coder, three AAC packets at 44.1 kHz, or a packet of 4,096 frames at a low rate.
const SHORTER: f64 = 0.07;
const SHORTER_FRAMES: u64 = 4_096;
/// Less damage than this is not worth a word.
const DAMAGE: f64 = 0.1;

/// What is known of a clip before it is opened.
#[derive(Default)]
pub(super) struct Expected {
    /// What an mp4 says of the coder's delay.
    pub edits: Vec<Edit>,
    /// Whether the declared length is an estimate and no statement.
    pub estimated: bool,
    /// Whether the end of the bytes is the end of a file.
    pub file: bool,
    /// Whether the head promised more bytes than there are.
    pub cut_off: bool,
}

enum Decoder {
    Library(Box<dyn AudioDecoder>),
    Opus(Box<Opus>),
}

/// Reads and decodes packet by packet.
pub(super) struct Coded {
    container: Box<dyn FormatReader>,
    track: Track,
    decoder: Decoder,
    rate: u32,
    channels: usize,
    /// Samples of the first packet, decoded to learn the rate and the channels.
    first: Vec<f32>,
    /// Frames that the coder put before the sound.
    delay: u64,
    /// Frames of these still to drop.
    skip: u64,
    /// Frames that were dropped or given.
    frames: u64,
    /// Frames that the clip declares, those to drop included.
    declared: Option<u64>,
    file: bool,
    damage: Damage,
    cut_off: bool,
    changed: bool,
}

#[derive(Default)]
struct Damage {
    parts: u64,
    length: f64,
}

enum Piece {
    /// Samples were appended.
    Samples,
    /// Nothing could be decoded for so many seconds.
    Gap(f64),
    End,
}

impl Coded {
    pub(super) fn new(input: Input, expected: Expected) -> Result<Self, Fault> {
        let source = MediaSourceStream::new(Box::new(input), MediaSourceStreamOptions::default());
        let (hint, probe) = (Hint::new(), symphonia::default::get_probe());
        let container = guarded(|| {
            probe.probe(
                &hint,
                source,
                FormatOptions::default(),
                MetadataOptions::default(),
            )
        })
        .map_err(|_| panicked())?
        .map_err(|error| opening(error, expected.file))?;
        let track = container
            .default_track(TrackType::Audio)
            .cloned()
            .ok_or(Fault::NoSound)?;
        let parameters = track
            .codec_params
            .as_ref()
            .and_then(|all| all.audio())
            .ok_or(Fault::NoSound)?;
        let decoder = decoder(parameters)?;
        let mut coded = Coded {
            container,
            decoder,
            rate: 0,
            channels: 0,
            first: Vec::new(),
            delay: 0,
            skip: 0,
            frames: 0,
            declared: None,
            file: expected.file,
            damage: Damage::default(),
            cut_off: expected.cut_off,
            changed: false,
            track,
        };
        coded.learn(&expected)?;
        Ok(coded)
    }

    /// Decodes the first packet, since containers do not always tell the true rate and channels.
    fn learn(&mut self, expected: &Expected) -> Result<(), Fault> {
        let mut first = Vec::new();
        let mut gap = 0.0;
        while first.is_empty() {
            match self.piece(&mut first)? {
                Piece::Samples => {}
                Piece::Gap(length) if gap < 1.0 => gap += length,
                Piece::Gap(_) => {}
                Piece::End if self.damage.parts > 0 => {
                    return Err(Fault::Broken {
                        what: "no part of it could be decoded".into(),
                    });
                }
                Piece::End => return Err(Fault::NoSamples),
            }
        }
        in_range(self.rate, self.channels)?;
        let rate = f64::from(self.rate);
        self.delay = self.coder_delay(expected);
        self.skip = self.delay;
        self.declared = self.declared_frames().filter(|_| !expected.estimated);
        self.first = vec![0.0; (gap * rate) as usize * self.channels];
        self.first.append(&mut first);
        Ok(())
    }

    /// Frames that the coder put before the sound and that the decoder does not drop itself.
    fn coder_delay(&self, expected: &Expected) -> u64 {
        let parameters = self.track.codec_params.as_ref().and_then(|all| all.audio());
        if let Decoder::Opus(_) = self.decoder {
            return Opus::pre_skip(parameters.and_then(|all| all.extra_data.as_deref()));
        }
        if self.is_caf() {
            return self.track.delay.unwrap_or(0).into();
        }
        let edit = expected
            .edits
            .iter()
            .find(|edit| edit.track == self.track.id && edit.scale > 0);
        edit.map_or(0, |edit| {
            (edit.skip as f64 * f64::from(self.rate) / f64::from(edit.scale)).round() as u64
        })
    }

    fn is_caf(&self) -> bool {
        self.container.format_info().short_name == "caf"
    }

    fn declared_frames(&self) -> Option<u64> {
        let seconds = |base: Option<TimeBase>, length: Option<Duration>| {
            Some(base?.calc_duration(length?)?.as_secs_f64())
        };
        let whole = self.container.media_info();
        self.track
            .num_frames
            .filter(|frames| *frames > 0)
            .or_else(|| {
                seconds(self.track.time_base, self.track.duration)
                    .or_else(|| seconds(whole.time_base, whole.duration))
                    .filter(|length| *length > 0.0)
                    .map(|length| (length * f64::from(self.rate)) as u64)
            })
    }

    pub(super) fn rate(&self) -> u32 {
        self.rate
    }

    pub(super) fn channels(&self) -> usize {
        self.channels
    }

    /// The declared length of the sound.
    pub(super) fn declared(&self) -> Option<Seconds> {
        self.declared
            .map(|frames| self.seconds(frames.saturating_sub(self.delay)))
    }

    fn seconds(&self, frames: u64) -> Seconds {
        Seconds(frames as f64 / f64::from(self.rate))
    }

    /// In words, for example "AAC in MP4".
    pub(super) fn format(&self) -> String {
        let parameters = self.track.codec_params.as_ref().and_then(|all| all.audio());
        let coding = match &self.decoder {
            Decoder::Opus(_) => "Opus".into(),
            Decoder::Library(_) => parameters.map_or(String::new(), coding_name),
        };
        let container = match self.container.format_info().short_name {
            "isomp4" => "MP4",
            "matroska" => "WebM",
            "ogg" => "Ogg",
            "caf" => "CAF",
            "aiff" => "AIFF",
            "wave" => "WAV",
            // The coding stands alone in its file.
            _ => return coding,
        };
        format!("{coding} in {container}")
    }

    /// What made the sound less than it should be, now that it has ended.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        let read = self.seconds(self.frames.saturating_sub(self.delay));
        let missing = self
            .declared()
            .filter(|declared| read.0 + SHORTER.max(self.seconds(SHORTER_FRAMES).0) < declared.0);
        let mut warnings = Vec::new();
        if self.changed {
            warnings.push(Warning::Changed { read });
        } else if self.file && (self.cut_off || missing.is_some()) {
            warnings.push(Warning::CutOff {
                read,
                declared: missing,
            });
        }
        if self.damage.length >= DAMAGE {
            let length = Seconds(self.damage.length);
            warnings.push(Warning::Damaged {
                parts: self.damage.parts,
                length,
            });
        }
        warnings
    }

    /// Appends the next samples, whole frames; `false` is the end.
    pub(super) fn next(&mut self, out: &mut Vec<f32>) -> Result<bool, Fault> {
        if !self.first.is_empty() {
            out.append(&mut self.first);
        } else {
            match self.piece(out)? {
                Piece::Samples => {}
                Piece::Gap(length) => {
                    let frames = (length * f64::from(self.rate)).round() as usize;
                    out.resize(out.len() + frames * self.channels, 0.0);
                }
                Piece::End => return Ok(false),
            }
        }
        let frames = (out.len() / self.channels) as u64;
        self.frames += frames;
        let skip = self.skip.min(frames);
        self.skip -= skip;
        out.drain(..skip as usize * self.channels);
        Ok(true)
    }

    /// Decodes one packet and appends its samples.
    fn piece(&mut self, out: &mut Vec<f32>) -> Result<Piece, Fault> {
        let Some(packet) = self.packet()? else {
            return Ok(Piece::End);
        };
        let seconds = |length: Duration| {
            let base = self.track.time_base?;
            Some(base.calc_duration(length)?.as_secs_f64())
        };
        let length = seconds(packet.block_dur())
            .unwrap_or(0.0)
            .clamp(0.0, LONGEST_GAP);
        let before = out.len();
        let spec = match &mut self.decoder {
            Decoder::Opus(decoder) => {
                let channels = decoder.channels();
                let samples = guarded(|| decoder.decode(&packet.data)).map_err(|_| panicked())?;
                samples.map(|samples| {
                    out.extend_from_slice(trimmed(samples, channels, &packet));
                    (opus::RATE, channels)
                })
            }
            Decoder::Library(decoder) => {
                let decoded = guarded(|| {
                    let buffer = decoder.decode(&packet)?;
                    out.resize(before + buffer.samples_interleaved(), 0.0);
                    buffer.copy_to_slice_interleaved(&mut out[before..]);
                    Ok((buffer.spec().rate(), buffer.spec().channels().count()))
                })
                .map_err(|_| panicked())?;
                match decoded {
                    Ok(spec) => Some(spec),
                    Err(Error::Unsupported(what)) if self.rate == 0 => {
                        let name = coding_name(decoder.codec_params());
                        return Err(Fault::Coding {
                            coding: format!("{name} ({what})"),
                        });
                    }
                    Err(Error::ResetRequired) => {
                        self.changed = true;
                        return Ok(Piece::End);
                    }
                    Err(_) => None,
                }
            }
        };
        match spec {
            None => {
                self.damage.parts += 1;
                self.damage.length += length;
                Ok(Piece::Gap(length))
            }
            // A packet without samples, such as one that is trimmed away, says nothing.
            Some(_) if out.len() == before => Ok(Piece::Samples),
            Some(spec) if self.rate == 0 => {
                (self.rate, self.channels) = spec;
                Ok(Piece::Samples)
            }
            Some(spec) if spec == (self.rate, self.channels) => Ok(Piece::Samples),
            Some(_) => {
                out.truncate(before);
                self.changed = true;
                Ok(Piece::End)
            }
        }
    }

    /// The next packet of the track; `None` at the end.
    fn packet(&mut self) -> Result<Option<Packet>, Fault> {
        if self.changed {
            return Ok(None);
        }
        for _ in 0..MOST_FAILURES {
            match guarded(|| self.container.next_packet()).map_err(|_| panicked())? {
                Ok(Some(packet)) if packet.track_id == self.track.id => return Ok(Some(packet)),
                Ok(Some(_)) => continue,
                Ok(None) => return Ok(None),
                Err(Error::IoError(error)) if error.kind() == io::ErrorKind::UnexpectedEof => {
                    self.cut_off = true;
                    return Ok(None);
                }
                Err(Error::IoError(error)) => return Err(Fault::unreadable(&error)),
                Err(Error::ResetRequired) => {
                    self.changed = true;
                    return Ok(None);
                }
                Err(_) => self.damage.parts += 1,
            }
        }
        self.cut_off = true;
        Ok(None)
    }
}

/// The samples of an Opus packet without what its container says to drop.
fn trimmed<'a>(samples: &'a [f32], channels: usize, packet: &Packet) -> &'a [f32] {
    let frames = samples.len() / channels;
    let start = usize::try_from(packet.trim_start.get())
        .unwrap_or(frames)
        .min(frames);
    let end = usize::try_from(packet.trim_end.get())
        .unwrap_or(frames)
        .min(frames - start);
    &samples[start * channels..(frames - end) * channels]
}

fn decoder(parameters: &AudioCodecParameters) -> Result<Decoder, Fault> {
    if parameters.codec == CODEC_ID_OPUS {
        let channels = parameters.channels.as_ref().map_or(1, |all| all.count());
        let decoder = Opus::new(parameters.extra_data.as_deref(), channels)?;
        return Ok(Decoder::Opus(Box::new(decoder)));
    }
    let (codecs, options) = (
        symphonia::default::get_codecs(),
        AudioDecoderOptions::default(),
    );
    match guarded(|| codecs.make_audio_decoder(parameters, &options)).map_err(|_| panicked())? {
        Ok(decoder) => Ok(Decoder::Library(decoder)),
        Err(Error::Unsupported(_)) => Err(Fault::Coding {
            coding: coding_name(parameters),
        }),
        Err(error) => Err(opening(error, true)),
    }
}

fn panicked() -> Fault {
    Fault::Broken {
        what: "the decoder failed on it".into(),
    }
}

/// Why a container could not be opened.
fn opening(error: Error, file: bool) -> Fault {
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

/// The common name of a coding.
fn coding_name(parameters: &AudioCodecParameters) -> String {
    use symphonia::core::codecs::audio::well_known as known;
    let name = match parameters.codec {
        known::CODEC_ID_AAC => "AAC",
        known::CODEC_ID_ALAC => "ALAC",
        known::CODEC_ID_FLAC => "FLAC",
        known::CODEC_ID_MP1 => "MP1",
        known::CODEC_ID_MP2 => "MP2",
        known::CODEC_ID_MP3 => "MP3",
        known::CODEC_ID_VORBIS => "Vorbis",
        known::CODEC_ID_OPUS => "Opus",
        known::CODEC_ID_SPEEX => "Speex",
        known::CODEC_ID_AC3 => "AC-3",
        known::CODEC_ID_EAC3 => "E-AC-3",
        known::CODEC_ID_WMA => "WMA",
        known::CODEC_ID_PCM_ALAW => "A-law",
        known::CODEC_ID_PCM_MULAW => "mu-law",
        known::CODEC_ID_ADPCM_MS | known::CODEC_ID_ADPCM_IMA_WAV | known::CODEC_ID_ADPCM_IMA_QT => {
            "ADPCM"
        }
        other => {
            let known = symphonia::default::get_codecs().get_audio_decoder(other);
            let name = known.map_or("a coding without a known name", |it| {
                it.codec.info.long_name
            });
            return match parameters.bits_per_sample {
                Some(bits) if name.contains("Floating") => format!("{bits}-bit float"),
                Some(bits) if name.starts_with("PCM") => format!("{bits}-bit"),
                _ => name.into(),
            };
        }
    };
    name.into()
}
