//! A clip from outside: whatever the bytes, blocks of whole, finite frames or a fault with a hint.
#![no_main]
use std::io::Cursor;

use engine_note::capture::{Clip, HIGHEST_RATE, LOWEST_RATE, MOST_CHANNELS};
use libfuzzer_sys::fuzz_target;

/// Blocks that are read at most: a few bytes may stand for hours of silence.
const MOST_BLOCKS: usize = 200;

fuzz_target!(|bytes: &[u8]| {
    let mut clip = match Clip::from_bytes(Cursor::new(bytes.to_vec())) {
        Ok(clip) => clip,
        Err(fault) => {
            assert!(!fault.to_string().contains('\n') && !fault.hint().is_empty());
            return;
        }
    };
    let (rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    assert!(
        (LOWEST_RATE..=HIGHEST_RATE).contains(&rate) && (1..=MOST_CHANNELS).contains(&channels)
    );
    let mut block = vec![];
    for _ in 0..MOST_BLOCKS {
        match clip.next_block(&mut block) {
            Ok(true) => {
                assert!(!block.is_empty() && block.len().is_multiple_of(channels));
                assert!(block.iter().all(|sample| sample.is_finite()));
            }
            Ok(false) => break,
            Err(fault) => {
                assert!(!fault.to_string().contains('\n') && !fault.hint().is_empty());
                break;
            }
        }
    }
    clip.warnings()
        .iter()
        .for_each(|warning| assert!(!warning.to_string().is_empty()));
});
