//! The bytes of a clip, as a file and as a pipe. Seeds: fixtures/formats.
#![no_main]
use std::io::Cursor;

use engine_note::capture::{Clip, Fault};
use libfuzzer_sys::fuzz_target;

/// Reads a clip to its end and holds it to what [`Clip::next_block`] promises.
fn read(clip: Result<Clip, Fault>) {
    let Ok(mut clip) = clip else {
        return;
    };
    let (rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    assert!((8_000..=192_000).contains(&rate) && (1..=8).contains(&channels));
    let mut block = Vec::new();
    while let Ok(true) = clip.next_block(&mut block) {
        assert!(!block.is_empty() && block.len().is_multiple_of(channels));
        assert!(block.len() <= channels * (rate as usize + 65_536));
        assert!(block.iter().all(|x| x.is_finite()));
    }
    assert_eq!(clip.next_block(&mut block), Ok(false));
    for warning in clip.warnings() {
        assert!(!warning.to_string().is_empty() && !warning.hint().is_empty());
    }
}

fuzz_target!(|bytes: &[u8]| {
    read(Clip::from_bytes(Cursor::new(bytes.to_vec())));
    read(Clip::from_pipe(Cursor::new(bytes.to_vec())));
});
