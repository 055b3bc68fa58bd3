//! Opus packets to samples: the one coding that the decoder library leaves out.
use ropus::{Channels, DecodeMode, Decoder};

use super::Fault;

/// Opus always decodes at this rate.
pub(super) const RATE: u32 = 48_000;

/// Decodes mono and stereo Opus.
pub(super) struct Opus {
    decoder: Decoder,
    channels: usize,
    samples: Vec<f32>,
}

impl Opus {
    /// From the identification header of RFC 7845, section 5.1, if the container has it, else for
    /// so many channels.
    pub(super) fn new(header: Option<&[u8]>, channels: usize) -> Result<Self, Fault> {
        let header = header.filter(|header| header.starts_with(b"OpusHead"));
        let channels = header
            .and_then(|h| h.get(9))
            .map_or(channels, |&count| count.into());
        let layout = match channels {
            1 => Channels::Mono,
            2 => Channels::Stereo,
            _ => {
                return Err(Fault::Coding {
                    coding: format!("Opus with {channels} channels"),
                });
            }
        };
        let broken = || Fault::Broken {
            what: "the Opus header makes no sense".into(),
        };
        let mut decoder = Decoder::new(RATE, layout).map_err(|_| broken())?;
        if let Some(&[low, high]) = header.and_then(|header| header.get(16..18)) {
            decoder
                .set_gain(i16::from_le_bytes([low, high]).into())
                .map_err(|_| broken())?;
        }
        let samples = vec![0.0; decoder.max_frame_samples_per_channel() * channels];
        Ok(Opus {
            decoder,
            channels,
            samples,
        })
    }

    pub(super) fn channels(&self) -> usize {
        self.channels
    }

    /// Samples that the header says to drop at the start.
    pub(super) fn pre_skip(header: Option<&[u8]>) -> u64 {
        match header
            .filter(|header| header.starts_with(b"OpusHead"))
            .and_then(|h| h.get(10..12))
        {
            Some(&[low, high]) => u16::from_le_bytes([low, high]).into(),
            _ => 0,
        }
    }

    /// The interleaved samples of a packet; `None` if it is damaged.
    pub(super) fn decode(&mut self, packet: &[u8]) -> Option<&[f32]> {
        // An empty packet would ask the decoder to make up what is lost.
        if packet.is_empty() {
            return None;
        }
        let frames = self
            .decoder
            .decode_float(packet, &mut self.samples, DecodeMode::Normal)
            .ok()?;
        self.samples.get(..frames * self.channels)
    }
}
