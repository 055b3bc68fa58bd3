//! The head of a WAV clip.
//!
//! Method: chunks as in the RIFF and WAVE definitions of 1991, the extensible format chunk, and the
//! 64-bit lengths of EBU Tech 3306 (RF64); from memory. It is read here and not by the decoder
//! library because recorders that die or stream leave wrong lengths, which that library refuses,
//! and because it drops the last part of a block when a pipe ends.
use super::Fault;
use super::input::Input;
use super::raw::{Coding, RawFormat, in_range};

/// Lengths from here on stand for "not known" in streams: writers use 0x7FFFF000, 0x7FFFFFFF and
/// 0xFFFFFFFF.
const UNKNOWN: u64 = 0x7FFF_F000;
/// The longest format chunk that makes sense.
const LONGEST_FORMAT: usize = 256;

/// What stands before the samples. The input is at the first sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Head {
    /// How the samples are written.
    pub format: RawFormat,
    /// Bytes of samples, if the head says so.
    pub length: Option<u64>,
}

/// Whether a clip that starts with these bytes (12 or more) is a WAV.
pub(super) fn recognized(start: &[u8]) -> bool {
    matches!(start.get(..4), Some(b"RIFF" | b"RF64")) && start.get(8..12) == Some(b"WAVE")
}

/// Reads the head of a WAV from its first byte on; `None` if the samples are compressed.
pub(super) fn head(input: &mut Input) -> Result<Option<Head>, Fault> {
    let mut start = [0; 12];
    fill(input, &mut start)?;
    let mut format = None;
    let mut long_length = None;
    loop {
        let mut chunk = [0; 8];
        fill(input, &mut chunk)?;
        let [a, b, c, d, size @ ..] = chunk;
        let size = u64::from(u32::from_le_bytes(size));
        match &[a, b, c, d] {
            b"fmt " => {
                let mut body = vec![0; (size as usize).min(LONGEST_FORMAT)];
                fill(input, &mut body)?;
                skip(input, size + (size & 1) - body.len() as u64)?;
                match coding(&body)? {
                    Some(known) => format = Some(known),
                    None => return Ok(None),
                }
            }
            b"ds64" if size >= 16 => {
                let mut body = [0; 16];
                fill(input, &mut body)?;
                skip(input, size + (size & 1) - 16)?;
                let [_, _, _, _, _, _, _, _, length @ ..] = body;
                long_length = Some(u64::from_le_bytes(length));
            }
            b"data" => {
                let Some(format) = format else {
                    return Err(Fault::Broken {
                        what: "the WAV names no sample format".into(),
                    });
                };
                let length = match long_length {
                    Some(length) if size == u64::from(u32::MAX) && length > 0 => Some(length),
                    _ => data_length(input, size)?,
                };
                return Ok(Some(Head { format, length }));
            }
            _ => skip(input, size + (size & 1))?,
        }
    }
}

fn fill(input: &mut Input, buffer: &mut [u8]) -> Result<(), Fault> {
    match input.read_full(buffer) {
        Ok(count) if count == buffer.len() => Ok(()),
        Ok(_) => Err(Fault::NoSamples),
        Err(error) => Err(Fault::unreadable(&error)),
    }
}

fn skip(input: &mut Input, count: u64) -> Result<(), Fault> {
    match input.pass(count) {
        Ok(true) => Ok(()),
        Ok(false) => Err(Fault::NoSamples),
        Err(error) => Err(Fault::unreadable(&error)),
    }
}

fn coding(body: &[u8]) -> Result<Option<RawFormat>, Fault> {
    let short = |at: usize| {
        body.get(at..at + 2)
            .map(|b| u16::from_le_bytes([b[0], b[1]]))
    };
    let (Some(mut tag), Some(channels), Some(align), Some(bits)) =
        (short(0), short(2), short(12), short(14))
    else {
        return Err(Fault::Broken {
            what: "the format chunk of the WAV is too short".into(),
        });
    };
    let rate = u32::from_le_bytes([body[4], body[5], body[6], body[7]]);
    if tag == 0xFFFE {
        // Extensible: the real tag opens the sub-format.
        tag = short(24).unwrap_or(0);
    }
    let channels = usize::from(channels);
    // A sample of 20 bits lies in three bytes, or in as many as a frame gives it.
    let bytes = match usize::from(align) {
        align
            if channels > 0
                && align % channels == 0
                && align / channels >= bits.div_ceil(8).into() =>
        {
            align / channels
        }
        _ => usize::from(bits.div_ceil(8)),
    };
    let coding = match (tag, bytes) {
        (1, 1) => Coding::U8,
        (1, 2) => Coding::S16,
        (1, 3) => Coding::S24,
        (1, 4) => Coding::S32,
        (3, 4) => Coding::F32,
        (3, 8) => Coding::F64,
        (1 | 3, _) => {
            let kind = if tag == 1 { "integer" } else { "float" };
            return Err(Fault::Broken {
                what: format!("{bits}-bit {kind} samples do not exist"),
            });
        }
        _ => return Ok(None),
    };
    in_range(rate, channels)?;
    Ok(Some(RawFormat {
        coding,
        sample_rate: rate,
        channels,
    }))
}

/// Decides what the length in the header is worth.
fn data_length(input: &mut Input, size: u64) -> Result<Option<u64>, Fault> {
    let Some(rest) = input.rest().map_err(|error| Fault::unreadable(&error))? else {
        return Ok((1..UNKNOWN).contains(&size).then_some(size));
    };
    if size == 0 {
        let mut next = [0; 8];
        let ahead = input
            .look(&mut next)
            .map_err(|error| Fault::unreadable(&error))?;
        let [a, b, c, d, follows @ ..] = next;
        let is_chunk = ahead == 8
            && [a, b, c, d]
                .iter()
                .all(|byte| byte.is_ascii_alphanumeric() || *byte == b' ')
            && u64::from(u32::from_le_bytes(follows)) <= rest - 8;
        return if rest == 0 || is_chunk {
            Err(Fault::NoSamples)
        } else {
            Ok(None)
        };
    }
    Ok((size <= rest || size < UNKNOWN).then_some(size))
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let mut bytes = id.to_vec();
        bytes.extend((body.len() as u32).to_le_bytes());
        bytes.extend(body);
        bytes.resize(bytes.len().next_multiple_of(2), 0);
        bytes
    }

    fn format(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
        let align = channels * bits.div_ceil(8);
        let mut body = Vec::new();
        body.extend(tag.to_le_bytes());
        body.extend(channels.to_le_bytes());
        body.extend(rate.to_le_bytes());
        body.extend((rate * u32::from(align)).to_le_bytes());
        body.extend(align.to_le_bytes());
        body.extend(bits.to_le_bytes());
        body
    }

    fn wav(chunks: &[Vec<u8>]) -> Vec<u8> {
        let body = chunks.concat();
        let mut bytes = b"RIFF".to_vec();
        bytes.extend((4 + body.len() as u32).to_le_bytes());
        bytes.extend(b"WAVE");
        bytes.extend(body);
        bytes
    }

    fn with_length(mut bytes: Vec<u8>, length: u32) -> Vec<u8> {
        let at = bytes.windows(4).position(|id| id == b"data").unwrap() + 4;
        bytes[at..at + 4].copy_from_slice(&length.to_le_bytes());
        bytes
    }

    fn head_of_file(bytes: Vec<u8>) -> Result<Option<Head>, Fault> {
        head(&mut Input::file(Cursor::new(bytes)).unwrap())
    }

    fn length_in_pipe(bytes: Vec<u8>) -> Option<u64> {
        head(&mut Input::pipe(Cursor::new(bytes)))
            .unwrap()
            .unwrap()
            .length
    }

    fn plain() -> Vec<u8> {
        wav(&[
            chunk(b"fmt ", &format(1, 1, 48_000, 16)),
            chunk(b"data", &[1; 100]),
        ])
    }

    #[test]
    fn chunks_in_between_are_passed_over() {
        let list = chunk(b"LIST", &[7; 33]);
        let bytes = wav(&[
            chunk(b"JUNK", &[0; 28]),
            chunk(b"fmt ", &format(1, 2, 44_100, 24)),
            list,
            chunk(b"data", &[0; 60]),
        ]);
        let format = RawFormat {
            coding: Coding::S24,
            sample_rate: 44_100,
            channels: 2,
        };
        assert_eq!(
            head_of_file(bytes),
            Ok(Some(Head {
                format,
                length: Some(60)
            }))
        );
    }

    #[test]
    fn extensible_names_its_coding_in_the_sub_format() {
        let mut body = format(0xFFFE, 8, 96_000, 32);
        body.extend([22, 0, 32, 0, 0xff, 0, 0, 0]);
        body.extend([
            3, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71,
        ]);
        let bytes = wav(&[chunk(b"fmt ", &body), chunk(b"data", &[0; 64])]);
        let head = head_of_file(bytes).unwrap().unwrap();
        assert_eq!((head.format.coding, head.format.channels), (Coding::F32, 8));
    }

    #[test]
    fn compressed_samples_are_left_to_the_decoders() {
        for tag in [2, 6, 7, 0x11] {
            let bytes = wav(&[
                chunk(b"fmt ", &format(tag, 1, 8_000, 8)),
                chunk(b"data", &[0; 64]),
            ]);
            assert_eq!(head_of_file(bytes), Ok(None));
        }
    }

    #[test]
    fn length_of_a_stream_is_until_the_end_where_the_writer_did_not_know_it() {
        assert_eq!(length_in_pipe(plain()), Some(100));
        for unknown in [0, 0x7FFF_F000, 0x7FFF_FFFF, 0x8000_0000, u32::MAX] {
            assert_eq!(length_in_pipe(with_length(plain(), unknown)), None);
        }
    }

    #[test]
    fn length_in_a_file_is_kept_unless_it_stands_for_unknown() {
        let length = |length| head_of_file(with_length(plain(), length)).map(|h| h.unwrap().length);
        assert_eq!(length(60), Ok(Some(60)));
        assert_eq!(length(200), Ok(Some(200)));
        for unknown in [0, 0x7FFF_FFFF, u32::MAX] {
            assert_eq!(length(unknown), Ok(None));
        }
    }

    #[test]
    fn length_zero_with_nothing_or_another_chunk_behind_is_no_sound() {
        let format = chunk(b"fmt ", &format(1, 1, 48_000, 16));
        let empty = chunk(b"data", &[]);
        assert_eq!(
            head_of_file(wav(&[format.clone(), empty.clone()])),
            Err(Fault::NoSamples)
        );
        let list = chunk(b"LIST", &[0; 20]);
        assert_eq!(
            head_of_file(wav(&[format, empty, list])),
            Err(Fault::NoSamples)
        );
    }

    #[test]
    fn long_files_carry_their_length_in_a_chunk_of_its_own() {
        let mut sizes = 5_000_000_000_u64.to_le_bytes().to_vec();
        sizes.extend(4_999_999_000_u64.to_le_bytes());
        sizes.extend([0; 12]);
        let mut bytes = wav(&[
            chunk(b"ds64", &sizes),
            chunk(b"fmt ", &format(1, 1, 48_000, 16)),
            chunk(b"data", &[1; 100]),
        ]);
        bytes[..4].copy_from_slice(b"RF64");
        assert_eq!(
            length_in_pipe(with_length(bytes, u32::MAX)),
            Some(4_999_999_000)
        );
    }

    #[test]
    fn heads_that_make_no_sense_are_refused() {
        let data = chunk(b"data", &[0; 64]);
        let of = |body: &[u8]| head_of_file(wav(&[chunk(b"fmt ", body), data.clone()]));
        assert_eq!(
            of(&format(1, 0, 48_000, 16)),
            Err(Fault::Channels { channels: 0 })
        );
        assert_eq!(
            of(&format(1, 64, 48_000, 16)),
            Err(Fault::Channels { channels: 64 })
        );
        for rate in [0_u32, 1, 4_000_000_000] {
            let mut body = format(1, 1, 1, 16);
            body[4..8].copy_from_slice(&rate.to_le_bytes());
            assert_eq!(of(&body), Err(Fault::SampleRate { rate }));
        }
        assert!(matches!(
            of(&format(1, 1, 48_000, 0)),
            Err(Fault::Broken { .. })
        ));
        assert!(matches!(
            of(&format(3, 1, 48_000, 16)),
            Err(Fault::Broken { .. })
        ));
        assert!(matches!(of(&[1, 0, 1]), Err(Fault::Broken { .. })));
        let bare = head_of_file(wav(std::slice::from_ref(&data)));
        assert!(matches!(bare, Err(Fault::Broken { .. })));
        for end in 12..plain().len() - 100 {
            assert_eq!(head_of_file(plain()[..end].to_vec()), Err(Fault::NoSamples));
        }
    }
}
