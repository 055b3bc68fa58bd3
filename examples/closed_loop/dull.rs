//! Hearing in much noise, as it is measured on our own sound (`--drill`): most engines are heard as they
//! are, on some light skipping is heard too light, and now and then hardly at all. All by lot, the same
//! for the same seed.
use engine_note::synth::Random;

use super::hearing::HOP_S;

/// Share of the engines that are heard as they are.
const FINE: f64 = 0.6;
/// How much the others lose: 1 hears the square of the ratio, twice.
const LOSS: (f64, f64) = (0.3, 1.1);
/// Error of a ratio that is heard too light, standard deviation, and the time in which it wanders, in
/// seconds; error of the others.
const ERROR: f64 = 0.075;
const WANDERS: f64 = 1.2;
const FINE_ERROR: f64 = 0.015;
/// Heavy skipping is heard as anything for so many seconds in so many.
const LOST: (f64, f64) = (4.0, 60.0);

/// The dice of a tuning.
pub struct Dull {
    random: Random,
    loss: f64,
    error: f64,
    lost: Option<f64>,
    next: f64,
    t: f64,
}

impl Dull {
    /// Draws them.
    pub fn new(seed: u64) -> Self {
        let mut random = Random::new(seed, 520);
        let loss = if random.chance(FINE) {
            0.0
        } else {
            random.between(LOSS.0, LOSS.1)
        };
        Dull {
            random,
            loss,
            error: 0.0,
            lost: None,
            next: 10.0,
            t: 0.0,
        }
    }

    /// What is heard of a skip ratio, a hop on.
    pub fn hear(&mut self, truth: f64) -> f64 {
        self.t += HOP_S;
        let pull = (-HOP_S / WANDERS).exp();
        self.error = pull * self.error + (1.0 - pull * pull).sqrt() * self.random.normal();
        if self.t >= self.next {
            let lost = self.lost.is_none() && self.loss > 0.0;
            let mean = if lost { LOST.0 } else { LOST.1 };
            self.lost = lost.then(|| self.random.between(0.0, 0.5));
            self.next = self.t - mean * (1.0 - self.random.unit()).ln();
        }
        if let Some(anything) = self.lost.filter(|_| truth > 0.42) {
            return anything;
        }
        let heard = truth - self.loss * truth * (1.0 - 2.0 * truth).max(0.0);
        let error = if self.loss > 0.0 { ERROR } else { FINE_ERROR };
        // A clean engine is heard to be clean.
        heard + error * self.error * (truth / 0.1).min(1.0)
    }
}
