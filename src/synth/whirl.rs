//! A rotor on the crank: tones at the orders of its blades.
use std::f64::consts::PI;

use super::engine_scene::Engine;
use super::random::Random;
use super::timbre::Rotor;

/// Tones at the blades' orders.
#[derive(Clone, Debug)]
pub(super) struct Whirl {
    rotor: Rotor,
    random: Random,
    rate: f64,
    full: f64,
    phase: f64,
    wander: f64,
    wander_size: f64,
    shares: [(f64, f64); 3],
    modulation: [(f64, f64); 3],
}

impl Whirl {
    pub(super) fn new(
        rotor: &Rotor,
        engine: &Engine,
        seed: u64,
        stream: u64,
        wander_size: f64,
        rate: f64,
    ) -> Self {
        let mut random = Random::new(seed, stream);
        let mut pairs = |scale: f64| {
            [1.0, 2.0, 3.0].map(|k: f64| {
                (
                    scale.powf(k - 1.0) * random.between(0.4, 1.0),
                    random.between(0.0, 2.0 * PI),
                )
            })
        };
        let (shares, modulation) = (pairs(0.5), pairs(0.7));
        Whirl {
            rotor: *rotor,
            random,
            rate,
            full: engine.full.hertz().0,
            phase: 0.0,
            wander: 0.0,
            wander_size,
            shares,
            modulation,
        }
    }

    /// The next sample at the crank speed `hertz`.
    pub(super) fn run(&mut self, hertz: f64) -> f64 {
        self.phase += hertz / self.rate;
        // Phase noise: a random walk held near 0, in turns of the blade tone.
        self.wander += -self.wander / (0.02 * self.rate)
            + self.wander_size * (100.0 / self.rate).sqrt() * self.random.normal();
        let blade = self.rotor.blades * self.phase + self.wander;
        let mut tone = 0.0;
        for (k, (share, at)) in self.shares.iter().enumerate() {
            let order = (k + 1) as f64;
            if order * self.rotor.blades * hertz < 0.45 * self.rate {
                tone += share * (2.0 * PI * order * blade + at).sin();
            }
        }
        let mut around = 1.0;
        for (k, (share, at)) in self.modulation.iter().enumerate() {
            around +=
                self.rotor.unequal * share * (2.0 * PI * (k + 1) as f64 * self.phase + at).sin();
        }
        tone * around * (hertz / self.full).powi(2)
    }
}
