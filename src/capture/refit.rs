//! Makes a microphone that came back with other samples fit the sound before.
//!
//! Channels are averaged or doubled. Rates are converted along straight lines between samples: the
//! speed is read below 3.4 kHz, where that is true within 0.2 dB from 44,100 Hz on, and its images lie
//! above 6 kHz, which the later stages filter out.
use super::Facts;

/// From one format to another.
pub(super) struct Refit {
    channels: (usize, usize),
    /// Samples of the input for each of the output.
    step: f64,
    /// Where the next output sample lies after the last frame taken, in frames of the input.
    at: f64,
    last: Vec<f32>,
    work: Vec<f32>,
}

impl Refit {
    pub(super) fn new(from: &Facts, to: &Facts) -> Self {
        Refit {
            channels: (from.channels, to.channels),
            step: f64::from(from.sample_rate) / f64::from(to.sample_rate),
            at: 1.0,
            last: vec![0.0; to.channels],
            work: Vec::new(),
        }
    }

    /// Replaces a block of whole frames by what fits.
    pub(super) fn apply(&mut self, block: &mut Vec<f32>) {
        let (from, to) = self.channels;
        if from != to {
            self.work.clear();
            for frame in block.chunks_exact(from) {
                let mean = frame.iter().sum::<f32>() / from as f32;
                self.work.extend(std::iter::repeat_n(mean, to));
            }
            std::mem::swap(block, &mut self.work);
        }
        if self.step == 1.0 {
            return;
        }
        self.work.clear();
        for frame in block.chunks_exact(to) {
            while self.at <= 1.0 {
                let share = self.at as f32;
                let between = self.last.iter().zip(frame);
                self.work.extend(between.map(|(a, b)| a + share * (b - a)));
                self.at += self.step;
            }
            self.at -= 1.0;
            self.last.copy_from_slice(frame);
        }
        std::mem::swap(block, &mut self.work);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn facts(sample_rate: u32, channels: usize) -> Facts {
        Facts {
            sample_rate,
            channels,
            seconds: None,
            format: String::new(),
        }
    }

    #[test]
    fn a_tone_keeps_its_pitch_and_its_level_whatever_the_blocks() {
        let tone = |rate: u32, n: u32| (TAU * 1_000.0 * f64::from(n) / f64::from(rate)).sin();
        let mut refit = Refit::new(&facts(44_100, 1), &facts(48_000, 1));
        let mut out = Vec::new();
        for start in (0..44_100).step_by(441) {
            let mut block: Vec<f32> = (start..start + 441)
                .map(|n| tone(44_100, n) as f32)
                .collect();
            refit.apply(&mut block);
            out.append(&mut block);
        }
        // The last input sample stands at 44,099 / 44,100 s, that is between the last two of these.
        assert_eq!(out.len(), 47_999);
        // A straight line under an arc of 1 kHz at 44.1 kHz is (pi/44.1)^2/2 off at most.
        for (n, sample) in (0..).zip(&out).skip(2) {
            assert!((f64::from(*sample) - tone(48_000, n)).abs() < 0.003, "{n}");
        }
    }

    #[test]
    fn channels_are_averaged_or_doubled() {
        let mut block = vec![0.5, 0.0, 1.0, 1.0];
        Refit::new(&facts(48_000, 2), &facts(48_000, 1)).apply(&mut block);
        assert_eq!(block, [0.25, 1.0]);
        Refit::new(&facts(48_000, 1), &facts(48_000, 2)).apply(&mut block);
        assert_eq!(block, [0.25, 0.25, 1.0, 1.0]);
    }
}
