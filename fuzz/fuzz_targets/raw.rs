//! Samples without a header: the words after `--raw` and the bytes behind them.
#![no_main]
use std::io::Cursor;

use engine_note::capture::{Clip, RawFormat};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    // The first line is the format, the rest are samples.
    let cut = bytes
        .iter()
        .position(|b| *b == b'\n')
        .unwrap_or(bytes.len());
    let (words, samples) = bytes.split_at(cut);
    let Ok(format) = String::from_utf8_lossy(words).parse::<RawFormat>() else {
        return;
    };
    let Ok(mut clip) = Clip::from_raw(Cursor::new(samples.to_vec()), format) else {
        return;
    };
    let mut block = vec![];
    while let Ok(true) = clip.next_block(&mut block) {
        assert!(block.len().is_multiple_of(format.channels));
        assert!(block.iter().all(|sample| sample.is_finite()));
    }
});
