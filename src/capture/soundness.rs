//! Whether the samples themselves can be judged: numbers, silence, overload.
use fearless_simd::{Level, dispatch};

use super::{Fault, Warning};
use crate::units::Seconds;

/// Beyond this a sample is no sound: 32-bit integers written as floats stay below, and transforms of
/// a second stay far from the largest 32-bit float.
pub(super) const ABSURD: f32 = 1e10;
/// Overload below this share of the samples does not matter: it leaves the firing order of the peaks.
const CLIPPED: f64 = 0.01;
/// Below this level equal samples in a row are rounding, not overload (-26 dB).
const QUIET: f32 = 0.05;
/// As many equal samples in a row at the extreme are overload.
const RUN: u32 = 3;

/// Watches all samples of a clip as they pass.
///
/// Overload is counted at full scale, and below it where three or more equal samples stand in a row
/// at the highest level that was heard and are entered or left by a step: many recorders clip below
/// full scale. (The top of a smooth wave also rounds to equal samples, but by steps of one or two
/// units.) The method is our own.
pub(super) struct Soundness {
    /// Smallest step between samples.
    step: f32,
    samples: u64,
    unusable: u64,
    lowest: f32,
    highest: f32,
    channels: Vec<Channel>,
}

#[derive(Clone, Default)]
struct Channel {
    peak: f32,
    /// Samples at full scale.
    full: u64,
    /// Samples in flat tops at the peak.
    flat: u64,
    value: f32,
    run: u32,
    entered: f32,
}

impl Soundness {
    /// For blocks of interleaved samples of so many `channels`, rounded to `step`.
    pub(super) fn new(channels: usize, step: f32) -> Self {
        Soundness {
            step,
            samples: 0,
            unusable: 0,
            lowest: f32::INFINITY,
            highest: f32::NEG_INFINITY,
            channels: vec![Channel::default(); channels],
        }
    }

    /// Takes whole frames. Samples that are no usable numbers become zero.
    pub(super) fn take(&mut self, block: &mut [f32]) {
        let channels = self.channels.len();
        for part in block.chunks_mut(256 * channels) {
            let (low, high, usable) = dispatch!(Level::new(), _ => extremes(part));
            let (low, high) = if usable {
                (low, high)
            } else {
                for sample in part.iter_mut().filter(|x| x.is_nan() || x.abs() > ABSURD) {
                    *sample = 0.0;
                    self.unusable += 1;
                }
                let (low, high, _) = extremes(part);
                (low, high)
            };
            self.lowest = self.lowest.min(low);
            self.highest = self.highest.max(high);
            self.samples += part.len() as u64;
            let extreme = high.max(-low);
            for (at, channel) in self.channels.iter_mut().enumerate() {
                channel.take(part, at, channels, extreme, self.step);
            }
        }
    }

    /// Whether the sound can be judged, now that it has ended.
    pub(super) fn verdict(&self, rate: u32) -> Result<Vec<Warning>, Fault> {
        if self.samples == 0 {
            return Err(Fault::NoSamples);
        }
        let frames = self.samples / self.channels.len() as u64;
        let length = Seconds(frames as f64 / f64::from(rate));
        let share = self.unusable as f64 / self.samples as f64;
        if share > 0.5 {
            return Err(Fault::NotFinite { share });
        }
        if self.lowest == self.highest {
            return Err(Fault::Silent {
                value: self.lowest,
                length,
            });
        }
        if length.0 < super::SHORTEST.0 {
            return Err(Fault::TooShort { length });
        }
        let mut warnings = Vec::new();
        if self.unusable > 0 {
            warnings.push(Warning::NotFinite {
                samples: self.unusable,
            });
        }
        let clipped: u64 = self
            .channels
            .iter()
            .map(|channel| channel.full + channel.flat)
            .sum();
        let share = clipped as f64 / self.samples as f64;
        if share >= CLIPPED {
            warnings.push(Warning::Clipped { share });
        }
        Ok(warnings)
    }
}

/// Lowest and highest sample, and whether all are usable numbers.
///
/// In lanes, since a fold over one maximum waits for itself at each sample.
#[inline(always)]
fn extremes(part: &[f32]) -> (f32, f32, bool) {
    const LANES: usize = 16;
    let (mut low, mut high) = ([f32::INFINITY; LANES], [f32::NEG_INFINITY; LANES]);
    let mut usable = [0u32; LANES];
    let (lanes, rest) = part.as_chunks::<LANES>();
    for some in lanes {
        for i in 0..LANES {
            low[i] = if some[i] < low[i] { some[i] } else { low[i] };
            high[i] = if some[i] > high[i] { some[i] } else { high[i] };
            usable[i] += u32::from(some[i].abs() <= ABSURD);
        }
    }
    let low = low
        .iter()
        .chain(rest)
        .copied()
        .fold(f32::INFINITY, f32::min);
    let high = high
        .iter()
        .chain(rest)
        .copied()
        .fold(f32::NEG_INFINITY, f32::max);
    let usable =
        usable.iter().all(|n| *n as usize == lanes.len()) && rest.iter().all(|x| x.abs() <= ABSURD);
    (low, high, usable)
}

impl Channel {
    fn take(&mut self, part: &[f32], at: usize, channels: usize, extreme: f32, step: f32) {
        // Nothing here can count: no sample reaches the peak. Only the last one is remembered.
        if extreme < 0.99 * self.peak || extreme < QUIET {
            let last = part.len().checked_sub(channels - at);
            if let (Some(first), Some(last)) = (part.get(at), last.and_then(|n| part.get(n))) {
                self.end_run((first - self.value).abs(), step);
                (self.value, self.run, self.entered) = (*last, 1, 0.0);
            }
            return;
        }
        let full = 1.0 - 1.5 * step;
        for &sample in part.get(at..).unwrap_or_default().iter().step_by(channels) {
            let level = sample.abs();
            if sample == self.value {
                self.run += 1;
            } else {
                let change = (sample - self.value).abs();
                self.end_run(change, step);
                (self.value, self.run, self.entered) = (sample, 1, change);
            }
            if level > self.peak {
                if level > 1.01 * self.peak {
                    self.flat = 0;
                }
                self.peak = level;
            }
            self.full += u64::from(level >= full);
        }
    }

    /// Counts the equal samples that end here, left by the step `left`, if they are a flat top.
    fn end_run(&mut self, left: f32, step: f32) {
        let level = self.value.abs();
        let steep = (3.0 * step).max(0.002 * level);
        if self.run >= RUN
            && (QUIET..1.0 - 1.5 * step).contains(&level)
            && level >= 0.99 * self.peak
            && self.entered.max(left) >= steep
        {
            self.flat += u64::from(self.run);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    const STEP: f32 = 1.0 / 32_768.0;

    fn rounded(value: f64, step: f32) -> f32 {
        ((value / f64::from(step)).round() * f64::from(step)) as f32
    }

    fn verdict(mut sound: Vec<f32>, step: f32) -> Result<Vec<Warning>, Fault> {
        let mut soundness = Soundness::new(1, step);
        soundness.take(&mut sound);
        soundness.verdict(48_000)
    }

    fn tone(hertz: f64, limit: f64, step: f32) -> Vec<f32> {
        let sine = |n: i32| (TAU * hertz * f64::from(n) / 48_000.0).sin();
        (0..48_000)
            .map(|n| rounded(sine(n).clamp(-limit, limit) * 0.8, step))
            .collect()
    }

    #[test]
    fn smooth_waves_are_not_clipped_however_coarse_their_rounding() {
        for hertz in [20.0, 50.0, 110.0, 440.0, 3_000.0] {
            for step in [STEP, 1.0 / 128.0] {
                assert_eq!(
                    verdict(tone(hertz, 1.0, step), step),
                    Ok(vec![]),
                    "{hertz} {step}"
                );
            }
        }
    }

    /// A sine cut at the share h of its height is flat for 1 - 2 asin(h) / pi of the time.
    #[test]
    fn flat_tops_below_full_scale_count_with_their_share() {
        for limit in [0.5, 0.8, 0.95] {
            let expected = 1.0 - 2.0 * f64::asin(limit) / std::f64::consts::PI;
            let warnings = verdict(tone(441.0, limit, STEP), STEP).unwrap();
            let [Warning::Clipped { share }] = warnings[..] else {
                panic!("{warnings:?}");
            };
            assert!(
                (share - expected).abs() < 0.02,
                "{limit}: {share} for {expected}"
            );
        }
    }

    #[test]
    fn samples_at_full_scale_count() {
        let sound = (0..48_000)
            .map(|n| if n % 50 == 0 { 1.0 } else { 0.1 })
            .collect();
        assert_eq!(
            verdict(sound, STEP),
            Ok(vec![Warning::Clipped { share: 0.02 }])
        );
    }

    #[test]
    fn silence_shortness_and_absence_are_faults() {
        assert_eq!(verdict(vec![], STEP), Err(Fault::NoSamples));
        let length = Seconds(1.0);
        assert_eq!(
            verdict(vec![0.0; 48_000], STEP),
            Err(Fault::Silent { value: 0.0, length })
        );
        assert_eq!(
            verdict(vec![0.5; 48_000], STEP),
            Err(Fault::Silent { value: 0.5, length })
        );
        let short = tone(440.0, 1.0, STEP)[..23_999].to_vec();
        assert!(matches!(verdict(short, STEP), Err(Fault::TooShort { .. })));
        assert_eq!(
            verdict(tone(440.0, 1.0, STEP)[..24_000].to_vec(), STEP),
            Ok(vec![])
        );
    }

    #[test]
    fn samples_that_are_no_numbers_become_zero_and_are_counted() {
        let mut sound = tone(440.0, 1.0, STEP);
        sound[7] = f32::NAN;
        sound[700] = f32::INFINITY;
        sound[7_000] = f32::NEG_INFINITY;
        sound[7_001] = 1e30;
        let mut soundness = Soundness::new(1, STEP);
        soundness.take(&mut sound);
        assert_eq!(
            soundness.verdict(48_000),
            Ok(vec![Warning::NotFinite { samples: 4 }])
        );
        assert!(sound.iter().all(|x| x.is_finite()) && sound[7] == 0.0 && sound[7_001] == 0.0);
        assert_eq!(
            verdict(vec![f32::NAN; 48_000], STEP),
            Err(Fault::NotFinite { share: 1.0 })
        );
    }

    #[test]
    fn block_sizes_change_nothing() {
        let sound = tone(441.0, 0.8, STEP);
        let whole = verdict(sound.clone(), STEP);
        for size in [1, 7, 255, 256, 1_000] {
            let mut soundness = Soundness::new(1, STEP);
            let mut sound = sound.clone();
            sound
                .chunks_mut(size)
                .for_each(|block| soundness.take(block));
            assert_eq!(soundness.verdict(48_000), whole);
        }
    }
}
