//! The engine's parts brought to their levels.
use super::crank::Turn;
use super::engine::{EngineSound, PARTS};
use super::engine_scene::Engine;
use super::source::{BLOCK, Source};
use crate::units::{Decibels, Seconds};

/// An engine as one sound whose mean power over the clip is 1.
#[derive(Clone, Debug)]
pub(super) struct EngineMix {
    sound: EngineSound,
    gains: [f64; PARTS],
    parts: [Vec<f64>; PARTS],
}

impl EngineMix {
    /// Runs through the whole clip once to measure the parts.
    pub(super) fn new(engine: &Engine, seed: u64, rate: f64, seconds: Seconds) -> Self {
        let timbre = &engine.timbre;
        let silent = Decibels(f64::NEG_INFINITY);
        let levels = [
            Decibels(0.0),
            timbre.flow,
            timbre.mechanical,
            timbre.fan.map_or(silent, |r| r.level),
            timbre.chain.map_or(silent, |r| r.level),
        ];
        let sound = EngineSound::new(engine, seed, rate);
        let mut trial = sound.clone();
        let mut parts: [Vec<f64>; PARTS] = std::array::from_fn(|_| vec![0.0; BLOCK]);
        let blocks = ((seconds.0 * rate) as usize).div_ceil(BLOCK).max(1);
        let mut powers = [0.0; PARTS];
        for _ in 0..blocks {
            trial.fill(&mut parts, |_| {});
            for (power, part) in powers.iter_mut().zip(&parts) {
                *power += part.iter().map(|x| x * x).sum::<f64>() / (blocks * BLOCK) as f64;
            }
        }
        // Engine at rest for the whole clip: nothing to scale.
        let scale = |power: f64| {
            if power > 1e-30 {
                power.sqrt().recip()
            } else {
                0.0
            }
        };
        let mut gains = [0.0; PARTS];
        for i in 0..PARTS {
            gains[i] = levels[i].amplitude() * scale(powers[i]);
        }
        // Parts are nearly independent of one another; what little they share is measured, too.
        let mut mix = EngineMix {
            sound: sound.clone(),
            gains,
            parts,
        };
        let total = super::source::power(&mut mix, rate, seconds);
        for gain in &mut gains {
            *gain *= scale(total);
        }
        EngineMix {
            sound,
            gains,
            ..mix
        }
    }

    /// The gains that bring each part to its level.
    pub(super) fn gains(&self) -> [f64; PARTS] {
        self.gains
    }

    /// The same sound with the gains of another schedule.
    pub(super) fn with_gains(engine: &Engine, gains: [f64; PARTS], seed: u64, rate: f64) -> Self {
        EngineMix {
            sound: EngineSound::new(engine, seed, rate),
            gains,
            parts: std::array::from_fn(|_| vec![0.0; BLOCK]),
        }
    }

    /// The next block, at most [`BLOCK`] samples; `turn` sees each turn once, ahead of its sound.
    pub(super) fn fill_with(&mut self, out: &mut [f64], turn: impl FnMut(&Turn)) {
        for part in &mut self.parts {
            part.resize(out.len(), 0.0);
        }
        self.sound.fill(&mut self.parts, turn);
        out.fill(0.0);
        for (part, gain) in self.parts.iter().zip(self.gains) {
            if gain > 0.0 {
                for (y, x) in out.iter_mut().zip(part) {
                    *y += gain * x;
                }
            }
        }
    }
}

impl Source for EngineMix {
    fn fill(&mut self, out: &mut [f64]) {
        self.fill_with(out, |_| {});
    }
}
