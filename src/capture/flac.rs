//! Samples as frames of FLAC, one by one.
use std::io;

use flacenc::bitsink::ByteSink;
use flacenc::component::{BitRepr, StreamInfo};
use flacenc::config;
use flacenc::error::{Verified, Verify};
use flacenc::source::{Fill, FrameBuf};

use super::Facts;

/// Samples of a channel in a frame: 85 ms at 48 kHz.
const FRAME: usize = 4_096;
/// The shortest frame that the encoder makes; silence fills a shorter rest.
const SHORTEST: usize = 32;
/// Length of the head: the mark, and the block that describes the stream.
const HEAD: usize = 42;

/// An encoder for 16-bit samples.
pub(super) struct Flac {
    config: Verified<config::Encoder>,
    info: StreamInfo,
    rate: u32,
    channels: usize,
    waiting: Vec<i32>,
    frames: usize,
    /// Samples of a channel in finished recordings; 0 is "not known", while it goes on.
    total: u64,
}

fn failed(error: impl std::fmt::Display) -> io::Error {
    io::Error::other(format!("the FLAC encoder failed: {error}"))
}

impl Flac {
    pub(super) fn new(facts: &Facts) -> io::Result<Flac> {
        let config = config::Encoder::default()
            .into_verified()
            .map_err(|(_, error)| failed(error))?;
        let rate = facts.sample_rate as usize;
        Ok(Flac {
            config,
            info: StreamInfo::new(rate, facts.channels, 16).map_err(failed)?,
            rate: facts.sample_rate,
            channels: facts.channels,
            waiting: Vec::new(),
            frames: 0,
            total: 0,
        })
    }

    /// The head (RFC 9639, sections 6 and 8.2). Frame sizes and the checksum of the whole are left
    /// open, which it allows.
    pub(super) fn head(&self) -> [u8; HEAD] {
        let mut head = [0; HEAD];
        head[..8].copy_from_slice(b"fLaC\x80\0\0\x22");
        head[8..10].copy_from_slice(&(FRAME as u16).to_be_bytes());
        head[10..12].copy_from_slice(&(FRAME as u16).to_be_bytes());
        // 20 bits rate, 3 bits channels less one, 5 bits sample size less one, 36 bits length.
        let described = u64::from(self.rate) << 44
            | (self.channels as u64 - 1) << 41
            | 15 << 36
            | self.total & 0xF_FFFF_FFFF;
        head[18..26].copy_from_slice(&described.to_be_bytes());
        head
    }

    /// Takes interleaved samples and appends the frames that are now full.
    pub(super) fn push(
        &mut self,
        samples: impl Iterator<Item = i32>,
        out: &mut Vec<u8>,
    ) -> io::Result<()> {
        self.waiting.extend(samples);
        let mut waiting = std::mem::take(&mut self.waiting);
        let whole = waiting.len() / (FRAME * self.channels) * FRAME * self.channels;
        for frame in waiting[..whole].chunks(FRAME * self.channels) {
            self.frame(frame, out)?;
        }
        waiting.drain(..whole);
        self.waiting = waiting;
        Ok(())
    }

    /// Appends what is left as the last frame.
    pub(super) fn finish(&mut self, out: &mut Vec<u8>) -> io::Result<()> {
        let mut rest = std::mem::take(&mut self.waiting);
        self.total = (self.frames * FRAME + rest.len() / self.channels) as u64;
        if rest.is_empty() {
            return Ok(());
        }
        if rest.len() < SHORTEST * self.channels {
            rest.resize(SHORTEST * self.channels, 0);
            self.total = (self.frames * FRAME + SHORTEST) as u64;
        }
        self.frame(&rest, out)
    }

    fn frame(&mut self, samples: &[i32], out: &mut Vec<u8>) -> io::Result<()> {
        let length = samples.len() / self.channels;
        let mut buffer = FrameBuf::with_size(self.channels, length).map_err(failed)?;
        buffer.fill_interleaved(samples).map_err(failed)?;
        let frame =
            flacenc::encode_fixed_size_frame(&self.config, &buffer, self.frames, &self.info)
                .map_err(failed)?;
        let mut sink = ByteSink::new();
        frame.write(&mut sink).map_err(failed)?;
        out.extend_from_slice(sink.as_slice());
        self.frames += 1;
        Ok(())
    }
}
