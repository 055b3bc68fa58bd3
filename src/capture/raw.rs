//! Samples without a header, and the coding of single samples.
use std::fmt;
use std::str::FromStr;

use super::input::Input;
use super::{Fault, HIGHEST_RATE, LOWEST_RATE, MOST_CHANNELS};

/// How one sample is written. All but [`Coding::U8`] are little-endian.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    /// 8 bit without sign, 128 is silence.
    U8,
    /// 16-bit integer.
    S16,
    /// 24-bit integer in three bytes.
    S24,
    /// 32-bit integer.
    S32,
    /// 32-bit float, full scale 1.
    F32,
    /// 64-bit float, full scale 1.
    F64,
}

impl Coding {
    /// Bytes of one sample.
    pub fn bytes(self) -> usize {
        match self {
            Coding::U8 => 1,
            Coding::S16 => 2,
            Coding::S24 => 3,
            Coding::S32 | Coding::F32 => 4,
            Coding::F64 => 8,
        }
    }

    /// The smallest step between two samples; 16 bit stands for all that are finer.
    pub(super) fn step(self) -> f32 {
        match self {
            Coding::U8 => 1.0 / 128.0,
            _ => 1.0 / 32_768.0,
        }
    }

    /// Decodes whole samples and appends them, full scale 1.
    fn decode(self, bytes: &[u8], out: &mut Vec<f32>) {
        const S32: f64 = 1.0 / 2_147_483_648.0;
        match self {
            Coding::U8 => out.extend(bytes.iter().map(|&b| (f32::from(b) - 128.0) / 128.0)),
            Coding::S16 => out.extend(
                bytes
                    .as_chunks()
                    .0
                    .iter()
                    .map(|&b| f32::from(i16::from_le_bytes(b)) / 32_768.0),
            ),
            Coding::S24 => out.extend(bytes.as_chunks().0.iter().map(|&[a, b, c]| {
                // The sign sits in the highest byte, so the three bytes go to the top.
                (f64::from(i32::from_le_bytes([0, a, b, c])) * S32) as f32
            })),
            Coding::S32 => out.extend(
                bytes
                    .as_chunks()
                    .0
                    .iter()
                    .map(|&b| (f64::from(i32::from_le_bytes(b)) * S32) as f32),
            ),
            Coding::F32 => {
                out.extend(bytes.as_chunks().0.iter().map(|&b| f32::from_le_bytes(b)));
            }
            Coding::F64 => {
                out.extend(
                    bytes
                        .as_chunks()
                        .0
                        .iter()
                        .map(|&b| f64::from_le_bytes(b) as f32),
                );
            }
        }
    }
}

impl fmt::Display for Coding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Coding::U8 => "8-bit",
            Coding::S16 => "16-bit",
            Coding::S24 => "24-bit",
            Coding::S32 => "32-bit",
            Coding::F32 => "32-bit float",
            Coding::F64 => "64-bit float",
        })
    }
}

/// Interleaved samples without a header, written as `CODING:RATE:CHANNELS`, for example
/// `s16le:48000:1`. Codings are `u8`, `s16le`, `s24le`, `s32le` and `f32le`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RawFormat {
    /// How a sample is written.
    pub coding: Coding,
    /// Frames a second, 8,000 to 192,000.
    pub sample_rate: u32,
    /// 1 to 8.
    pub channels: usize,
}

impl FromStr for RawFormat {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        let malformed = || Fault::RawFormat {
            text: text.to_owned(),
        };
        let mut parts = text.split(':');
        let (Some(coding), Some(rate), Some(channels), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(malformed());
        };
        let coding = match coding {
            "u8" => Coding::U8,
            "s16le" => Coding::S16,
            "s24le" => Coding::S24,
            "s32le" => Coding::S32,
            "f32le" => Coding::F32,
            _ => return Err(malformed()),
        };
        let format = RawFormat {
            coding,
            sample_rate: rate.parse().map_err(|_| malformed())?,
            channels: channels.parse().map_err(|_| malformed())?,
        };
        in_range(format.sample_rate, format.channels)?;
        Ok(format)
    }
}

/// Refuses a rate or a number of channels that cannot be read.
pub(super) fn in_range(rate: u32, channels: usize) -> Result<(), Fault> {
    if !(LOWEST_RATE..=HIGHEST_RATE).contains(&rate) {
        return Err(Fault::SampleRate { rate });
    }
    if !(1..=MOST_CHANNELS).contains(&channels) {
        return Err(Fault::Channels { channels });
    }
    Ok(())
}

/// Bytes that are read at a time: short enough for a live stream (a pipe gives what it has), long
/// enough that the calls do not count.
const READ: usize = 32 * 1024;

/// Reads interleaved samples from bytes.
pub(super) struct Samples {
    input: Input,
    format: RawFormat,
    /// Bytes that the header still promises; `None` is until the end.
    left: Option<u64>,
    bytes: Vec<u8>,
    /// Bytes at the front of `bytes` that are no whole frame yet.
    held: usize,
}

impl Samples {
    pub(super) fn new(input: Input, format: RawFormat, left: Option<u64>) -> Self {
        Samples {
            input,
            format,
            left,
            bytes: vec![0; READ],
            held: 0,
        }
    }

    /// Bytes that the header promises beyond the last one read.
    pub(super) fn missing(&self) -> Option<u64> {
        self.left
    }

    /// Appends the next samples, whole frames; `false` is the end.
    pub(super) fn next(&mut self, out: &mut Vec<f32>) -> Result<bool, Fault> {
        let frame = self.format.coding.bytes() * self.format.channels;
        loop {
            let room = (READ - self.held) as u64;
            let wanted = self.left.map_or(room, |left| room.min(left)) as usize;
            if wanted == 0 {
                return Ok(false);
            }
            let count = self
                .input
                .read_ready(&mut self.bytes[self.held..self.held + wanted])
                .map_err(|error| Fault::unreadable(&error))?;
            if count == 0 {
                return Ok(false);
            }
            if let Some(left) = &mut self.left {
                *left -= count as u64;
            }
            let filled = self.held + count;
            let whole = filled / frame * frame;
            self.format.coding.decode(&self.bytes[..whole], out);
            self.bytes.copy_within(whole..filled, 0);
            self.held = filled - whole;
            if whole > 0 {
                return Ok(true);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn raw_format_is_read_from_its_text() {
        let format: RawFormat = "s16le:48000:1".parse().unwrap();
        assert_eq!(
            format,
            RawFormat {
                coding: Coding::S16,
                sample_rate: 48_000,
                channels: 1
            }
        );
        for (text, bytes) in [
            ("u8", 1),
            ("s16le", 2),
            ("s24le", 3),
            ("s32le", 4),
            ("f32le", 4),
        ] {
            let format: RawFormat = format!("{text}:8000:8").parse().unwrap();
            assert_eq!(format.coding.bytes(), bytes);
        }
    }

    #[test]
    fn raw_format_that_is_malformed_or_out_of_range_is_refused() {
        for text in [
            "",
            "s16le",
            "s16le:48000",
            "s16be:48000:1",
            "s16le:48000:1:1",
            "s16le:-1:1",
        ] {
            let fault = text.parse::<RawFormat>().unwrap_err();
            assert_eq!(
                fault,
                Fault::RawFormat {
                    text: text.to_owned()
                }
            );
            assert!(fault.hint().contains("s16le:48000:1"));
        }
        let fault = "s16le:4000:1".parse::<RawFormat>();
        assert_eq!(fault, Err(Fault::SampleRate { rate: 4_000 }));
        let fault = "s16le:48000:0".parse::<RawFormat>();
        assert_eq!(fault, Err(Fault::Channels { channels: 0 }));
    }

    /// Full scale, half scale and silence as two's complement and IEEE 754 write them.
    #[test]
    fn samples_have_full_scale_one() {
        let decoded = |coding: Coding, bytes: &[u8]| {
            let mut out = Vec::new();
            coding.decode(bytes, &mut out);
            out
        };
        assert_eq!(
            decoded(Coding::U8, &[0, 64, 128, 192]),
            [-1.0, -0.5, 0.0, 0.5]
        );
        assert_eq!(
            decoded(Coding::S16, &[0, 0x80, 0, 0x40, 0, 0]),
            [-1.0, 0.5, 0.0]
        );
        assert_eq!(
            decoded(Coding::S24, &[0, 0, 0x80, 0, 0, 0x40, 0, 0, 0]),
            [-1.0, 0.5, 0.0]
        );
        assert_eq!(
            decoded(Coding::S32, &[0, 0, 0, 0x80, 0, 0, 0, 0x40]),
            [-1.0, 0.5]
        );
        assert_eq!(
            decoded(Coding::F32, &[0, 0, 0x80, 0xbf, 0, 0, 0, 0x3f]),
            [-1.0, 0.5]
        );
        assert_eq!(decoded(Coding::F64, &[0, 0, 0, 0, 0, 0, 0xe0, 0x3f]), [0.5]);
    }
}
