//! From time to crank angle: the sound around one moment, cut at equal steps of crank angle along
//! the speed path, and its spectrum by engine order.
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use crate::capture::WORKING_RATE;
use crate::spectrum::{HOP, Window};

/// Samples of a look in crank angle.
pub const SAMPLES: usize = 2048;
/// Samples a second that a look has at least, so that nothing below 2 kHz folds.
const DENSITY: f64 = 4_200.0;
/// Samples between exact positions of a cut.
const PIECE: usize = 16;
/// Samples of sound among which the places of a piece lie, a power of two, and the widest distance of
/// places for which they are enough.
const WINDOW: usize = 64;
const WIDEST: f32 = 3.5;
/// Orders at which the floor is read, 0 (half an order up) to this.
pub const FLOORS: usize = 13;

/// A stretch of sound in crank angle.
#[derive(Clone, Debug, Default)]
pub struct Turns {
    /// Samples, [`SAMPLES`] of them, equally spaced in crank angle, the moment in the middle.
    pub samples: Vec<f32>,
    /// Samples a revolution, a power of two, 16 to 256.
    pub per_turn: usize,
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
    fft: Arc<dyn RealToComplex<f32>>,
    /// Hann windows over the whole look and over its middle half.
    windows: [Vec<f32>; 2],
    time: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
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

/// A path of crank speeds, one a hop, with the sound along it.
pub struct Track<'a> {
    /// Sound at the working rate.
    pub sound: &'a [f32],
    /// Index in the sound of hop 0 of the path.
    pub origin: isize,
    /// Samples between the speeds of the path.
    pub hop: usize,
    /// Crank speed in revolutions a second at each hop.
    pub path: &'a [f64],
}

impl Track<'_> {
    /// Speed at a sample, straight lines between hops, level beyond the ends.
    fn speed(&self, sample: f64) -> f64 {
        let x = (sample - self.origin as f64) * (self.hop as f64).recip();
        let last = self.path.len() - 1;
        if x <= 0.0 {
            return self.path[0];
        }
        let i = x as usize;
        if i >= last {
            return self.path[last];
        }
        self.path[i] + (self.path[i + 1] - self.path[i]) * (x - i as f64)
    }

    /// Sound at [`PIECE`] places from `first` on, `each` apart, by the cubic through the four samples
    /// around a place; zero beyond the ends.
    fn piece(&self, first: f64, each: f64) -> [f32; PIECE] {
        /// Added to a number that is not negative, it leaves no bits after the point.
        const WHOLE: f32 = 8_388_608.0;
        // Two samples to spare, since a number is cut off towards zero.
        let lowest = first.min(first + each * (PIECE - 1) as f64) as isize - 2;
        let (offset, each) = ((first - lowest as f64) as f32, each as f32);
        // Each place, in samples from `lowest`, as a whole number of samples and the rest.
        let mut whole = [0u32; PIECE];
        let mut rest = [0.0f32; PIECE];
        for i in 0..PIECE {
            let place = offset + each * i as f32;
            let shifted = place - 0.5 + WHOLE;
            whole[i] = shifted.to_bits() & 0x007f_ffff;
            rest[i] = place - (shifted - WHOLE);
        }
        let window = usize::try_from(lowest - 1)
            .ok()
            .and_then(|from| self.sound.get(from..)?.first_chunk::<{ WINDOW + 3 }>());
        let mut four = [[0.0f32; PIECE]; 4];
        if let Some(window) = window
            && each.abs() < WIDEST
        {
            for i in 0..PIECE {
                // The mask changes nothing here, and spares a test of each place.
                let at = whole[i] as usize & (WINDOW - 1);
                for (list, s) in four.iter_mut().zip(&window[at..at + 4]) {
                    list[i] = *s;
                }
            }
        } else {
            for i in 0..PIECE {
                let from = usize::try_from(lowest - 1 + whole[i] as isize).ok();
                let around = from.and_then(|from| self.sound.get(from..)?.first_chunk::<4>());
                for (list, s) in four.iter_mut().zip(around.unwrap_or(&[0.0; 4])) {
                    list[i] = *s;
                }
            }
        }
        let [a, b, c, d] = &four;
        std::array::from_fn(|i| {
            let p = 0.5 * (c[i] - a[i]);
            let q = a[i] - 2.5 * b[i] + 2.0 * c[i] - 0.5 * d[i];
            let r = 0.5 * (d[i] - a[i]) + 1.5 * (b[i] - c[i]);
            b[i] + rest[i] * (p + rest[i] * (q + rest[i] * r))
        })
    }
}

impl Angle {
    /// Plans the transform.
    pub fn new() -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(SAMPLES);
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
            time: fft.make_input_vec(),
            bins: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            turns: Turns::default(),
            fft,
        }
    }

    /// Cuts the sound around hop `at` of the track. `scale` multiplies the path; `narrow` looks at
    /// half of the stretch, for a speed that moves.
    pub fn cut(&mut self, track: &Track, at: usize, scale: f64, narrow: bool) -> &Turns {
        let rate = f64::from(WORKING_RATE);
        let centre = (track.origin + (at * track.hop) as isize) as f64;
        let speed = track.speed(centre) * scale;
        let per_turn = ((DENSITY / speed).log2().ceil().exp2() as usize).clamp(16, 256);
        let step = rate / (per_turn as f64 * scale);
        let half = SAMPLES / 2;
        let turns = &mut self.turns;
        turns.samples.resize(SAMPLES, 0.0);
        // Positions are stepped every PIECE samples, by the speed in the middle of the step, and lie
        // on straight lines between: in so short a time no crank changes its speed enough to matter.
        // Where the middle lies is known well enough from the step before it. Both ways at once, since
        // each step waits for the one before it.
        let long = step * PIECE as f64;
        let mut ends = [centre; 2];
        let mut steps = [long, -long].map(|long| {
            let first = long / track.speed(centre);
            long / track.speed(centre + 0.5 * first)
        });
        for piece in 0..half / PIECE {
            for (way, sign) in [1.0, -1.0].into_iter().enumerate() {
                let from = ends[way];
                steps[way] = sign * long / track.speed(from + 0.5 * steps[way]);
                ends[way] += steps[way];
                let mut values = track.piece(from, steps[way] / PIECE as f64);
                let k = piece * PIECE;
                let at = if way == 0 {
                    half + k
                } else {
                    values.reverse();
                    half - k - PIECE + 1
                };
                turns.samples[at..at + PIECE].copy_from_slice(&values);
            }
        }
        turns.samples[0] = 0.0;
        turns.per_turn = per_turn;
        turns.order_per_bin = per_turn as f64 / SAMPLES as f64;
        for ((t, x), w) in self
            .time
            .iter_mut()
            .zip(&turns.samples)
            .zip(&self.windows[usize::from(narrow)])
        {
            *t = x * w;
        }
        // The lengths are those of the plan, so the transform cannot fail.
        let _ = self
            .fft
            .process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        turns.orders.clear();
        turns.orders.extend(self.bins.iter().map(Complex::norm_sqr));
        crate::spectrum::decibels(&mut turns.orders);
        turns.floor = floors(&turns.orders, 1.0 / turns.order_per_bin);
        turns
    }
}

impl Default for Angle {
    fn default() -> Self {
        Self::new()
    }
}

/// The floor around each order. At most 64 bins are looked at, evenly spread.
fn floors(orders: &[f32], bins: f64) -> [f32; FLOORS] {
    std::array::from_fn(|k| {
        let order = (k as f64).max(0.6);
        let from = (((order - 0.5) * bins).max(1.0) as usize).min(orders.len() - 1);
        let to = (((order + 0.5) * bins) as usize + 1).min(orders.len());
        let stride = (to.saturating_sub(from)).div_ceil(64).max(1);
        let mut v = [0.0f32; 64];
        let mut n = 0;
        for x in orders[from..to.max(from + 1)]
            .iter()
            .step_by(stride)
            .take(64)
        {
            v[n] = *x;
            n += 1;
        }
        *v[..n].select_nth_unstable_by(n * 2 / 5, f32::total_cmp).1
    })
}
