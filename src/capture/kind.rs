//! What the first bytes and the outline of a clip tell, before a decoder sees it.
use std::io;

use super::Fault;
use super::coded::Expected;
use super::fault::Foreign;
use super::input::Input;
use super::outline;

/// Kinds of recordings that are known by their first bytes but not decoded here.
pub(super) fn foreign(start: &[u8]) -> Option<Foreign> {
    const ASF: &[u8] = &[
        0x30, 0x26, 0xb2, 0x75, 0x8e, 0x66, 0xcf, 0x11, 0xa6, 0xd9, 0x00, 0xaa, 0x00, 0x62, 0xce,
        0x6c,
    ];
    if start.starts_with(b"#!AMR") {
        Some(Foreign::Amr)
    } else if start == ASF {
        Some(Foreign::Wma)
    } else {
        None
    }
}

/// What is known of a compressed clip.
pub(super) struct Known {
    /// For the decoder.
    pub expected: Expected,
    /// Whether its index names the speech coding AMR.
    pub speech: bool,
}

/// Looks at a compressed clip that starts with these bytes and makes it readable if its head does
/// not fit. The input is at its start again.
pub(super) fn known(input: &mut Input, start: &[u8]) -> Result<Known, Fault> {
    let unreadable = |error: io::Error| Fault::unreadable(&error);
    let mut expected = Expected {
        file: input.len().is_some(),
        ..Expected::default()
    };
    let mut speech = false;
    if let Some(len) = input.len() {
        if start.get(4..8) == Some(b"ftyp") {
            let top = outline::outline(input, len);
            if !top.has_index() {
                return Err(Fault::Unfinished);
            }
            let index = outline::index(input, top);
            speech = index
                .windows(4)
                .any(|kind| kind == b"samr" || kind == b"sawb");
            expected.edits = outline::edits(&index);
            if top.cut {
                input.read_straight();
            }
        }
        let patches = outline::patches(input, len);
        expected.cut_off = !patches.is_empty();
        input.patch(patches);
        input.rewind().map_err(unreadable)?;
        expected.estimated = !counts_frames(input, start).map_err(unreadable)?;
        input.rewind().map_err(unreadable)?;
    }
    Ok(Known { expected, speech })
}

/// Whether the first bytes are text.
pub(super) fn is_text(input: &mut Input) -> io::Result<bool> {
    let mut start = [0; 512];
    let count = input.read_full(&mut start)?;
    input.rewind()?;
    let start = &start[..count];
    // The cut may go through a character.
    let text = match std::str::from_utf8(start) {
        Ok(text) => text,
        Err(error) if error.valid_up_to() + 4 > count && count == 512 => {
            std::str::from_utf8(&start[..error.valid_up_to()]).unwrap_or_default()
        }
        Err(_) => return Ok(false),
    };
    Ok(!text.is_empty()
        && text
            .chars()
            .all(|c| !c.is_control() || c.is_ascii_whitespace()))
}

/// Whether an MP3 says how many frames it has; everything else does where it can.
fn counts_frames(input: &mut Input, start: &[u8]) -> io::Result<bool> {
    let tag = match start {
        // The size of an ID3 tag has seven bits a byte.
        [b'I', b'D', b'3', _, _, _, a, b, c, d, ..] => {
            10 + [a, b, c, d]
                .iter()
                .fold(0, |all, &&byte| all << 7 | u64::from(byte & 0x7f))
        }
        [0xff, second, ..] if second & 0xe0 == 0xe0 => 0,
        _ => return Ok(true),
    };
    let mut frame = [0; 4096];
    input.pass(tag)?;
    let count = input.read_full(&mut frame)?;
    Ok(frame[..count]
        .windows(4)
        .any(|id| matches!(id, b"Xing" | b"Info" | b"VBRI")))
}
