//! An engine on the bench that answers to hands: time goes on as sound is pulled out of it.
use std::collections::VecDeque;

use super::crank::Shaft;
use super::running::{Controls, Running};
use super::sounding::{Sounding, Surroundings};
use super::specimen::Specimen;
use super::speed::{Point, STEP};
use crate::units::{Hertz, Rpm, Seconds};

/// Samples that are rendered at a time, so that the turns never run far ahead of them.
const BLOCK: usize = 256;
/// Turns of this many seconds count for the skip ratio.
const RECENT: f64 = 1.0;

/// A running engine with its sound, or without. The same specimen, surroundings, seed and hands give
/// the same engine and the same samples, whatever the sizes of the blocks.
pub struct Live {
    running: Running,
    shaft: Shaft,
    sounding: Option<Sounding>,
    rate: f64,
    samples: u64,
    steps: u64,
    /// Speed of the shaft.
    turning: Rpm,
    /// (end, fired, spark cut) of the last second's turns.
    turns: VecDeque<(f64, bool, bool)>,
}

impl Live {
    /// An engine without sound, for [`Live::pass`]. `heat` is 0 for a cold, 1 for a warm one.
    pub fn silent(specimen: &Specimen, seed: u64, heat: f64, runs: bool) -> Self {
        let first = Point {
            hertz: 0.0,
            segment: 0,
            cutting: false,
        };
        Live {
            running: Running::new(specimen, seed, heat, runs),
            shaft: Shaft::new(&specimen.engine, seed, first),
            sounding: None,
            rate: 1.0 / STEP,
            samples: 0,
            steps: 0,
            turning: Rpm(0.0),
            turns: VecDeque::new(),
        }
    }

    /// An engine with its sound at `rate` samples a second (8,000 to 192,000); the sound trails the
    /// engine by 0.1 s.
    pub fn sounding(
        specimen: &Specimen,
        around: &Surroundings,
        seed: u64,
        rate: u32,
        heat: f64,
        runs: bool,
    ) -> Self {
        let rate = f64::from(rate.clamp(8_000, 192_000));
        Live {
            sounding: Some(Sounding::new(&specimen.engine, around, seed, rate)),
            rate,
            ..Live::silent(specimen, seed, heat, runs)
        }
    }

    /// Time goes on by as many samples as `out` holds, under these controls; full scale is ±1. An
    /// engine without sound gives silence, one sample a millisecond.
    pub fn pull(&mut self, controls: &Controls, out: &mut [f32]) {
        for block in out.chunks_mut(BLOCK) {
            self.samples += block.len() as u64;
            let end = (self.samples as f64 / self.rate / STEP).ceil() as u64;
            while self.steps < end {
                self.step(controls);
            }
            match &mut self.sounding {
                Some(sounding) => sounding.take(block),
                None => block.fill(0.0),
            }
        }
    }

    /// Time goes on by so many milliseconds, without sound.
    pub fn pass(&mut self, controls: &Controls, milliseconds: u64) {
        for _ in 0..milliseconds {
            self.step(controls);
        }
        self.samples += (milliseconds as f64 * STEP * self.rate) as u64;
    }

    fn step(&mut self, controls: &Controls) {
        let next = self.running.step(controls);
        self.steps += 1;
        self.turning = Hertz(next.hertz).rpm();
        let (turns, sounding) = (&mut self.turns, &mut self.sounding);
        self.shaft.step(next, self.running.plan(), |mut turn| {
            let fired = turn.strokes.iter().all(|s| s.fired);
            turns.push_back((turn.start + turn.seconds, fired, next.cutting));
            if let Some(sounding) = sounding {
                sounding.turn(&mut turn);
            }
        });
        if let Some(sounding) = sounding {
            sounding.speed(next.hertz);
        }
        let old = self.steps as f64 * STEP - RECENT;
        while self.turns.front().is_some_and(|t| t.0 < old) {
            self.turns.pop_front();
        }
    }

    /// The engine's own time.
    pub fn time(&self) -> Seconds {
        Seconds(self.steps as f64 * STEP)
    }

    /// Whether it runs.
    pub fn runs(&self) -> bool {
        self.running.runs()
    }

    /// Its speed without wander; 0 when it stands.
    pub fn speed(&self) -> Rpm {
        self.running.rpm()
    }

    /// The speed of its shaft, with wander and under the limiter.
    pub fn shaft_speed(&self) -> Rpm {
        self.turning
    }

    /// Share of the last second's turns that did not fire.
    pub fn skip_ratio(&self) -> f64 {
        let skipped = self.turns.iter().filter(|t| !t.1).count();
        skipped as f64 / self.turns.len().max(1) as f64
    }

    /// Whether the limiter cut the spark within the last half second.
    pub fn limited(&self) -> bool {
        let since = self.time().0 - 0.5;
        self.turns.iter().any(|t| t.2 && t.0 > since)
    }

    /// Where the throttle is, 0 to 1.
    pub fn throttle(&self) -> f64 {
        self.running.throttle()
    }

    /// How warm it is, 0 to 1.
    pub fn heat(&self) -> f64 {
        self.running.heat()
    }

    /// Whether the attachment turns.
    pub fn attachment_turns(&self) -> bool {
        let bites = self.running.clutch();
        self.runs() && bites.is_some_and(|bites| self.speed().0 > bites.0 + 20.0)
    }
}
