//! The local floor under the lines.
use super::lanes::{greater, lesser};
use super::transform::Looks;

/// Bins a block: 62.5 Hz, wide enough to hold the gap between lines, narrow enough to follow the
/// tilt of a muffler.
const BLOCK: usize = 16;
/// Rank of the floor within a block, from below: about the 40 % quantile.
const RANK: usize = 6;
/// Blocks on either side over which the floor is averaged.
const SPAN: usize = 2;
/// Blocks of the spectrum: up to 3.6 kHz.
const BLOCKS: usize = 58;
/// Added to powers so that silence has a level: -110 dB.
const SILENCE: f32 = 1e-11;

/// Powers to units of 10 dB, in place.
///
/// The logarithm is a polynomial on the bits of the number, good to 0.00002 (0.0002 dB): a library
/// call for each bin would cost as much as the transform.
#[inline(always)]
pub fn decibels(powers: &mut [f32]) {
    for p in powers {
        *p = log10(*p + SILENCE);
    }
}

/// Base-10 logarithm of a positive normal number.
#[inline(always)]
fn log10(x: f32) -> f32 {
    let bits = x.to_bits();
    // By way of a signed number, which processors convert in one instruction.
    let exponent = (bits >> 23) as i32 as f32 - 127.0;
    let m = f32::from_bits((bits & 0x007f_ffff) | 0x3f80_0000) - 1.0;
    // log2(1 + m) on [0, 1), fitted at 200 Chebyshev nodes, degree 5.
    let p = m
        * (1.442_615_7
            + m * (-0.717_063_9 + m * (0.442_274_2 + m * (-0.227_712_6 + m * 0.059_945_6))));
    (exponent + p) * std::f32::consts::LOG10_2
}

/// Units of 10 dB, -30 to 30, to power: the inverse of [`decibels`], good to a millionth.
#[inline(always)]
pub fn power(tens: f32) -> f32 {
    /// Added to a number, it leaves no bits after the point.
    const WHOLE: f32 = 12_582_912.0;
    let y = lesser(greater(tens, -30.0), 30.0) * std::f32::consts::LOG2_10;
    let shifted = y + WHOLE;
    let m = y - (shifted - WHOLE);
    // 2^m on [-1/2, 1/2], least squares of the relative error at Chebyshev nodes.
    let p = 1.0
        + m * (0.693_146_9
            + m * (0.240_222_37 + m * (0.055_508_935 + m * (0.009_671_744 + m * 0.001_321_87))));
    f32::from_bits((shifted.to_bits() << 23).wrapping_add(0x3f80_0000)) * p
}

/// A floor that follows the spectrum from below: a level for each block, straight lines between
/// their middles.
pub(super) struct Floor {
    /// Pairs of places to be put in order, one after the other, that sort a block.
    network: Vec<[usize; 2]>,
    /// The first bins of all blocks, the second bins of all blocks, and so on, so that all blocks
    /// are sorted at once: the bits of powers, which are in the order of the powers.
    ranks: [[[i32; 2]; BLOCKS]; BLOCK],
    smooth: [Looks; BLOCKS + 1],
}

impl Floor {
    pub(super) fn new() -> Self {
        Floor {
            network: network(),
            ranks: [[[0; 2]; BLOCKS]; BLOCK],
            smooth: [[0.0; 2]; BLOCKS + 1],
        }
    }

    /// Where the floor of a bin is read: a block, and the share of the block after it.
    pub(super) fn place(bin: f64) -> (u16, f32) {
        let at = (bin / BLOCK as f64 - 0.5).clamp(0.0, (BLOCKS - 1) as f64);
        (at as u16, at.fract() as f32)
    }

    /// The floor of each block in units of 10 dB, from the power of each bin; the last one twice.
    #[inline(always)]
    pub(super) fn of(&mut self, powers: &[Looks]) -> &[Looks; BLOCKS + 1] {
        for (block, values) in powers.chunks_exact(BLOCK).take(BLOCKS).enumerate() {
            for (rank, power) in self.ranks.iter_mut().zip(values) {
                rank[block] = power.map(|p| p.to_bits() as i32);
            }
        }
        for pair in &self.network {
            let Ok([low, high]) = self.ranks.get_disjoint_mut(*pair) else {
                continue;
            };
            let (low, high) = (low.as_flattened_mut(), high.as_flattened_mut());
            for (a, b) in low.iter_mut().zip(high) {
                (*a, *b) = ((*a).min(*b), (*a).max(*b));
            }
        }
        let mut blocks = self.ranks[RANK].map(|looks| looks.map(|p| f32::from_bits(p as u32)));
        decibels(blocks.as_flattened_mut());
        for (i, s) in self.smooth.iter_mut().enumerate() {
            let i = i.min(BLOCKS - 1);
            *s = [0, 1].map(|look| {
                let near = |j: usize| blocks[(i + j).saturating_sub(SPAN).min(BLOCKS - 1)][look];
                (0..=2 * SPAN).map(near).sum::<f32>() / (2 * SPAN + 1) as f32
            });
        }
        &self.smooth
    }
}

/// Batcher's merge exchange (K. E. Batcher, "Sorting networks and their applications", AFIPS 1968,
/// from memory), without the pairs on which the value at [`RANK`] does not depend.
fn network() -> Vec<[usize; 2]> {
    let mut pairs = Vec::new();
    let mut run = 1;
    while run < BLOCK {
        let mut apart = run;
        while apart > 0 {
            for from in (apart % run..BLOCK - apart).step_by(2 * apart) {
                for low in from..(from + apart).min(BLOCK - apart) {
                    if low / (2 * run) == (low + apart) / (2 * run) {
                        pairs.push([low, low + apart]);
                    }
                }
            }
            apart /= 2;
        }
        run *= 2;
    }
    let mut needed = [false; BLOCK];
    needed[RANK] = true;
    pairs.reverse();
    pairs.retain(|[low, high]| {
        let needs = needed[*low] || needed[*high];
        (needed[*low], needed[*high]) = (needed[*low] || needs, needed[*high] || needs);
        needs
    });
    pairs.reverse();
    pairs
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

    #[test]
    fn power_agrees_with_the_library() {
        for i in -3_000..3_000 {
            let x = i as f32 * 0.01;
            let exact = 10f64.powf(f64::from(x));
            // The logarithm of a number near 10^30 has few bits after the point.
            let bound = 2e-6 + f64::from(x.abs()) * 4e-7;
            assert!(
                (f64::from(power(x)) / exact - 1.0).abs() < bound,
                "{x}: {} {exact}",
                power(x)
            );
        }
    }

    /// The floor of every block of a spectrum in which each block holds the same values is their
    /// quantile, in whatever order they come.
    #[test]
    fn floor_is_the_quantile_of_the_block() {
        let mut floor = Floor::new();
        for start in 0..BLOCK {
            // 5 and 16 have no common factor, so that all values come, shuffled.
            let block: Vec<Looks> = (0..BLOCK)
                .map(|i| (start + 5 * i) % BLOCK)
                .map(|v| [v, BLOCK - v].map(|v| 10f32.powi(v as i32)))
                .collect();
            for mirrored in [false, true] {
                let mut values = block.clone();
                if mirrored {
                    values.reverse();
                }
                let found = floor.of(&values.repeat(BLOCKS));
                // Upside down, as many values lie above it.
                let expected = [RANK, RANK + 1].map(|tens| tens as f32);
                let near = |f: &Looks| (0..2).all(|i| (f[i] - expected[i]).abs() < 1e-4);
                assert!(found.iter().all(near), "{start}: {found:?}");
            }
        }
    }
}
