//! Any sample rate becomes the working rate.
use rubato::audioadapter_buffers::direct::{InterleavedSlice, SequentialSlice};
use rubato::{
    Async, Fft, FixedAsync, FixedSync, Resampler as Method, SincInterpolationParameters,
    SincInterpolationType, WindowFunction,
};

use super::{Fault, WORKING_RATE};
use super::{HIGHEST_RATE, LOWEST_RATE, MOST_CHANNELS};
use crate::units::Seconds;

/// Output samples in a block of the Fourier method, and in its filter: 12 ms at least, which is flat
/// to 3.5 kHz, and 30 ms at most, which keeps the delay low. Measured for one second of 48 kHz
/// mono: 0.09 ms at 96 samples and no less with larger blocks; windowed sincs took 0.2 to 0.9 ms.
const BLOCK: std::ops::RangeInclusive<u64> = 96..=240;
/// Length of the windowed sinc for the rates that have no such block, as a share of a second.
const SINC_PER_SECOND: u32 = 50;
/// Positions between two input samples for which the sinc is tabulated; linear in between, which
/// leaves an error below (pi/128)^2/8, 82 dB down.
const SINC_POSITIONS: usize = 128;

/// Turns interleaved samples at any rate from 8 to 192 kHz into one list for each channel at
/// [`WORKING_RATE`].
///
/// Output sample n is the sound at the time n / 8,000 s: the delay of the filter is taken out, and
/// a sound of L frames gives round(L * 8,000 / rate) samples. Flat within 0.1 dB to 3.4 kHz; what
/// lies above 4.6 kHz is at least 80 dB down. Block sizes never change a sample.
///
/// Method: where the two rates have a short common period (all usual rates), a block-wise Fourier
/// transform with a Blackman-windowed low-pass filter; else a windowed sinc. 8 kHz passes through.
pub struct Resampler {
    rate: u32,
    channels: usize,
    /// `None` where the sound has the working rate already.
    method: Option<Box<dyn Method<f32>>>,
    /// Interleaved samples that do not fill a block yet.
    pending: Vec<f32>,
    block: Vec<f32>,
    /// Frames of silence before the sound, for the method's alignment.
    lead_in: usize,
    /// Output frames of the method that lie before the sound.
    drop: usize,
    dropped: usize,
    samples_in: u64,
    frames_out: u64,
    delay: Seconds,
}

impl Resampler {
    /// A resampler from `sample_rate` (8,000 to 192,000 per second) for 1 to 8 `channels`.
    ///
    /// # Errors
    /// [`Fault::SampleRate`] and [`Fault::Channels`] outside these ranges.
    pub fn new(sample_rate: u32, channels: usize) -> Result<Self, Fault> {
        if !(LOWEST_RATE..=HIGHEST_RATE).contains(&sample_rate) {
            return Err(Fault::SampleRate { rate: sample_rate });
        }
        if !(1..=MOST_CHANNELS).contains(&channels) {
            return Err(Fault::Channels { channels });
        }
        let mut this = Resampler {
            rate: sample_rate,
            channels,
            method: None,
            pending: Vec::new(),
            block: Vec::new(),
            lead_in: 0,
            drop: 0,
            dropped: 0,
            samples_in: 0,
            frames_out: 0,
            delay: Seconds(0.0),
        };
        if sample_rate != WORKING_RATE {
            match block(sample_rate) {
                Some(frames) => this.use_fourier(frames)?,
                None => this.use_sinc()?,
            }
        }
        if let Some(method) = &this.method {
            this.block = vec![0.0; channels * method.output_frames_max()];
        }
        this.start();
        Ok(this)
    }

    fn use_fourier(&mut self, frames_in: usize) -> Result<(), Fault> {
        let fourier = Fft::new_custom(
            self.rate as usize,
            WORKING_RATE as usize,
            frames_in,
            1,
            self.channels,
            WindowFunction::Blackman,
            FixedSync::Both,
        )
        .map_err(|_| Fault::SampleRate { rate: self.rate })?;
        let frames_out = fourier.output_frames_max();
        self.drop = fourier.output_delay();
        self.delay = Seconds((self.drop + frames_out) as f64 / f64::from(WORKING_RATE));
        self.method = Some(Box::new(fourier));
        Ok(())
    }

    fn use_sinc(&mut self) -> Result<(), Fault> {
        let length = (self.rate / SINC_PER_SECOND).next_multiple_of(8) as usize;
        let parameters = SincInterpolationParameters::new(length, WindowFunction::Blackman)
            .oversampling_factor(SINC_POSITIONS)
            .interpolation(SincInterpolationType::Linear);
        let step = f64::from(self.rate) / f64::from(WORKING_RATE);
        let frames_out = *BLOCK.start() as usize;
        let sinc = Async::new_sinc(
            step.recip(),
            1.0,
            &parameters,
            frames_out,
            self.channels,
            FixedAsync::Output,
        )
        .map_err(|_| Fault::SampleRate { rate: self.rate })?;
        (self.drop, self.lead_in) = sinc_alignment(step, length);
        let behind = length as f64 / 2.0 + frames_out as f64 * step;
        self.delay = Seconds(behind / f64::from(self.rate));
        self.method = Some(Box::new(sinc));
        Ok(())
    }

    fn start(&mut self) {
        if let Some(method) = &mut self.method {
            method.reset();
        }
        self.pending.clear();
        self.pending.resize(self.lead_in * self.channels, 0.0);
        self.dropped = 0;
        self.samples_in = 0;
        self.frames_out = 0;
    }

    /// How far the output lags behind the input at most: at 48 kHz 18 ms, at 44.1 kHz 30 ms.
    pub fn delay(&self) -> Seconds {
        self.delay
    }

    /// Takes interleaved samples, any number, even a part of a frame, and appends what is ready
    /// to `out`, one list for each channel.
    pub fn push(&mut self, interleaved: &[f32], out: &mut [Vec<f32>]) {
        debug_assert_eq!(out.len(), self.channels);
        self.samples_in += interleaved.len() as u64;
        self.feed(interleaved, u64::MAX, out);
    }

    /// Ends the sound and appends what is left. A part of a frame at the end is left out. The next
    /// [`Resampler::push`] starts a new sound.
    pub fn finish(&mut self, out: &mut [Vec<f32>]) {
        let frames_in = self.samples_in / self.channels as u64;
        let over = (self.samples_in % self.channels as u64) as usize;
        self.pending.truncate(self.pending.len() - over);
        let (rate, to) = (u64::from(self.rate), u64::from(WORKING_RATE));
        let frames = (2 * frames_in * to + rate) / (2 * rate);
        if let Some(needed) = self.method.as_ref().map(|method| method.input_frames_max()) {
            let silence = vec![0.0; needed * self.channels];
            while self.frames_out < frames {
                let before = (self.dropped, self.frames_out);
                self.feed(&silence, frames, out);
                if before == (self.dropped, self.frames_out) {
                    break;
                }
            }
        }
        self.start();
    }

    /// Runs the method over whole blocks, up to `limit` frames of output.
    fn feed(&mut self, mut interleaved: &[f32], limit: u64, out: &mut [Vec<f32>]) {
        let Some(mut method) = self.method.take() else {
            return self.pass(interleaved, out);
        };
        loop {
            let needed = method.input_frames_next() * self.channels;
            if self.pending.is_empty() && interleaved.len() >= needed {
                let (now, later) = interleaved.split_at(needed);
                interleaved = later;
                self.convert(method.as_mut(), now, limit, out);
                continue;
            }
            let taken = needed
                .saturating_sub(self.pending.len())
                .min(interleaved.len());
            let (now, later) = interleaved.split_at(taken);
            interleaved = later;
            self.pending.extend_from_slice(now);
            if self.pending.len() < needed {
                break;
            }
            let mut pending = std::mem::take(&mut self.pending);
            self.convert(method.as_mut(), &pending[..needed], limit, out);
            pending.drain(..needed);
            self.pending = pending;
        }
        self.method = Some(method);
    }

    fn convert(
        &mut self,
        method: &mut dyn Method<f32>,
        samples: &[f32],
        limit: u64,
        out: &mut [Vec<f32>],
    ) {
        let frames_in = samples.len() / self.channels;
        let frames_out = self.block.len() / self.channels;
        let made = InterleavedSlice::new(samples, self.channels, frames_in)
            .ok()
            .zip(SequentialSlice::new_mut(&mut self.block, self.channels, frames_out).ok())
            .and_then(|(from, mut to)| method.process_into_buffer(&from, &mut to, None).ok())
            .map_or(0, |(_, made)| made);
        debug_assert!(
            made > 0,
            "the buffers have the sizes that the method asked for"
        );
        let skip = (self.drop - self.dropped).min(made);
        self.dropped += skip;
        let take = ((made - skip) as u64).min(limit.saturating_sub(self.frames_out)) as usize;
        for (channel, list) in out.iter_mut().enumerate() {
            let start = channel * frames_out + skip;
            list.extend_from_slice(&self.block[start..start + take]);
        }
        self.frames_out += take as u64;
    }

    /// The working rate already: only the channels are taken apart.
    fn pass(&mut self, interleaved: &[f32], out: &mut [Vec<f32>]) {
        let mut rest = interleaved;
        if !self.pending.is_empty() {
            let taken = (self.channels - self.pending.len()).min(rest.len());
            self.pending.extend_from_slice(&rest[..taken]);
            rest = &rest[taken..];
            if self.pending.len() < self.channels {
                return;
            }
            for (list, &sample) in out.iter_mut().zip(&self.pending) {
                list.push(sample);
            }
            self.pending.clear();
        }
        let frames = rest.chunks_exact(self.channels);
        self.pending.extend_from_slice(frames.remainder());
        for (channel, list) in out.iter_mut().enumerate() {
            list.extend(frames.clone().map(|frame| frame[channel]));
        }
    }
}

/// Input frames in a block of the Fourier method, if one of a fitting length exists. Both sides
/// are even, since the filter's centre then lies on a sample of either rate.
fn block(rate: u32) -> Option<usize> {
    let (rate, to) = (u64::from(rate), u64::from(WORKING_RATE));
    let common = common_divisor(rate, to);
    let (unit_in, unit_out) = (rate / common, to / common);
    (1..=BLOCK.end() / unit_out)
        .find(|count| {
            BLOCK.contains(&(count * unit_out))
                && (count * unit_out).is_multiple_of(2)
                && (count * unit_in).is_multiple_of(2)
        })
        .map(|count| (count * unit_in) as usize)
}

fn common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { common_divisor(b, a % b) }
}

/// Output frames to drop and silent input frames to put in front, so that the next output frame
/// lies on the first input frame.
///
/// The method's output frame n lies at the input position (n + 1) * step - length / 2 + 1 /
/// [`SINC_POSITIONS`]. The first frame past zero is taken that lies within 0.002 samples of a whole
/// position; the positions repeat after at most [`WORKING_RATE`] frames.
fn sinc_alignment(step: f64, length: usize) -> (usize, usize) {
    let position = |frame: usize| {
        (frame + 1) as f64 * step - length as f64 / 2.0 + (SINC_POSITIONS as f64).recip()
    };
    let off = |frame: usize| (position(frame) - position(frame).round()).abs();
    let first = (length as f64 / 2.0 / step).ceil() as usize;
    let period = first..first + WORKING_RATE as usize;
    let frame = period
        .clone()
        .find(|&frame| off(frame) < 0.002)
        .or_else(|| period.min_by(|&a, &b| off(a).total_cmp(&off(b))))
        .unwrap_or(first);
    (frame, position(frame).round().max(0.0) as usize)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use proptest::prelude::*;

    use super::*;

    const RATES: [u32; 18] = [
        8_000, 8_001, 9_600, 11_025, 11_127, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100,
        44_101, 48_000, 64_000, 88_200, 96_000, 176_400, 192_000,
    ];

    fn sound(rate: u32, frames: usize, value: impl Fn(f64) -> f64) -> Vec<f32> {
        (0..frames)
            .map(|n| value(n as f64 / f64::from(rate)) as f32)
            .collect()
    }

    fn resampled(rate: u32, samples: &[f32]) -> Vec<f32> {
        let mut resampler = Resampler::new(rate, 1).unwrap();
        let mut out = [Vec::new()];
        resampler.push(samples, &mut out);
        resampler.finish(&mut out);
        let [out] = out;
        out
    }

    fn worst(out: &[f32], value: impl Fn(f64) -> f64) -> f64 {
        out.iter()
            .enumerate()
            .map(|(n, &y)| (f64::from(y) - value(n as f64 / f64::from(WORKING_RATE))).abs())
            .fold(0.0, f64::max)
    }

    /// A sine in the pass band comes out at the same amplitude and phase: the error of 0.012 is a
    /// tenth of a decibel, or 0.7 degrees.
    #[test]
    fn tones_in_the_pass_band_keep_amplitude_and_phase() {
        for rate in RATES {
            for hertz in [20.0, 440.0, 1_234.5, 2_700.0, 3_000.0, 3_400.0] {
                let tone = |t: f64| (TAU * hertz * t).sin();
                let out = resampled(rate, &sound(rate, rate as usize, tone));
                // The filter is 20 ms long at most, so the cut ends reach in by 10 ms.
                let inner = 100..out.len() - 100;
                let late = |t: f64| tone(t + 100.0 / f64::from(WORKING_RATE));
                let error = worst(&out[inner], late);
                assert!(
                    error < 0.012,
                    "{rate} Hz, tone of {hertz} Hz: off by {error:.5}"
                );
            }
        }
    }

    #[test]
    fn tones_that_would_fold_vanish() {
        for rate in RATES {
            for share in 0..40 {
                let hertz = 4_600.0 + f64::from(share) * (f64::from(rate) / 2.0 - 4_600.0) / 40.0;
                if hertz >= f64::from(rate) / 2.0 || rate == WORKING_RATE {
                    continue;
                }
                let tone = |t: f64| (TAU * hertz * t).sin();
                let out = resampled(rate, &sound(rate, rate as usize, tone));
                let left = worst(&out[100..out.len() - 100], |_| 0.0);
                assert!(
                    left < 1e-4,
                    "{rate} Hz, tone of {hertz} Hz: {left:.6} of it left"
                );
            }
        }
    }

    /// A bell curve of half a millisecond is at its closed form from the first sample to the last.
    #[test]
    fn first_and_last_moments_are_kept() {
        for rate in RATES {
            let length = 0.25;
            let frames = (length * f64::from(rate)) as usize;
            for centre in [0.003, length - 0.003] {
                let bell = |t: f64| (-0.5 * ((t - centre) / 0.000_5).powi(2)).exp();
                let out = resampled(rate, &sound(rate, frames, bell));
                let error = worst(&out, bell);
                assert!(
                    error < 2e-3,
                    "{rate} Hz, bell at {centre} s: off by {error:.5}"
                );
            }
        }
    }

    #[test]
    fn length_is_that_of_the_sound() {
        for rate in RATES {
            for frames in [0, 1, 2, 7, 100, 1_000, 44_101] {
                let out = resampled(rate, &vec![0.25; frames]);
                let expected = (frames as f64 * 8_000.0 / f64::from(rate)).round() as usize;
                assert_eq!(out.len(), expected, "{frames} frames at {rate} Hz");
            }
        }
    }

    #[test]
    fn live_delay_at_the_usual_rates_is_at_most_thirty_milliseconds() {
        for (rate, most) in [
            (8_000, 0.0),
            (48_000, 0.018),
            (44_100, 0.030),
            (96_000, 0.018),
        ] {
            let mut resampler = Resampler::new(rate, 1).unwrap();
            assert!(resampler.delay().0 <= most, "{rate}: {}", resampler.delay());
            let mut out = [Vec::new()];
            for fed in 1..=rate as usize {
                resampler.push(&[0.5], &mut out);
                let behind = fed as f64 / f64::from(rate) - out[0].len() as f64 / 8_000.0;
                assert!(
                    behind <= resampler.delay().0 + 1e-9,
                    "{rate} Hz: {behind} s behind"
                );
            }
        }
    }

    #[test]
    fn rates_and_channels_out_of_range_are_refused() {
        for rate in [0, 1, 7_999, 192_001, u32::MAX] {
            assert_eq!(
                Resampler::new(rate, 1).err(),
                Some(Fault::SampleRate { rate })
            );
        }
        for channels in [0, 9, 64] {
            assert_eq!(
                Resampler::new(48_000, channels).err(),
                Some(Fault::Channels { channels })
            );
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// Any split into blocks, even inside a frame, gives the same bits.
        #[test]
        fn block_sizes_change_nothing(
            rate in prop::sample::select(RATES.to_vec()),
            channels in 1_usize..=3,
            frames in 0_usize..6_000,
            sizes in prop::collection::vec(1_usize..2_500, 1..40),
        ) {
            let sound: Vec<f32> =
                (0..frames * channels).map(|n| ((n * 7_919) % 1_009) as f32 / 1_009.0 - 0.5).collect();
            let mut whole = vec![Vec::new(); channels];
            let mut resampler = Resampler::new(rate, channels).unwrap();
            resampler.push(&sound, &mut whole);
            resampler.finish(&mut whole);
            // The same resampler again: a sound leaves nothing behind for the next.
            let mut split = vec![Vec::new(); channels];
            let mut rest = sound.as_slice();
            for size in sizes.iter().cycle() {
                if rest.is_empty() {
                    break;
                }
                let (now, later) = rest.split_at((*size).min(rest.len()));
                resampler.push(now, &mut split);
                rest = later;
            }
            resampler.finish(&mut split);
            prop_assert_eq!(&whole, &split);
        }
    }
}
