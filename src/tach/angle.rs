//! From time to crank angle: the sound around one moment, cut at equal steps of crank angle along
//! the speed path, and its spectrum by engine order.
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use crate::capture::WORKING_RATE;
use crate::spectrum::Window;

/// Samples of a look in crank angle.
pub const SAMPLES: usize = 2048;
/// Samples a second that a look has at least, so that nothing below 2 kHz folds.
const DENSITY: f64 = 4_200.0;

/// A stretch of sound in crank angle.
#[derive(Clone, Debug)]
pub struct Turns {
    /// Samples, [`SAMPLES`] of them, equally spaced in crank angle, the moment in the middle.
    pub samples: Vec<f32>,
    /// Samples a revolution, a power of two, 16 to 256.
    pub per_turn: usize,
    /// Power at each bin of the order spectrum, in units of 10 dB, Hann window.
    pub orders: Vec<f32>,
    /// Orders from the line at a bin to the next: one revolution over the length of the look.
    pub order_per_bin: f64,
}

/// Cuts and transforms.
pub struct Angle {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    time: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// The last cut.
    pub turns: Turns,
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
        let x = (sample - self.origin as f64) / self.hop as f64;
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

    /// Sound between samples, by the cubic through four of them; zero beyond the ends.
    fn sound(&self, sample: f64) -> f32 {
        let whole = sample.floor();
        let x = (sample - whole) as f32;
        let i = whole as isize;
        if i >= 1 && (i as usize) + 2 < self.sound.len() {
            let i = i as usize;
            let (a, b, c, d) = (
                self.sound[i - 1],
                self.sound[i],
                self.sound[i + 1],
                self.sound[i + 2],
            );
            let p = 0.5 * (c - a);
            let q = a - 2.5 * b + 2.0 * c - 0.5 * d;
            let r = 0.5 * (d - a) + 1.5 * (b - c);
            b + x * (p + x * (q + x * r))
        } else {
            0.0
        }
    }
}

impl Angle {
    /// Plans the transform.
    pub fn new() -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(SAMPLES);
        let w = Window::Hann.samples(SAMPLES);
        let gain = 2.0 / w.iter().sum::<f64>();
        Angle {
            window: w.iter().map(|v| (v * gain) as f32).collect(),
            time: fft.make_input_vec(),
            bins: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            turns: Turns {
                samples: vec![0.0; SAMPLES],
                per_turn: 32,
                orders: Vec::new(),
                order_per_bin: 0.0,
            },
            fft,
        }
    }

    /// Cuts the sound around hop `at` of the track. `scale` multiplies the path.
    pub fn cut(&mut self, track: &Track, at: usize, scale: f64) -> &Turns {
        let rate = f64::from(WORKING_RATE);
        let centre = (track.origin + (at * track.hop) as isize) as f64;
        let speed = track.speed(centre) * scale;
        let per_turn = ((DENSITY / speed).log2().ceil().exp2() as usize).clamp(16, 256);
        let step = rate / (per_turn as f64 * scale);
        let half = SAMPLES / 2;
        let turns = &mut self.turns;
        for (direction, from) in [(1.0, half), (-1.0, half)] {
            let mut n = centre;
            for j in 0..half {
                let i = if direction > 0.0 { from + j } else { from - j };
                turns.samples[i] = track.sound(n);
                // Midpoint rule: the error of a step is of third order in the step.
                let mid = n + direction * 0.5 * step / track.speed(n);
                n += direction * step / track.speed(mid);
            }
        }
        turns.samples[0] = 0.0;
        turns.per_turn = per_turn;
        turns.order_per_bin = per_turn as f64 / SAMPLES as f64;
        for ((t, x), w) in self.time.iter_mut().zip(&turns.samples).zip(&self.window) {
            *t = x * w;
        }
        // The lengths are those of the plan, so the transform cannot fail.
        let _ = self
            .fft
            .process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        turns.orders.resize(self.bins.len(), 0.0);
        crate::spectrum::decibels(&self.bins, &mut turns.orders);
        turns
    }
}

impl Default for Angle {
    fn default() -> Self {
        Self::new()
    }
}
