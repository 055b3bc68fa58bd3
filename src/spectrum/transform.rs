//! One frame's two spectra, whitened, on the logarithmic axis.
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::axis::LogAxis;
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
pub struct Spectrum {
    fft: Arc<dyn RealToComplex<f32>>,
    windows: [Vec<f32>; 2],
    time: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    db: Vec<f32>,
    floor: Floor,
    place: Vec<Place>,
}

/// Where a bin of the logarithmic axis reads in the linear spectrum.
#[derive(Clone, Copy)]
enum Place {
    /// Between two bins.
    Between(u16, f32),
    /// The strongest of a range.
    Range(u16, u16),
}

impl Spectrum {
    /// Samples of a frame; the short look takes the middle half.
    pub const FRAME: usize = LENGTH;

    /// Plans the transforms.
    pub fn new() -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(LENGTH);
        let scaled = |n: usize| -> Vec<f32> {
            let w = Window::Hann.samples(n);
            let gain = 2.0 / w.iter().sum::<f64>();
            w.iter().map(|v| (v * gain) as f32).collect()
        };
        let hz = f64::from(WORKING_RATE) / LENGTH as f64;
        let edge = |bin: f64| LogAxis::frequency(bin).0 / hz;
        let place = (0..LogAxis::BINS)
            .map(|j| {
                let (low, high) = (edge(j as f64 - 0.5), edge(j as f64 + 0.5));
                if high - low > 1.0 {
                    Place::Range(low.ceil() as u16, high.floor() as u16)
                } else {
                    let centre = edge(j as f64);
                    Place::Between(centre as u16, centre.fract() as f32)
                }
            })
            .collect();
        Spectrum {
            windows: [scaled(SHORT), scaled(LENGTH)],
            time: fft.make_input_vec(),
            bins: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            db: vec![0.0; USED],
            floor: Floor::new(USED),
            place,
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
        out.contrast.clear();
        out.contrast.resize(LogAxis::BINS, 0.0);
        out.level.clear();
        out.level.resize(LogAxis::BINS, 0.0);
        for look in 0..2 {
            let window = &self.windows[look];
            let from = (LENGTH - window.len()) / 2;
            self.time.fill(0.0);
            for ((t, x), w) in self.time.iter_mut().zip(&frame[from..]).zip(window) {
                *t = x * w;
            }
            // The lengths are those of the plan, so the transform cannot fail.
            let _ =
                self.fft
                    .process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
            decibels(&self.bins[..USED], &mut self.db);
            let floor = self.floor.of(&self.db);
            for ((place, contrast), level) in
                self.place.iter().zip(&mut out.contrast).zip(&mut out.level)
            {
                let (l, f) = match *place {
                    Place::Between(a, x) => {
                        let a = a as usize;
                        (
                            self.db[a] * (1.0 - x) + self.db[a + 1] * x,
                            floor[a] * (1.0 - x) + floor[a + 1] * x,
                        )
                    }
                    Place::Range(a, b) => {
                        let (a, b) = (a as usize, b as usize);
                        let top = self.db[a..=b].iter().fold(f32::MIN, |m, v| m.max(*v));
                        (top, floor[(a + b) / 2])
                    }
                };
                *contrast += 0.5 * (l - f).clamp(-0.3, 3.0);
                *level += 0.5 * l.max(f);
            }
        }
    }
}

impl Default for Spectrum {
    fn default() -> Self {
        Self::new()
    }
}
