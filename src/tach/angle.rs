//! From time to crank angle: the sound around one moment, cut at equal steps of crank angle along
//! the speed path, and its spectrum by engine order.
use std::ops::Range;

use super::curve::{Cubic, along, floor};
use super::halves::Halves;
use crate::capture::WORKING_RATE;
use crate::spectrum::{HOP, Window, greatest, widest};

/// Samples of a look in crank angle.
pub const SAMPLES: usize = 2048;
/// Parts of a look whose times are known.
pub const EIGHTHS: usize = 8;
/// Samples a second that a look has at least, so that nothing below 2 kHz folds.
const DENSITY: f64 = 4_200.0;
/// Samples of an eighth.
const EIGHTH: usize = SAMPLES / EIGHTHS;
/// Pieces of an eighth.
const PIECES: usize = EIGHTH / PIECE;
/// Samples between exact positions of a cut.
const PIECE: usize = 16;
/// Root mean square by which a path may be off a straight line, as a ratio, to be one but for noise.
const STRAIGHT: f64 = 0.012;
/// Orders at which the floor is read, 0 (half an order up) to this.
pub const FLOORS: usize = 13;

/// A stretch of sound in crank angle.
#[derive(Clone, Debug, Default)]
pub struct Turns {
    /// Samples, [`SAMPLES`] of them, equally spaced in crank angle, the moment in the middle.
    pub samples: Vec<f32>,
    /// Those that have sounded, to within 16; those before and after them are 0. A look at the beginning of a
    /// sound begins before it, and live, the end of a long look is still to come.
    pub sounded: Range<usize>,
    /// Samples a revolution, a power of two, 16 to 256.
    pub per_turn: usize,
    /// When each eighth of the samples sounded in the mean, in seconds from the middle of all. In 32 bits, in
    /// which it does not show where in the stream the look lies.
    pub times: [f32; EIGHTHS],
    /// Power at each bin of the order spectrum, in units of 10 dB, Hann window.
    pub orders: Vec<f32>,
    /// Floor under each order, in the units of `orders`: the 40 % quantile of the bins within half an
    /// order of it.
    pub floor: [f32; FLOORS],
    /// Orders from the line at a bin to the next: one revolution over the length of the look.
    pub order_per_bin: f64,
}

/// Cuts and transforms.
pub struct Angle {
    /// Hann windows over the whole look and over its middle half.
    windows: [Vec<f32>; 2],
    transform: Halves,
    /// The last cut.
    pub turns: Turns,
}

/// Relative change a second (natural logarithm) of a path with a speed each [`HOP`], around one of
/// them, over five hops.
pub fn slope(path: &[f64], at: usize) -> f64 {
    let from = at.saturating_sub(2);
    let to = (at + 2).min(path.len() - 1);
    if to == from {
        return 0.0;
    }
    let seconds = ((to - from) * HOP) as f64 / f64::from(WORKING_RATE);
    (path[to] / path[from]).ln() / seconds
}

/// Relative change a second of a path with a speed each [`HOP`] that is as straight as one through noise
/// can be (least squares); none where it bends.
pub fn trend(path: &[f64]) -> Option<f64> {
    let n = path.len() as f64;
    let middle = 0.5 * (n - 1.0);
    let mean = path.iter().sum::<f64>() / n;
    let (mut along, mut square, mut all) = (0.0, 0.0, 0.0);
    for (i, speed) in path.iter().enumerate() {
        let (from_middle, off) = (i as f64 - middle, speed - mean);
        along += from_middle * off;
        square += from_middle * from_middle;
        all += off * off;
    }
    let slope = along / square.max(1.0);
    let bent = (all - slope * along).max(0.0);
    ((bent / n).sqrt() < STRAIGHT * mean)
        .then(|| slope / mean * f64::from(WORKING_RATE) / HOP as f64)
}

/// A path of crank speeds, one a hop, with the sound along it.
pub struct Track<'a> {
    /// Sound at the working rate.
    pub sound: &'a [Cubic],
    /// Index in the sound of hop 0 of the path.
    pub origin: isize,
    /// Samples between the speeds of the path.
    pub hop: usize,
    /// Crank speed in revolutions a second at each hop.
    pub path: &'a [f64],
}

impl Track<'_> {
    /// Speed at a sample, straight lines between hops, level beyond the ends.
    #[inline(always)]
    fn speed(&self, sample: f64) -> f64 {
        let last = self.path.len() - 1;
        let place = (sample - self.origin as f64) * (self.hop as f64).recip();
        let place = place.max(0.0).min(last as f64);
        let (at, whole) = floor(place);
        let at = (at as usize).min(last);
        let speed = self.path[at];
        speed + (self.path[(at + 1).min(last)] - speed) * (place - whole)
    }
}

impl Angle {
    /// Plans the transform.
    pub fn new() -> Self {
        let windows = [SAMPLES, SAMPLES / 2].map(|n| {
            let w = Window::Hann.samples(n);
            let gain = 2.0 / w.iter().sum::<f64>();
            let around = (SAMPLES - n) / 2;
            let mut out = vec![0.0; SAMPLES];
            for (o, v) in out[around..].iter_mut().zip(&w) {
                *o = (v * gain) as f32;
            }
            out
        });
        Angle {
            windows,
            transform: Halves::new(SAMPLES),
            turns: Turns::default(),
        }
    }

    /// Cuts the sound around hop `at` of the track. `scale` multiplies the path; `narrow` looks at
    /// half of the stretch, for a speed that moves.
    pub fn cut(&mut self, track: &Track, at: usize, scale: f64, narrow: bool) -> &Turns {
        let centre = (track.origin + (at * track.hop) as isize) as f64;
        let speed = track.speed(centre) * scale;
        let per_turn = ((DENSITY / speed).log2().ceil().exp2() as usize).clamp(16, 256);
        let step = f64::from(WORKING_RATE) / (per_turn as f64 * scale);
        self.turns.per_turn = per_turn;
        self.turns.order_per_bin = per_turn as f64 / SAMPLES as f64;
        self.lay(track, centre, step);
        let turns = &mut self.turns;
        turns.orders.resize(SAMPLES / 2 + 1, 0.0);
        let window = &self.windows[usize::from(narrow)];
        self.transform
            .levels(&turns.samples, window, &mut turns.orders);
        turns.floor = floors(&turns.orders, 1.0 / turns.order_per_bin);
        turns
    }

    /// Lays the samples of a look along the track.
    ///
    /// Positions are stepped every [`PIECE`] samples, by the speed in the middle of the step, and lie
    /// on straight lines between: in so short a time no crank changes its speed enough to matter.
    /// Where the middle lies is known well enough from the step before it. Both ways at once, since
    /// each step waits for the one before it.
    fn lay(&mut self, track: &Track, centre: f64, step: f64) {
        let samples = &mut self.turns.samples;
        samples.resize(SAMPLES, 0.0);
        let half = SAMPLES / 2;
        let long = step * PIECE as f64;
        let start = |long: f64| {
            let first = long / track.speed(centre);
            long / track.speed(centre + 0.5 * first)
        };
        let (mut up, mut down) = (centre, centre);
        let (mut step_up, mut step_down) = (start(long), start(-long));
        let end = track.sound.len() as f64;
        let mut sounded = 0..SAMPLES;
        let mut times = [0.0; EIGHTHS];
        for from in (0..half).step_by(PIECE) {
            step_up = long / track.speed(up + 0.5 * step_up);
            step_down = -long / track.speed(down + 0.5 * step_down);
            let after = along::<PIECE>(track.sound, up, step_up / PIECE as f64);
            let mut before = along::<PIECE>(track.sound, down, step_down / PIECE as f64);
            before.reverse();
            samples[half + from..][..PIECE].copy_from_slice(&after);
            samples[half - from - PIECE + 1..][..PIECE].copy_from_slice(&before);
            // The mean of an eighth is the mean of the middles of its pieces.
            let share = |place: f64| (place - centre) / f64::from(WORKING_RATE) / PIECES as f64;
            times[(half + from) / EIGHTH] += share(up + 0.5 * step_up);
            times[(half - from - 1) / EIGHTH] += share(down + 0.5 * step_down);
            if up <= end && up + step_up > end {
                sounded.end = half + from;
            }
            if down >= 0.0 && down + step_down < 0.0 {
                sounded.start = half - from;
            }
            up += step_up;
            down += step_down;
        }
        samples[0] = 0.0;
        self.turns.sounded = sounded;
        self.turns.times = times.map(|seconds: f64| seconds as f32);
    }
}

impl Default for Angle {
    fn default() -> Self {
        Self::new()
    }
}

/// Bins that are looked at for a floor, at most.
const LOOKED_AT: usize = 64;

/// The floor around each order: the bins within half an order of it, evenly spread.
fn floors(orders: &[f32], bins: f64) -> [f32; FLOORS] {
    let mut floors = [0.0; FLOORS];
    widest!({
        for (k, floor) in floors.iter_mut().enumerate() {
            let order = (k as f64).max(0.6);
            let from = (((order - 0.5) * bins).max(1.0) as usize).min(orders.len() - 1);
            let to = (((order + 0.5) * bins) as usize + 1).min(orders.len());
            let near = &orders[from..to.max(from + 1)];
            let stride = near.len().div_ceil(LOOKED_AT);
            let mut values = [f32::INFINITY; LOOKED_AT];
            let mut count = 0;
            for (value, bin) in values.iter_mut().zip(near.iter().step_by(stride)) {
                *value = *bin;
                count += 1;
            }
            *floor = ranked(&values, count, count * 2 / 5);
        }
    });
    floors
}

/// The value with so many of the first `count` below it; those after them are infinite.
#[inline(always)]
fn ranked(values: &[f32; LOOKED_AT], count: usize, rank: usize) -> f32 {
    let mut not_above = [0u32; LOOKED_AT];
    for value in &values[..count] {
        for i in 0..LOOKED_AT {
            not_above[i] += u32::from(*value <= values[i]);
        }
    }
    // The least of those that the values up to the rank do not exceed.
    let mut fitting = [f32::NEG_INFINITY; LOOKED_AT];
    for i in 0..LOOKED_AT {
        let enough = not_above[i] > rank as u32;
        fitting[i] = if enough {
            -values[i]
        } else {
            f32::NEG_INFINITY
        };
    }
    -greatest(&fitting)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_through_noise_has_the_trend_of_its_line_and_a_bent_one_none() {
        // A tenth a second up from 100, 1 % up and down from hop to hop, or a snap in its second half.
        let hop = HOP as f64 / f64::from(WORKING_RATE);
        let path = |bent: f64| -> Vec<f64> {
            (0..41)
                .map(|i| {
                    let seconds = f64::from(i - 20) * hop;
                    let noise = if i % 2 == 0 { 0.01 } else { -0.01 };
                    100.0 * (1.0 + 0.1 * seconds + bent * seconds.max(0.0) + noise)
                })
                .collect()
        };
        let found = trend(&path(0.0)).unwrap();
        assert!((found - 0.1).abs() < 0.005, "{found}");
        assert_eq!(trend(&path(3.5)), None);
        assert_eq!(trend(&[]), None);
    }
}
