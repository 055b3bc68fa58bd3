//! Wind, rain and plain noise.
use super::filter::{Chain, Pink, Section};
use super::random::Random;
use super::source::Source;

/// White or pink noise of power near 1.
#[derive(Clone, Debug)]
pub(super) struct Hiss {
    random: Random,
    pink: Option<Pink>,
}

impl Hiss {
    pub(super) fn white(seed: u64) -> Self {
        Hiss {
            random: Random::new(seed, 30),
            pink: None,
        }
    }

    pub(super) fn pink(seed: u64) -> Self {
        Hiss {
            random: Random::new(seed, 31),
            pink: Some(Pink::default()),
        }
    }
}

impl Source for Hiss {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            let white = self.random.normal();
            *x = match &mut self.pink {
                Some(pink) => pink.run(white),
                None => white,
            };
        }
    }
}

/// Noise that falls by 6 dB an octave above 20 Hz.
#[derive(Clone, Debug)]
pub(super) struct Brown {
    random: Random,
    low: Chain,
}

impl Brown {
    pub(super) fn new(seed: u64, rate: f64) -> Self {
        Brown {
            random: Random::new(seed, 32),
            low: Chain::low_pass(20.0, 1, rate),
        }
    }
}

impl Source for Brown {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            *x = 50.0 * self.low.run(self.random.normal());
        }
    }
}

/// Gusts: very low noise whose strength comes and goes.
#[derive(Clone, Debug)]
pub(super) struct Wind {
    random: Random,
    low: Chain,
    rumble: Chain,
    pull: f64,
    goal: f64,
    strength: f64,
    left: f64,
    gust: f64,
    rate: f64,
}

impl Wind {
    pub(super) fn new(hertz: f64, gust: f64, seed: u64, rate: f64) -> Self {
        Wind {
            random: Random::new(seed, 33),
            low: Chain::low_pass(hertz, 3, rate),
            rumble: Chain::low_pass(6.0 * hertz, 2, rate),
            pull: 1.0 / (0.25 * gust * rate),
            goal: 0.3,
            strength: 0.3,
            left: 0.0,
            gust,
            rate,
        }
    }
}

impl Source for Wind {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.left -= 1.0 / self.rate;
            if self.left <= 0.0 {
                self.left = self.gust * self.random.between(0.4, 1.6);
                self.goal = self.random.between_log(0.03, 2.0);
            }
            self.strength += self.pull * (self.goal - self.strength);
            let white = self.random.normal();
            *x = self.strength
                * (20.0 * self.low.run(white) + self.strength * self.rumble.run(white));
        }
    }
}

/// Rain: drops that ring shortly, over a hiss.
#[derive(Clone, Debug)]
pub(super) struct Rain {
    random: Random,
    chance: f64,
    surfaces: Vec<Section>,
    hiss: Chain,
}

impl Rain {
    pub(super) fn new(drops: f64, seed: u64, rate: f64) -> Self {
        let mut random = Random::new(seed, 34);
        let surfaces = (0..5)
            .map(|_| {
                Section::resonance(
                    random.between_log(600.0, 0.4 * rate),
                    random.between(2.0, 9.0),
                    rate,
                )
            })
            .collect();
        Rain {
            random,
            chance: drops / rate,
            surfaces,
            hiss: Chain::high_pass(900.0, 1, rate),
        }
    }
}

impl Source for Rain {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            let hit = self.random.below(self.surfaces.len());
            let drop = if self.random.chance(self.chance) {
                self.random.between_log(2.0, 60.0)
            } else {
                0.0
            };
            let mut sum = 0.05 * self.hiss.run(self.random.normal());
            for (i, surface) in self.surfaces.iter_mut().enumerate() {
                sum += surface.run(if i == hit { drop } else { 0.0 });
            }
            *x = sum;
        }
    }
}
