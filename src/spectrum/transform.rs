//! One frame's two spectra, whitened, on the logarithmic axis.
use std::sync::Arc;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use super::axis::LogAxis;
use super::lanes::{greater, lesser, widest};
use super::whiten::{Floor, decibels};
use super::window::Window;
use crate::capture::WORKING_RATE;
use crate::units::Hertz;

/// Length of both transforms; one bin is 3.9 Hz.
const LENGTH: usize = 2048;
/// The short look, 128 ms: follows ramps.
const SHORT: usize = 1024;
/// Bins that are used: up to 3.6 kHz.
const USED: usize = 928;
/// Lengths for which the strongest bin is tabulated: 1, 2, 4, 8; at 3.5 kHz a bin of the logarithmic
/// axis holds 9 bins.
const STRONGEST: usize = 4;

/// What one frame shows, on the logarithmic axis.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    /// Height of the lines over the local floor, in units of 10 dB, -0.3 to 3: the mean of the
    /// short and the long look.
    pub contrast: Vec<f32>,
    /// Level of the lines, not below the local floor, in units of 10 dB against full scale.
    pub level: Vec<f32>,
}

/// Makes [`Lines`] of frames.
///
/// Both looks are real, so one complex transform carries them: the short one as its real part and
/// the long one as its imaginary part.
pub struct Spectrum {
    fft: Arc<dyn Fft<f32>>,
    /// Both windows, the short one with zeros around it.
    windows: Vec<Complex<f32>>,
    both: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// Power, then level, of each bin; below, the strongest of 1, 2, 4 and 8 bins from each bin on,
    /// one list after the other.
    strongest: Vec<Looks>,
    floor: Floor,
    between: Vec<Between>,
    range: Vec<Range>,
    height: Vec<Looks>,
    bottom: Vec<Looks>,
}

/// A number of the short look and one of the long.
pub(super) type Looks = [f32; 2];

/// A bin of the logarithmic axis that lies between two bins of the linear spectrum.
#[derive(Clone, Copy)]
struct Between {
    bin: u16,
    floor: u16,
    /// Share of the bin above, and of the block of the floor above.
    bin_share: f32,
    floor_share: f32,
}

/// A bin of the logarithmic axis that holds several bins of the linear spectrum: the stronger of two
/// entries of the table of strongest bins, which overlap so that they cover the range.
#[derive(Clone, Copy)]
struct Range {
    first: u16,
    second: u16,
    floor: u16,
    floor_share: f32,
}

impl Spectrum {
    /// Samples of a frame; the short look takes the middle half.
    pub const FRAME: usize = LENGTH;

    /// Plans the transforms.
    pub fn new() -> Self {
        let fft = FftPlanner::new().plan_fft_forward(LENGTH);
        let window = |n: usize| -> Vec<f32> {
            let w = Window::Hann.samples(n);
            // Half of the gain: the looks come apart as sums of two bins.
            let gain = 1.0 / w.iter().sum::<f64>();
            let around = (LENGTH - n) / 2;
            let mut out = vec![0.0; LENGTH];
            for (o, v) in out[around..].iter_mut().zip(&w) {
                *o = (v * gain) as f32;
            }
            out
        };
        let windows = (window(SHORT).into_iter().zip(window(LENGTH)))
            .map(|(short, long)| Complex::new(short, long))
            .collect();
        let hz = f64::from(WORKING_RATE) / LENGTH as f64;
        let edge = |bin: f64| LogAxis::frequency(bin).0 / hz;
        let (mut between, mut range) = (Vec::new(), Vec::new());
        for j in 0..LogAxis::BINS {
            let (low, high) = (edge(j as f64 - 0.5), edge(j as f64 + 0.5));
            if high - low > 1.0 {
                let (a, b) = (low.ceil() as usize, high.floor() as usize);
                let (floor, floor_share) = Floor::place(((a + b) / 2) as f64);
                let level = (b + 1 - a).ilog2();
                let row = level as usize * USED;
                range.push(Range {
                    first: (row + a) as u16,
                    second: (row + b + 1 - (1 << level)) as u16,
                    floor,
                    floor_share,
                });
            } else {
                let centre = edge(j as f64);
                let (floor, floor_share) = Floor::place(centre);
                between.push(Between {
                    bin: centre as u16,
                    floor,
                    bin_share: centre.fract() as f32,
                    floor_share,
                });
            }
        }
        Spectrum {
            windows,
            both: vec![Complex::default(); LENGTH],
            scratch: vec![Complex::default(); fft.get_inplace_scratch_len()],
            strongest: vec![[0.0; 2]; STRONGEST * USED],
            floor: Floor::new(),
            between,
            range,
            height: vec![[0.0; 2]; LogAxis::BINS],
            bottom: vec![[0.0; 2]; LogAxis::BINS],
            fft,
        }
    }

    /// Resolution of the long look.
    pub fn resolution() -> Hertz {
        Hertz(f64::from(WORKING_RATE) / LENGTH as f64)
    }

    /// Transforms a frame of [`Self::FRAME`] samples.
    pub fn lines(&mut self, frame: &[f32], out: &mut Lines) {
        assert_eq!(frame.len(), LENGTH, "a frame is {LENGTH} samples");
        widest!({
            for ((b, x), w) in self.both.iter_mut().zip(frame).zip(&self.windows) {
                *b = Complex::new(w.re * x, w.im * x);
            }
        });
        self.fft
            .process_with_scratch(&mut self.both, &mut self.scratch);
        out.contrast.resize(LogAxis::BINS, 0.0);
        out.level.resize(LogAxis::BINS, 0.0);
        widest!({
            self.powers();
            self.lay();
            let rows = self.height.iter().zip(&self.bottom);
            let lines = out.contrast.iter_mut().zip(&mut out.level);
            for ((contrast, level), (height, floor)) in lines.zip(rows) {
                let [a, b] = [0, 1].map(|i| lesser(greater(height[i] - floor[i], -0.3), 3.0));
                *contrast = 0.5 * a + 0.5 * b;
                let [a, b] = [0, 1].map(|i| greater(height[i], floor[i]));
                *level = 0.5 * a + 0.5 * b;
            }
        });
    }

    /// Takes the looks apart: a real part has a spectrum that is its own mirror image, conjugate, an
    /// imaginary part one that is the negative of it.
    #[inline(always)]
    fn powers(&mut self) {
        let powers = &mut self.strongest[..USED];
        let first = self.both[0];
        powers[0] = [4.0 * first.re * first.re, 4.0 * first.im * first.im];
        let mirror = self.both[LENGTH + 1 - USED..].iter().rev();
        let bins = self.both[1..USED].iter().zip(mirror);
        for (power, (a, b)) in powers[1..].iter_mut().zip(bins) {
            let (sum, difference) = (Complex::new(a.re + b.re, a.im + b.im), a - b);
            *power = [
                sum.re * sum.re + difference.im * difference.im,
                sum.im * sum.im + difference.re * difference.re,
            ];
        }
    }

    /// Lays the looks and their floors on the logarithmic axis.
    #[inline(always)]
    fn lay(&mut self) {
        let powers = &mut self.strongest[..USED];
        let floor = self.floor.of(powers);
        decibels(powers.as_flattened_mut());
        for level in 1..STRONGEST {
            let (done, rest) = self.strongest.split_at_mut(level * USED);
            let half = done[(level - 1) * USED..].as_flattened();
            let shifted = &half[2 << (level - 1)..];
            for ((o, a), b) in rest.as_flattened_mut().iter_mut().zip(half).zip(shifted) {
                *o = greater(*a, *b);
            }
        }
        let strongest = &self.strongest[..];
        let (low, high) = self.height.split_at_mut(self.between.len());
        let (low_floor, high_floor) = self.bottom.split_at_mut(self.between.len());
        for ((l, f), p) in low.iter_mut().zip(low_floor).zip(&self.between) {
            between(l, strongest, p.bin, p.bin_share);
            between(f, floor, p.floor, p.floor_share);
        }
        for ((l, f), p) in high.iter_mut().zip(high_floor).zip(&self.range) {
            let (a, b) = (
                strongest[usize::from(p.first)],
                strongest[usize::from(p.second)],
            );
            l[0] = greater(a[0], b[0]);
            l[1] = greater(a[1], b[1]);
            between(f, floor, p.floor, p.floor_share);
        }
    }
}

/// What lies between a number of a row and the next.
#[inline(always)]
fn between(out: &mut Looks, row: &[Looks], at: u16, share: f32) {
    let Some(&[a, b]) = row.get(usize::from(at)..).and_then(|row| row.first_chunk()) else {
        return;
    };
    out[0] = a[0] + (b[0] - a[0]) * share;
    out[1] = a[1] + (b[1] - a[1]) * share;
}

impl Default for Spectrum {
    fn default() -> Self {
        Self::new()
    }
}
