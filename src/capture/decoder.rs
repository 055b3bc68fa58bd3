//! From packets to samples: the decoder library, and Opus beside it.
use symphonia::core::codecs::audio::well_known::{self, CODEC_ID_OPUS};
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::packet::Packet;

use super::Fault;
use super::guard::guarded;
use super::opus::{self, Opus};
use super::packets::{panicked, unopened};

/// Decodes packets of one coding.
pub(super) enum Decoder {
    /// All that the library knows.
    Library {
        /// The decoder itself.
        decoder: Box<dyn AudioDecoder>,
        /// Whether a packet was decoded before.
        begun: bool,
    },
    /// Opus.
    Opus(Box<Opus>),
}

/// What became of a packet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Decoded {
    /// Interleaved samples, perhaps none, of this rate and so many channels.
    Samples {
        /// Frames a second.
        rate: u32,
        /// Samples in a frame.
        channels: usize,
    },
    /// Nothing could be made of it.
    Damaged,
    /// What follows is another sound.
    Changed,
}

impl Decoder {
    /// The decoder for a coding.
    pub(super) fn new(parameters: &AudioCodecParameters) -> Result<Self, Fault> {
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
            Ok(decoder) => Ok(Decoder::Library {
                decoder,
                begun: false,
            }),
            Err(Error::Unsupported(_)) => Err(undecodable(parameters)),
            Err(error) => Err(unopened(error, true)),
        }
    }

    /// Decodes a packet into `out`, which is empty or else is replaced.
    pub(super) fn decode(&mut self, packet: &Packet, out: &mut Vec<f32>) -> Result<Decoded, Fault> {
        let (decoder, begun) = match self {
            Decoder::Opus(decoder) => return decode_opus(decoder, packet, out),
            Decoder::Library { decoder, begun } => (decoder, begun),
        };
        let decoded = guarded(|| {
            let buffer = decoder.decode(packet)?;
            out.resize(buffer.samples_interleaved(), 0.0);
            buffer.copy_to_slice_interleaved(&mut out[..]);
            let (rate, channels) = (buffer.spec().rate(), buffer.spec().channels().count());
            Ok(Decoded::Samples { rate, channels })
        })
        .map_err(|_| panicked())?;
        match decoded {
            Ok(samples) => {
                *begun = true;
                Ok(samples)
            }
            Err(Error::Unsupported(_)) if !*begun => Err(undecodable(decoder.codec_params())),
            Err(Error::ResetRequired) => Ok(Decoded::Changed),
            Err(_) => Ok(Decoded::Damaged),
        }
    }
}

fn decode_opus(decoder: &mut Opus, packet: &Packet, out: &mut Vec<f32>) -> Result<Decoded, Fault> {
    let channels = decoder.channels();
    let samples = guarded(|| decoder.decode(&packet.data)).map_err(|_| panicked())?;
    let Some(samples) = samples else {
        return Ok(Decoded::Damaged);
    };
    let frames = samples.len() / channels;
    let start = usize::try_from(packet.trim_start.get())
        .unwrap_or(frames)
        .min(frames);
    let end = usize::try_from(packet.trim_end.get())
        .unwrap_or(frames)
        .min(frames - start);
    out.clear();
    out.extend_from_slice(&samples[start * channels..(frames - end) * channels]);
    Ok(Decoded::Samples {
        rate: opus::RATE,
        channels,
    })
}

/// A coding that no decoder knows, or a variant of one that a decoder does.
fn undecodable(parameters: &AudioCodecParameters) -> Fault {
    let name = coding_name(parameters);
    let known = symphonia::default::get_codecs()
        .get_audio_decoder(parameters.codec)
        .is_some();
    Fault::Coding {
        coding: if known {
            format!("a variant of {name}")
        } else {
            name
        },
    }
}

/// The common name of a coding.
pub(super) fn coding_name(parameters: &AudioCodecParameters) -> String {
    let name = match parameters.codec {
        well_known::CODEC_ID_AAC => "AAC",
        well_known::CODEC_ID_ALAC => "ALAC",
        well_known::CODEC_ID_FLAC => "FLAC",
        well_known::CODEC_ID_MP1 => "MP1",
        well_known::CODEC_ID_MP2 => "MP2",
        well_known::CODEC_ID_MP3 => "MP3",
        well_known::CODEC_ID_VORBIS => "Vorbis",
        well_known::CODEC_ID_OPUS => "Opus",
        well_known::CODEC_ID_SPEEX => "Speex",
        well_known::CODEC_ID_AC3 => "AC-3",
        well_known::CODEC_ID_EAC3 => "E-AC-3",
        well_known::CODEC_ID_WMA => "WMA",
        well_known::CODEC_ID_PCM_ALAW => "A-law",
        well_known::CODEC_ID_PCM_MULAW => "mu-law",
        well_known::CODEC_ID_ADPCM_MS
        | well_known::CODEC_ID_ADPCM_IMA_WAV
        | well_known::CODEC_ID_ADPCM_IMA_QT => "ADPCM",
        other => {
            let known = symphonia::default::get_codecs().get_audio_decoder(other);
            let name = known.map_or("a coding without a known name", |it| {
                it.codec.info.long_name
            });
            let bits = name.split(' ').find(|word| word.ends_with("-bit"));
            let float = if name.contains("Floating") {
                " float"
            } else {
                ""
            };
            return match bits.filter(|_| name.starts_with("PCM")) {
                Some(bits) => format!("{bits}{float}"),
                None => name.into(),
            };
        }
    };
    name.into()
}
