//! The band: a stretch of future samples on which pulses are laid at exact times.

/// Samples to come. Pulses are Gaussian bumps, whose spectrum ends before half the sample rate, so
/// that they stand between the samples where they belong.
#[derive(Clone, Debug)]
pub(super) struct Band {
    rate: f64,
    /// Index of the first sample still on the band.
    first: i64,
    /// Where it lies in `samples`.
    start: usize,
    /// Samples from the first one to the end of the band.
    length: usize,
    /// Twice the length, so that samples move up only once in a while.
    samples: Vec<f64>,
}

/// Least standard deviation of a bump in samples: the spectrum is 27 dB down at half the sample
/// rate, and what folds back lies at high frequencies only.
const NARROWEST: f64 = 0.8;

impl Band {
    /// A band that reaches `ahead` seconds into the future.
    pub(super) fn new(rate: f64, ahead: f64) -> Self {
        let length = (ahead * rate) as usize + 8_192;
        Band {
            rate,
            first: 0,
            start: 0,
            length,
            samples: vec![0.0; 2 * length],
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
        let last = self.length as f64 - 1.0;
        let from = (centre - reach).ceil().max(0.0);
        let to = (centre + reach).floor().min(last);
        if from > to {
            return;
        }
        for i in from as usize..=to as usize {
            let x = (i as f64 - centre) / width;
            self.samples[self.start + i] += height * (-0.5 * x * x).exp();
        }
    }

    /// Takes the next samples off the band.
    pub(super) fn take(&mut self, out: &mut [f64]) {
        let n = out.len().min(self.length);
        let taken = &mut self.samples[self.start..self.start + n];
        out[..n].copy_from_slice(taken);
        taken.fill(0.0);
        self.first += n as i64;
        self.start += n;
        if self.start + self.length > self.samples.len() {
            // What lies before `start` is empty.
            self.samples.copy_within(self.start.., 0);
            let left = self.samples.len() - self.start;
            self.samples[left..].fill(0.0);
            self.start = 0;
        }
    }
}
