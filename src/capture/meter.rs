//! How loud the sound comes, and what is wrong with that.
use std::collections::VecDeque;

use crate::units::Decibels;

/// The level is taken over this many seconds, in steps of a tenth.
const SECONDS: usize = 1;
const STEPS_PER_SECOND: u32 = 10;
/// A sample from here on, of full scale, counts as clipped.
const FULL: f32 = 0.985;
/// Share of clipped samples that is told. Peaks of single firings do no harm.
const CLIPPING: f64 = 0.001;
/// Mean level below which an engine half a metre away is far too quiet. A running trimmer gives more
/// than 95 dB(A) there (common practice, no source), near the limit of what small microphones take.
const QUIET: Decibels = Decibels(-48.0);
/// Nothing that an engine does lies below this (1,200 rpm are 20 Hz), in Hz; wind does most there:
/// turbulence falls with the power -5/3 of the frequency (Kolmogorov's law, from memory).
const BELOW_ENGINES: f64 = 12.0;
/// Share of the power below that from which it is wind, or a hand at the microphone.
const WIND: f64 = 0.5;
/// What lies below this is no sound but an offset, in Hz.
const OFFSET: f64 = 1.0;

/// The level over the last second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Mean (root of the mean square), against full scale.
    pub mean: Decibels,
    /// Highest sample, against full scale.
    pub peak: Decibels,
    /// Share of samples at full scale, 0 to 1.
    pub clipped: f64,
    /// Share of the power below all that an engine does, 0 to 1.
    pub rumble: f64,
}

/// What is wrong with a level, the worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LevelFault {
    /// Overloaded.
    Clipping,
    /// Wind, or a hand at the microphone.
    Wind,
    /// Too quiet.
    Quiet,
}

impl LevelFault {
    /// What it is, in two words at most.
    pub fn words(self) -> &'static str {
        match self {
            LevelFault::Clipping => "clipping",
            LevelFault::Wind => "wind",
            LevelFault::Quiet => "too quiet",
        }
    }

    /// What to do next, one line.
    pub fn hint(self) -> &'static str {
        match self {
            LevelFault::Clipping => "go further from the muffler or turn the input level down",
            LevelFault::Wind => {
                "turn the microphone out of the wind and the exhaust, and do not touch it"
            }
            LevelFault::Quiet => "go nearer to the muffler or turn the input level up",
        }
    }
}

impl Level {
    /// What is wrong with it, if anything.
    pub fn fault(&self) -> Option<LevelFault> {
        if self.clipped >= CLIPPING {
            Some(LevelFault::Clipping)
        } else if self.mean < QUIET {
            Some(LevelFault::Quiet)
        } else if self.rumble >= WIND {
            Some(LevelFault::Wind)
        } else {
            None
        }
    }
}

/// Sums over a step.
#[derive(Clone, Copy, Debug, Default)]
struct Step {
    samples: u32,
    power: f64,
    rumble: f64,
    peak: f32,
    clipped: u32,
}

/// Measures the level of interleaved samples; several channels are taken together.
pub struct Meter {
    channels: usize,
    step: u32,
    /// Weights of the first-order filters: offset, and twice the band below engines.
    weights: (f64, f64),
    state: (f64, f64, f64),
    now: Step,
    last: VecDeque<Step>,
}

impl Meter {
    /// For interleaved samples at `sample_rate` (8,000 to 192,000 a second) in 1 to 8 `channels`.
    pub fn new(sample_rate: u32, channels: usize) -> Meter {
        let weight = |corner: f64| {
            let turn = std::f64::consts::TAU * corner / f64::from(sample_rate.max(1));
            turn / (1.0 + turn)
        };
        Meter {
            channels: channels.max(1),
            step: sample_rate.max(STEPS_PER_SECOND) / STEPS_PER_SECOND,
            weights: (weight(OFFSET), weight(BELOW_ENGINES)),
            state: (0.0, 0.0, 0.0),
            now: Step::default(),
            last: VecDeque::new(),
        }
    }

    /// Takes whole frames, full scale 1.
    pub fn push(&mut self, block: &[f32]) {
        for frame in block.chunks_exact(self.channels) {
            let mean = f64::from(frame.iter().sum::<f32>()) / self.channels as f64;
            let (offset, low, lower) = &mut self.state;
            *offset += self.weights.0 * (mean - *offset);
            let sound = mean - *offset;
            *low += self.weights.1 * (sound - *low);
            *lower += self.weights.1 * (*low - *lower);
            let peak = frame.iter().fold(0.0, |peak: f32, x| peak.max(x.abs()));
            self.now.samples += 1;
            self.now.power += sound * sound;
            self.now.rumble += *lower * *lower;
            self.now.peak = self.now.peak.max(peak);
            self.now.clipped += u32::from(peak >= FULL);
            if self.now.samples == self.step {
                self.last.push_back(std::mem::take(&mut self.now));
                if self.last.len() > SECONDS * STEPS_PER_SECOND as usize {
                    self.last.pop_front();
                }
            }
        }
    }

    /// The level over the last second; none before a tenth of a second has come.
    pub fn level(&self) -> Option<Level> {
        let samples: u32 = self.last.iter().map(|step| step.samples).sum();
        let power: f64 = self.last.iter().map(|step| step.power).sum();
        let rumble: f64 = self.last.iter().map(|step| step.rumble).sum();
        let peak = self
            .last
            .iter()
            .fold(0.0, |peak: f32, step| peak.max(step.peak));
        let clipped: u32 = self.last.iter().map(|step| step.clipped).sum();
        let count = f64::from(samples);
        (samples > 0).then(|| Level {
            mean: Decibels::from_power(power / count),
            peak: Decibels::from_amplitude(f64::from(peak)),
            clipped: f64::from(clipped) / count,
            rumble: if power > 0.0 { rumble / power } else { 0.0 },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn level(sound: impl Fn(f64) -> f64) -> Level {
        let mut meter = Meter::new(48_000, 1);
        let samples: Vec<f32> = (0..96_000)
            .map(|n| sound(f64::from(n) / 48_000.0).clamp(-1.0, 1.0) as f32)
            .collect();
        samples.chunks(480).for_each(|block| meter.push(block));
        meter.level().unwrap()
    }

    #[test]
    fn a_sine_is_three_decibels_below_its_peak() {
        let level = level(|t| 0.5 * (TAU * 200.0 * t).sin());
        assert!((level.peak.0 + 6.02).abs() < 0.05 && (level.mean.0 + 9.03).abs() < 0.05);
        assert_eq!(level.fault(), None);
    }

    #[test]
    fn each_fault_is_named() {
        let loud = level(|t| 1.5 * (TAU * 200.0 * t).sin());
        assert_eq!(loud.fault(), Some(LevelFault::Clipping));
        let quiet = level(|t| 0.002 * (TAU * 200.0 * t).sin());
        assert_eq!(quiet.fault(), Some(LevelFault::Quiet));
        // A turbulent spectrum from 2 Hz on: amplitudes fall with f^(-5/6).
        let wind = |t: f64| {
            (1..200).fold(0.0, |sum, k| {
                let f = 2.0 * f64::from(k);
                sum + 0.15 * f.powf(-5.0 / 6.0) * (TAU * f * t + f64::from(k * k)).sin()
            })
        };
        assert_eq!(level(wind).fault(), Some(LevelFault::Wind));
        // An engine is no wind, not even an idle whose lowest line stands out.
        let idle = level(|t| 0.3 * (TAU * 33.0 * t).sin() + 0.1 * (TAU * 66.0 * t).sin());
        assert_eq!(idle.fault(), None);
        // Nor is an offset, which cheap sound cards have.
        let offset = level(|t| 0.2 + 0.1 * (TAU * 100.0 * t).sin());
        assert_eq!(offset.fault(), None);
    }

    #[test]
    fn what_is_a_second_old_counts_no_more() {
        let level = level(|t| {
            if t < 0.95 {
                1.5 * (TAU * 200.0 * t).sin()
            } else {
                0.1 * (TAU * 200.0 * t).sin()
            }
        });
        assert_eq!(level.fault(), None);
        assert!(Meter::new(48_000, 2).level().is_none());
    }
}
