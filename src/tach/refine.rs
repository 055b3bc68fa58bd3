//! The speed to a fraction of a bin, from the order spectrum.
//!
//! After the cut along a nearly right path the lines stand near the whole orders; by how much all
//! of them are off together is the error of the path. A coarse search takes the common stretch that
//! puts the most line height on the whole orders; then each line's peak (from three bins)
//! votes with a weight of order squared times signal to noise: the weights of the
//! maximum-likelihood estimate for harmonics in white noise (variance bound: Rife and Boorstyn
//! 1974, for harmonics after Kay, both from memory).
use super::angle::{SAMPLES, Turns};
use crate::spectrum::{greater, lesser, power, widest};

/// Orders that vote.
const ORDERS: usize = 12;
/// Widest stretch searched.
const WIDEST: f64 = 0.045;
/// Step of the search.
const STEP: f64 = 0.0015;

/// What the order spectrum says.
#[derive(Clone, Copy, Debug)]
pub struct Refined {
    /// Ratio of the true speed to the path's.
    pub ratio: f64,
    /// Standard error of the ratio.
    pub error: f64,
    /// Mean height of the whole orders over the floor beside them, in units of 10 dB.
    pub height: f64,
    /// Lines that stood out.
    pub lines: usize,
}

/// Stretches of the widest search, those below the path's speed first.
const STEPS: usize = (WIDEST / STEP + 0.5) as usize;
type Stretches = [f32; 2 * STEPS + 1];

/// Bins of an order spectrum among which the whole orders that vote lie, a power of two; there is one
/// more.
const BINS: usize = SAMPLES / 2;

/// For each stretch, the bins between which a line expected at bin `bin` would lie, and the share of
/// the second. Not at the widest registers, which would gather them number by number.
fn read(
    stretches: &[f32],
    orders: &[f32; BINS + 1],
    bin: f32,
    pairs: &mut [[f32; 2]],
    share: &mut [f32],
) {
    /// Added to a number that is not negative, it leaves no bits after the point.
    const WHOLE: f32 = 8_388_608.0;
    let mut whole = [0u32; 2 * STEPS + 1];
    for ((whole, share), stretch) in whole.iter_mut().zip(share).zip(stretches) {
        let place = bin * (1.0 + stretch);
        let shifted = place - 0.5 + WHOLE;
        *whole = shifted.to_bits();
        *share = place - (shifted - WHOLE);
    }
    for (pair, whole) in pairs.iter_mut().zip(&whole) {
        // The mask leaves the bits before the point, and spares a test of each place.
        let at = *whole as usize & (BINS - 1);
        *pair = [orders[at], orders[at + 1]];
    }
}

/// How far the spectrum stands above the floors where the first `highest` lines would lie, for each
/// stretch.
fn heights(turns: &Turns, highest: usize, stretches: &[f32]) -> Stretches {
    let mut heights: Stretches = [0.0; 2 * STEPS + 1];
    let Some(orders) = turns.orders.first_chunk() else {
        return heights;
    };
    let mut pairs = [[[0.0; 2]; 2 * STEPS + 1]; ORDERS];
    let mut shares = [[0.0; 2 * STEPS + 1]; ORDERS];
    for (k, (pairs, share)) in (1..=highest).zip(pairs.iter_mut().zip(&mut shares)) {
        let bin = (k as f64 / turns.order_per_bin) as f32;
        read(stretches, orders, bin, pairs, share);
    }
    widest!({
        let lines = pairs.iter().zip(&shares).zip(&turns.floor[1..]);
        for ((pairs, share), floor) in lines.take(highest) {
            for i in 0..heights.len() {
                let level = pairs[i][0] * (1.0 - share[i]) + pairs[i][1] * share[i];
                heights[i] += lesser(greater(level - floor, -0.5), 2.5);
            }
        }
    });
    heights
}

/// Finds the common stretch of the whole orders; `search` limits how far (0 to 1, of the widest).
pub fn refine(turns: &Turns, search: f64) -> Refined {
    let bins_per_order = 1.0 / turns.order_per_bin;
    let highest = ORDERS.min((turns.per_turn / 2).saturating_sub(2)).max(1);
    let floor = &turns.floor[1..];
    let steps = ((WIDEST * search / STEP).round() as usize).min(STEPS);
    let stretches: Stretches = std::array::from_fn(|i| ((i as f64 - STEPS as f64) * STEP) as f32);
    let range = STEPS - steps..STEPS + steps + 1;
    let stretches = &stretches[range];
    let heights = heights(turns, highest, stretches);
    // A small price for distance settles ties in favour of the path.
    let (best, top) = stretches
        .iter()
        .zip(heights.iter())
        .max_by(|a, b| (a.1 - a.0.abs() * 6.0).total_cmp(&(b.1 - b.0.abs() * 6.0)))
        .map_or((0.0, 0.0), |(s, h)| (f64::from(*s), *h));
    let (mut sum, mut weight, mut lines) = (0.0, 0.0, 0);
    let mut votes = [(0.0f64, 0.0f64); ORDERS];
    for k in 1..=highest {
        let expected = k as f64 * bins_per_order * (1.0 + best);
        let i = expected.round() as usize;
        if i < 2 || i + 2 >= turns.orders.len() {
            continue;
        }
        let Some(i) = (i - 1..=i + 1).max_by(|a, b| turns.orders[*a].total_cmp(&turns.orders[*b]))
        else {
            continue;
        };
        let (a, b, c) = (turns.orders[i - 1], turns.orders[i], turns.orders[i + 1]);
        let stands = b - floor[k - 1];
        if stands < 0.5 || b < a || b < c {
            continue;
        }
        // Three-point interpolation, exact for a Hann window: 2 (A₊ - A₋) / (A₋ + 2 A₀ + A₊) bins.
        let [below, above] = [a, c].map(|v| f64::from(power(0.5 * (v - b))));
        let peak = i as f64 + 2.0 * (above - below) / (below + 2.0 + above);
        let w = (k * k) as f64 * (f64::from(power(stands.min(3.0))) - 1.0);
        votes[k - 1] = (peak / (k as f64 * bins_per_order) - 1.0, w);
        sum += w * votes[k - 1].0;
        weight += w;
        lines += 1;
    }
    let total = f64::from(top) / highest as f64;
    if lines == 0 {
        return Refined {
            ratio: 1.0 + best,
            error: 0.02,
            height: total,
            lines,
        };
    }
    let mut mean = sum / weight;
    // A line of something else drags the mean; those further off than a bin lose their vote.
    let near = votes
        .iter()
        .enumerate()
        .filter(|(k, v)| v.1 > 0.0 && ((v.0 - best) * (k + 1) as f64 * bins_per_order).abs() < 1.0)
        .map(|(_, v)| *v);
    let (s, w) = near
        .clone()
        .fold((0.0, 0.0), |(s, w), v| (s + v.1 * v.0, w + v.1));
    if w > 0.0 {
        mean = s / w;
        weight = w;
    }
    // A Hann-windowed line's peak has a variance of about 0.4 bins² over its signal-to-noise ratio
    // in the window's bin; what the lines disagree beyond that counts as well.
    let bin = turns.order_per_bin;
    let theory = 0.4 * bin * bin / weight;
    let lines = near.clone().count();
    let scatter =
        near.map(|v| v.1 * (v.0 - mean).powi(2)).sum::<f64>() / weight / (lines as f64).max(1.0);
    Refined {
        ratio: 1.0 + mean,
        error: (theory + scatter).sqrt(),
        height: total,
        lines,
    }
}
