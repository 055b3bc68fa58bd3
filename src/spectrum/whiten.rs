//! The local floor under the lines.
use realfft::num_complex::Complex;

/// Bins a block: 62.5 Hz, wide enough to hold the gap between lines, narrow enough to follow the
/// tilt of a muffler.
const BLOCK: usize = 16;
/// Rank of the floor within a block, from below: about the 40 % quantile.
const RANK: usize = 6;
/// Blocks on either side over which the floor is averaged.
const SPAN: usize = 2;
/// Added to powers so that silence has a level: -110 dB.
const SILENCE: f32 = 1e-11;

/// Powers of complex amplitudes to units of 10 dB.
///
/// The logarithm is a polynomial on the bits of the number, good to 0.00002 (0.0002 dB): a library
/// call for each bin would cost as much as the transform.
pub fn decibels(bins: &[Complex<f32>], out: &mut [f32]) {
    for (o, c) in out.iter_mut().zip(bins) {
        *o = log10(c.norm_sqr() + SILENCE);
    }
}

/// Base-10 logarithm of a positive normal number.
#[inline]
fn log10(x: f32) -> f32 {
    let bits = x.to_bits();
    let exponent = (bits >> 23) as f32 - 127.0;
    let m = f32::from_bits((bits & 0x007f_ffff) | 0x3f80_0000) - 1.0;
    // log2(1 + m) on [0, 1), fitted at 200 Chebyshev nodes, degree 5.
    let p = m
        * (1.442_615_7
            + m * (-0.717_063_9 + m * (0.442_274_2 + m * (-0.227_712_6 + m * 0.059_945_6))));
    (exponent + p) * std::f32::consts::LOG10_2
}

/// A floor that follows the spectrum from below.
pub(super) struct Floor {
    blocks: Vec<f32>,
    smooth: Vec<f32>,
    floor: Vec<f32>,
}

impl Floor {
    pub(super) fn new(bins: usize) -> Self {
        let n = bins / BLOCK;
        Floor {
            blocks: vec![0.0; n],
            smooth: vec![0.0; n],
            floor: vec![0.0; bins],
        }
    }

    /// The floor of each bin.
    pub(super) fn of(&mut self, db: &[f32]) -> &[f32] {
        let n = self.blocks.len();
        for (block, values) in self.blocks.iter_mut().zip(db.chunks_exact(BLOCK)) {
            let mut v: [f32; BLOCK] = std::array::from_fn(|i| values[i]);
            *block = *v.select_nth_unstable_by(RANK, f32::total_cmp).1;
        }
        for i in 0..n {
            let sum: f32 = (0..=2 * SPAN)
                .map(|j| self.blocks[(i + j).saturating_sub(SPAN).min(n - 1)])
                .sum();
            self.smooth[i] = sum / (2 * SPAN + 1) as f32;
        }
        let half = BLOCK / 2;
        for (i, f) in self.floor.iter_mut().enumerate() {
            let at = i.saturating_sub(half);
            let block = (at / BLOCK).min(n - 1);
            let next = (block + 1).min(n - 1);
            let x = if i < half {
                0.0
            } else {
                (at % BLOCK) as f32 / BLOCK as f32
            };
            *f = self.smooth[block] + (self.smooth[next] - self.smooth[block]) * x;
        }
        &self.floor
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithm_agrees_with_the_library() {
        for i in 0..20_000 {
            let x = 10f32.powf(-10.0 + i as f32 * 0.0008);
            assert!(
                (log10(x) - x.log10()).abs() < 3e-5,
                "{x}: {} {}",
                log10(x),
                x.log10()
            );
        }
    }
}
