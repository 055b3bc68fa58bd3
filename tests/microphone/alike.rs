//! Where one sound lies in another.
use std::ops::Range;
use std::path::Path;

use engine_note::capture::{Clip, Resampler, WORKING_RATE};

const RATE: f64 = WORKING_RATE as f64;

/// The first channel of a recording, at 8,000 samples a second.
pub fn sound(path: &Path) -> Vec<f32> {
    let mut clip = Clip::from_path(path).unwrap();
    let (rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    let mut resampler = Resampler::new(rate, channels).unwrap();
    let (mut block, mut out) = (vec![], vec![vec![]; channels]);
    while clip.next_block(&mut block).unwrap() {
        resampler.push(&block, &mut out);
    }
    resampler.finish(&mut out);
    out.swap_remove(0)
}

/// By how much the time of `whole` is ahead of that of `heard`, in seconds: what is heard at t lies at
/// t plus this in the whole. A `piece` of what is heard (in seconds) is laid where it fits best, with
/// an offset of `within` (in seconds, negative where the whole begins later).
pub fn offset(whole: &[f32], heard: &[f32], piece: Range<f64>, within: Range<f64>) -> f64 {
    let piece = (piece.start * RATE) as usize..(piece.end * RATE) as usize;
    let wanted = &heard[piece.clone()];
    let shifts = (within.start * RATE) as i64..(within.end * RATE) as i64;
    let fits = |shift: i64| {
        let from = usize::try_from(piece.start as i64 + shift).ok()?;
        let there = whole.get(from..from + wanted.len())?;
        let power: f32 = there.iter().map(|x| x * x).sum();
        let both: f32 = there.iter().zip(wanted).map(|(a, b)| a * b).sum();
        Some((both / power.sqrt().max(1e-9), shift))
    };
    let best = shifts
        .filter_map(fits)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap();
    let power: f32 = wanted.iter().map(|x| x * x).sum();
    assert!(
        best.0 > 0.9 * power.sqrt(),
        "what was heard is not what was played: {best:?} of {power}"
    );
    best.1 as f64 / RATE
}
