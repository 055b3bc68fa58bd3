//! What stands round the sound in a container file, where the decoder library needs help.
//!
//! Sources: boxes and edit lists of ISO/IEC 14496-12 (8.6.6, with 8.3.2 and 8.4.2), the chunks of
//! AIFF and of the Core Audio Format; from memory.
use std::io::{Read, Seek, SeekFrom};

/// The longest index that is looked into; an hour of sound has about 1 MB.
const LONGEST_INDEX: u64 = 16 << 20;

/// A correction of a head: these bytes stand at this place.
pub(super) type Patch = (u64, Vec<u8>);

/// What makes the head of an AIFF or CAF that was cut off fit the bytes that are there; empty where
/// nothing is wrong. Without it the library refuses the file. The position is lost.
pub(super) fn patches(clip: &mut (impl Read + Seek), len: u64) -> Vec<Patch> {
    let mut head = [0; 12];
    if clip.seek(SeekFrom::Start(0)).is_err() || clip.read_exact(&mut head).is_err() {
        return Vec::new();
    }
    match &head[..4] {
        b"FORM" => aiff_patches(clip, len),
        b"caff" => caf_patches(clip, len),
        _ => Vec::new(),
    }
}

fn aiff_patches(clip: &mut (impl Read + Seek), len: u64) -> Vec<Patch> {
    let mut at = 12;
    for _ in 0..MOST_CHUNKS {
        let mut head = [0; 8];
        if clip.seek(SeekFrom::Start(at)).is_err() || clip.read_exact(&mut head).is_err() {
            break;
        }
        let size = u64::from(number(&head, 4).unwrap_or(0));
        let rest = len - at - 8;
        if &head[..4] == b"SSND" && (size > rest || size == 0) {
            let bytes = |size: u64| {
                u32::try_from(size)
                    .unwrap_or(u32::MAX)
                    .to_be_bytes()
                    .to_vec()
            };
            return vec![(4, bytes(len - 8)), (at + 4, bytes(rest))];
        }
        at = at.saturating_add(8 + size + size % 2);
    }
    Vec::new()
}

fn caf_patches(clip: &mut (impl Read + Seek), len: u64) -> Vec<Patch> {
    let mut at: u64 = 8;
    for _ in 0..MOST_CHUNKS {
        let mut head = [0; 12];
        if clip.seek(SeekFrom::Start(at)).is_err() || clip.read_exact(&mut head).is_err() {
            break;
        }
        // A size of -1 is "to the end", which as a number without sign is beyond any end.
        let size = head[4..]
            .iter()
            .fold(0, |all, &byte| all << 8 | u64::from(byte));
        let rest = len - at - 12;
        if &head[..4] == b"data" && size > rest {
            return vec![(at + 4, rest.to_be_bytes().to_vec())];
        }
        at = at.saturating_add(12).saturating_add(size);
    }
    Vec::new()
}

/// More chunks than this stand before the sound in no real clip.
const MOST_CHUNKS: usize = 10_000;
/// More boxes than this stand side by side in no real clip.
const MOST_BOXES: usize = 100_000;

/// What lies at the top of an mp4.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Outline {
    /// Where the index lies, if it is there in full.
    index: Option<(u64, u64)>,
    /// Whether the last box reaches beyond the end of the file.
    pub cut: bool,
}

impl Outline {
    /// Whether the index is there. Without it the recording was never finished.
    pub(super) fn has_index(self) -> bool {
        self.index.is_some()
    }
}

/// Lists the boxes at the top of an mp4 without reading the sound. The position is lost.
pub(super) fn outline(clip: &mut (impl Read + Seek), len: u64) -> Outline {
    let mut index = None;
    let mut at = 0;
    for _ in 0..MOST_BOXES {
        let mut head = [0; 16];
        if clip.seek(SeekFrom::Start(at)).is_err() || clip.read_exact(&mut head[..8]).is_err() {
            break;
        }
        let (header, size) = match number(&head, 0) {
            Some(0) | None => (8, len - at),
            Some(1) => {
                if clip.read_exact(&mut head[8..]).is_err() {
                    break;
                }
                (
                    16,
                    head[8..]
                        .iter()
                        .fold(0, |all, &byte| all << 8 | u64::from(byte)),
                )
            }
            Some(size) => (8, size.into()),
        };
        if size < header {
            break;
        }
        let end = at.saturating_add(size);
        if &head[4..8] == b"moov" && end <= len {
            index = index.or(Some((at + header, size - header)));
        }
        at = end;
    }
    Outline {
        index,
        cut: at > len,
    }
}

/// The part of a decoded track that is sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Edit {
    /// Track number.
    pub track: u32,
    /// Units to drop at the start.
    pub skip: u64,
    /// Units in a second.
    pub scale: u32,
}

/// The index of an mp4, as bytes. The position is lost.
pub(super) fn index(clip: &mut (impl Read + Seek), outline: Outline) -> Vec<u8> {
    let Some((at, size)) = outline.index.filter(|(_, size)| *size <= LONGEST_INDEX) else {
        return Vec::new();
    };
    let mut bytes = Vec::new();
    if clip.seek(SeekFrom::Start(at)).is_ok() {
        // A file that fails here fails again, with a word, when the sound is read.
        let _ = clip.take(size).read_to_end(&mut bytes);
    }
    bytes
}

/// The edits of all tracks that have one.
pub(super) fn edits(index: &[u8]) -> Vec<Edit> {
    boxes(index)
        .filter(|(kind, _)| *kind == b"trak")
        .filter_map(|(_, trak)| edit(trak))
        .collect()
}

fn edit(trak: &[u8]) -> Option<Edit> {
    let header = child(trak, b"tkhd")?;
    let track = number(header, if *header.first()? == 1 { 20 } else { 12 })?;
    let header = child(child(trak, b"mdia")?, b"mdhd")?;
    let scale = number(header, if *header.first()? == 1 { 20 } else { 12 })?;
    let list = child(child(trak, b"edts")?, b"elst")?;
    let long = *list.first()? == 1;
    // Entries with a time of -1 only wait; the sound starts at the first other one.
    (0..number(list, 4)?.min(16) as usize).find_map(|entry| {
        let skip = if long {
            let at = 8 + 20 * entry + 8;
            (u64::from(number(list, at)?) << 32 | u64::from(number(list, at + 4)?)) as i64
        } else {
            i64::from(number(list, 8 + 12 * entry + 4)? as i32)
        };
        Some(Edit {
            track,
            skip: u64::try_from(skip).ok()?,
            scale,
        })
    })
}

fn number(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at + 4)?;
    Some(u32::from_be_bytes(four.try_into().ok()?))
}

fn child<'a>(parent: &'a [u8], kind: &[u8; 4]) -> Option<&'a [u8]> {
    boxes(parent)
        .find(|(found, _)| *found == kind)
        .map(|(_, body)| body)
}

/// The boxes that stand side by side in these bytes.
fn boxes(mut bytes: &[u8]) -> impl Iterator<Item = (&[u8; 4], &[u8])> {
    std::iter::from_fn(move || {
        let size = number(bytes, 0)? as usize;
        let kind = bytes.get(4..8)?.try_into().ok()?;
        let body = bytes.get(8..size)?;
        bytes = &bytes[size..];
        Some((kind, body))
    })
}
