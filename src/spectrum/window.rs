//! Windows and the constants by which they are compared.
//!
//! Definitions and constants: F. J. Harris, "On the use of windows for harmonic analysis with the
//! discrete Fourier transform", Proc. IEEE 66(1), 1978, 51-83; the flat-top window: Heinzel,
//! Rüdiger and Schilling 2002.

/// A window by its cosine series, in the periodic ("DFT-even") form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Window {
    /// All ones.
    Rectangle,
    /// 0.5, 0.5.
    Hann,
    /// 0.54, 0.46.
    Hamming,
    /// 0.42, 0.50, 0.08.
    Blackman,
    /// The minimum four-term window of Harris, -92 dB.
    BlackmanHarris,
    /// Five-term flat-top.
    FlatTop,
}

impl Window {
    /// Coefficients a0, a1, ... of `a0 - a1 cos(x) + a2 cos(2x) - ...`.
    fn coefficients(self) -> &'static [f64] {
        match self {
            Window::Rectangle => &[1.0],
            Window::Hann => &[0.5, 0.5],
            Window::Hamming => &[0.54, 0.46],
            Window::Blackman => &[0.42, 0.50, 0.08],
            Window::BlackmanHarris => &[0.35875, 0.48829, 0.14128, 0.01168],
            Window::FlatTop => &[
                0.215_578_95,
                0.416_631_58,
                0.277_263_158,
                0.083_578_947,
                0.006_947_368,
            ],
        }
    }

    /// The `length` samples of the window, from 0 to just before its period.
    pub fn samples(self, length: usize) -> Vec<f64> {
        (0..length)
            .map(|n| {
                let x = std::f64::consts::TAU * n as f64 / length as f64;
                self.coefficients()
                    .iter()
                    .enumerate()
                    .map(|(k, a)| a * (k as f64 * x).cos() * if k % 2 == 0 { 1.0 } else { -1.0 })
                    .sum()
            })
            .collect()
    }

    /// Coherent gain: the mean of the window.
    pub fn coherent_gain(self, length: usize) -> f64 {
        self.samples(length).iter().sum::<f64>() / length as f64
    }

    /// Equivalent noise bandwidth in bins: `N Σw² / (Σw)²`.
    pub fn noise_bandwidth(self, length: usize) -> f64 {
        let w = self.samples(length);
        let sum: f64 = w.iter().sum();
        length as f64 * w.iter().map(|v| v * v).sum::<f64>() / (sum * sum)
    }

    /// Scalloping loss in dB: the response half a bin off centre against that on centre.
    pub fn scalloping_loss(self, length: usize) -> f64 {
        let w = self.samples(length);
        let (mut re, mut im) = (0.0, 0.0);
        for (n, v) in w.iter().enumerate() {
            let x = std::f64::consts::PI * n as f64 / length as f64;
            re += v * x.cos();
            im -= v * x.sin();
        }
        let sum: f64 = w.iter().sum();
        -20.0 * (re.hypot(im) / sum).log10()
    }
}
