//! The band: a stretch of future samples on which pulses are laid at exact times.

/// Samples to come. Pulses are Gaussian bumps, whose spectrum ends before half the sample rate, so
/// that they stand between the samples where they belong.
#[derive(Clone, Debug)]
pub(super) struct Band {
    rate: f64,
    /// Index of the first sample still on the band.
    first: i64,
    samples: Vec<f64>,
}

/// Least standard deviation of a bump in samples: the spectrum is 27 dB down at half the sample
/// rate, and what folds back lies at high frequencies only.
const NARROWEST: f64 = 0.8;

impl Band {
    /// A band that reaches `ahead` seconds into the future.
    pub(super) fn new(rate: f64, ahead: f64) -> Self {
        Band {
            rate,
            first: 0,
            samples: vec![0.0; (ahead * rate) as usize + 8_192],
        }
    }

    /// Lays a bump with the height `height` and the standard deviation `width` seconds around `time`.
    /// One narrower than the rate allows is widened and keeps its area; what lies before the band or
    /// beyond it is lost.
    pub(super) fn bump(&mut self, time: f64, width: f64, height: f64) {
        if height == 0.0 {
            return;
        }
        let centre = time * self.rate - self.first as f64;
        let wanted = width * self.rate;
        let width = wanted.max(NARROWEST);
        let height = if wanted > 0.0 {
            height * wanted / width
        } else {
            height
        };
        let reach = 5.0 * width;
        let last = self.samples.len() as f64 - 1.0;
        let from = (centre - reach).ceil().max(0.0);
        let to = (centre + reach).floor().min(last);
        if from > to {
            return;
        }
        for i in from as usize..=to as usize {
            let x = (i as f64 - centre) / width;
            self.samples[i] += height * (-0.5 * x * x).exp();
        }
    }

    /// Takes the next samples off the band.
    pub(super) fn take(&mut self, out: &mut [f64]) {
        let n = out.len().min(self.samples.len());
        out[..n].copy_from_slice(&self.samples[..n]);
        self.samples.copy_within(n.., 0);
        let end = self.samples.len() - n;
        self.samples[end..].fill(0.0);
        self.first += n as i64;
    }
}
