//! The spectrum of a real signal, by a complex transform of half its length.
use std::sync::Arc;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use crate::spectrum::{decibels, widest};

/// Transforms real signals of one length.
///
/// Even samples are taken for real parts and odd ones for imaginary parts; the two spectra come apart
/// by symmetry and are put together as in the last step of a transform of the whole length.
pub(super) struct Halves {
    fft: Arc<dyn Fft<f32>>,
    pairs: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// e^(-2πik / length) for k from 1 on.
    turns: Vec<Complex<f32>>,
}

impl Halves {
    /// Plans the transform of `length` samples, a multiple of four.
    pub(super) fn new(length: usize) -> Self {
        let fft = FftPlanner::new().plan_fft_forward(length / 2);
        let turn = |k: usize| {
            let angle = -std::f64::consts::TAU * k as f64 / length as f64;
            Complex::new(angle.cos() as f32, angle.sin() as f32)
        };
        Halves {
            pairs: vec![Complex::default(); length / 2],
            scratch: vec![Complex::default(); fft.get_inplace_scratch_len()],
            turns: (1..length / 4).map(turn).collect(),
            fft,
        }
    }

    /// Level of each bin of the windowed signal in units of 10 dB; `out` has half as many bins as the
    /// signal has samples, and one.
    pub(super) fn levels(&mut self, signal: &[f32], window: &[f32], out: &mut [f32]) {
        let Halves {
            fft,
            pairs,
            scratch,
            turns,
        } = self;
        widest!({
            let (signal, window) = (signal.as_chunks::<2>().0, window.as_chunks::<2>().0);
            for ((pair, s), w) in pairs.iter_mut().zip(signal).zip(window) {
                *pair = Complex::new(0.5 * w[0] * s[0], 0.5 * w[1] * s[1]);
            }
        });
        fft.process_with_scratch(pairs, scratch);
        widest!({
            let (half, quarter) = (pairs.len(), pairs.len() / 2);
            let first = pairs[0];
            out[0] = 4.0 * (first.re + first.im) * (first.re + first.im);
            out[half] = 4.0 * (first.re - first.im) * (first.re - first.im);
            out[quarter] = 4.0 * pairs[quarter].norm_sqr();
            let (low, high) = out[1..half].split_at_mut(quarter);
            let mirrored = pairs[quarter + 1..].iter().rev();
            let bins = pairs[1..quarter].iter().zip(mirrored).zip(turns);
            for ((low, high), ((a, b), turn)) in low.iter_mut().zip(high.iter_mut().rev()).zip(bins)
            {
                let even = Complex::new(a.re + b.re, a.im - b.im);
                let odd = Complex::new(a.im + b.im, b.re - a.re);
                let odd = Complex::new(
                    turn.re * odd.re - turn.im * odd.im,
                    turn.re * odd.im + turn.im * odd.re,
                );
                let (sum, difference) = (even + odd, even - odd);
                *low = sum.re * sum.re + sum.im * sum.im;
                *high = difference.re * difference.re + difference.im * difference.im;
            }
            decibels(out);
        });
    }
}
