//! From blocks of samples to frames.
use std::collections::VecDeque;

use super::ear::{Ear, Heard};
use super::frame::Frame;
use crate::capture::{Fault, Resampler, WORKING_RATE};
use crate::machine::Profile;
use crate::spectrum::{HOP, widest};
use crate::tach::Throttle;
use crate::units::Seconds;

/// How far a listener may look ahead before it decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// At most 200 ms behind the sound.
    Live,
    /// As [`Look::Live`], beside a machine that somebody says stands there: once heard it is believed
    /// to run on until the sound says clearly that it does not.
    Beside,
    /// Seconds ahead, for recorded clips.
    Ahead,
}

/// Size of a sample, of full scale, from which it counts as clipped.
const FULL: f32 = 0.985;
/// How much better another channel has to be to be taken instead.
const BETTER: f64 = 0.5;
/// Memory of a channel's quality, per hop: 1 s.
const MEMORY: f64 = 0.016;

/// Turns interleaved samples at any rate into frames, one each [`Listener::hop`].
///
/// With two or more channels each of them and their mean are heard, and each frame is taken from
/// the one that reads best. Block sizes never change a reading.
pub struct Listener {
    resampler: Resampler,
    rate: u64,
    channels: usize,
    working: Vec<Vec<f32>>,
    mean: Vec<f32>,
    ears: Vec<Ear>,
    heard: Vec<VecDeque<Heard>>,
    quality: Vec<f64>,
    best: usize,
    /// Samples of a channel taken.
    taken: u64,
    /// Clipped and all samples of each hop that is not yet framed.
    clipped: VecDeque<(u32, u32)>,
    first: u64,
}

impl Listener {
    /// A listener for interleaved samples, `sample_rate` 8,000 to 192,000 per second, 1 to 8
    /// `channels`.
    ///
    /// # Errors
    /// A sample rate or channel count outside these ranges.
    pub fn new(
        sample_rate: u32,
        channels: usize,
        machine: &Profile,
        look: Look,
    ) -> Result<Self, Fault> {
        let resampler = Resampler::new(sample_rate, channels)?;
        let ears = if channels == 1 { 1 } else { channels + 1 };
        Ok(Listener {
            resampler,
            rate: u64::from(sample_rate),
            channels,
            working: vec![Vec::new(); channels],
            mean: Vec::new(),
            ears: (0..ears).map(|_| Ear::new(machine, look)).collect(),
            heard: vec![VecDeque::new(); ears],
            quality: vec![0.0; ears],
            best: 0,
            taken: 0,
            clipped: VecDeque::new(),
            first: 0,
        })
    }

    /// Time between frames.
    pub fn hop(&self) -> Seconds {
        Seconds(HOP as f64 / f64::from(WORKING_RATE))
    }

    /// Tells it how the throttle is held from now on, as far as somebody knows: the speed is then
    /// sought where such an engine runs.
    pub fn hold(&mut self, throttle: Option<Throttle>) {
        self.ears.iter_mut().for_each(|ear| ear.hold(throttle));
    }

    /// Takes a block of interleaved samples (finite, full scale 1) of any length and appends the
    /// frames that are now decided.
    pub fn push(&mut self, block: &[f32], frames: &mut Vec<Frame>) {
        self.count_clipped(block);
        self.working.iter_mut().for_each(Vec::clear);
        self.resampler.push(block, &mut self.working);
        self.listen(frames);
    }

    /// The sound of each channel at the working rate that came with the last [`Self::push`] or
    /// [`Self::finish`]; frames are decided later than their sound comes.
    pub fn sound(&self) -> &[Vec<f32>] {
        &self.working
    }

    /// Counts the samples of each hop and those at full scale.
    fn count_clipped(&mut self, block: &[f32]) {
        let mut rest = block;
        while rest.len() >= self.channels {
            let hop = self.taken * u64::from(WORKING_RATE) / (self.rate * HOP as u64);
            let next = ((hop + 1) * self.rate * HOP as u64).div_ceil(u64::from(WORKING_RATE));
            let moments = (rest.len() / self.channels).min((next - self.taken) as usize);
            let (now, later) = rest.split_at(moments * self.channels);
            rest = later;
            self.taken += moments as u64;
            let at = (hop - self.first) as usize;
            while self.clipped.len() <= at {
                self.clipped.push_back((0, 0));
            }
            let full = |s: &f32| s.abs() >= FULL;
            let clipped: u32 = if self.channels == 1 {
                widest!(now.iter().map(|s| u32::from(full(s))).sum())
            } else {
                let moments = now.chunks_exact(self.channels);
                moments.map(|m| u32::from(m.iter().any(full))).sum()
            };
            let count = &mut self.clipped[at];
            count.0 += clipped;
            count.1 += moments as u32;
        }
    }

    /// Ends the sound and appends the frames that are left.
    pub fn finish(&mut self, frames: &mut Vec<Frame>) {
        self.working.iter_mut().for_each(Vec::clear);
        self.resampler.finish(&mut self.working);
        self.listen(frames);
        for (ear, heard) in self.ears.iter_mut().zip(&mut self.heard) {
            ear.finish(heard);
        }
        self.choose(frames);
    }

    fn listen(&mut self, frames: &mut Vec<Frame>) {
        for ((ear, heard), channel) in self.ears.iter_mut().zip(&mut self.heard).zip(&self.working)
        {
            ear.push(channel, heard);
        }
        if self.channels > 1 {
            self.mean.clear();
            let n = self.working[0].len();
            let scale = 1.0 / self.channels as f32;
            self.mean
                .extend((0..n).map(|i| self.working.iter().map(|c| c[i]).sum::<f32>() * scale));
            self.ears[self.channels].push(&self.mean, &mut self.heard[self.channels]);
        }
        self.choose(frames);
    }

    /// Takes each hop that all ears have decided from the best of them.
    fn choose(&mut self, frames: &mut Vec<Frame>) {
        while self.heard.iter().all(|h| !h.is_empty()) {
            let mut best = None;
            for (i, heard) in self.heard.iter_mut().enumerate() {
                let Some(h) = heard.pop_front() else { continue };
                let q = &mut self.quality[i];
                *q += MEMORY * (h.quality - *q);
                if i == self.best {
                    best = Some(h.frame);
                } else if self.quality[i] > self.quality[self.best] + BETTER {
                    self.best = i;
                    best = Some(h.frame);
                }
            }
            let Some(mut frame) = best else { return };
            let (clipped, all) = self.clipped.pop_front().unwrap_or((0, 0));
            self.first += 1;
            frame.clipped = f64::from(clipped) / f64::from(all.max(1));
            frames.push(frame);
        }
    }
}
