//! Dog, crickets, birds.
use std::f64::consts::TAU;

use super::filter::Section;
use super::random::Random;
use super::source::Source;

/// A dog: short harsh voiced bursts, in groups.
#[derive(Clone, Debug)]
pub(super) struct Barks {
    random: Random,
    pitch: f64,
    per_second: f64,
    left: f64,
    into: f64,
    long: f64,
    now: f64,
    phase: f64,
    throat: Vec<Section>,
    rate: f64,
}

impl Barks {
    pub(super) fn new(pitch: f64, per_second: f64, seed: u64, rate: f64) -> Self {
        let mut random = Random::new(seed, 70);
        let throat = [700.0, 1_500.0, 2_900.0]
            .iter()
            .map(|f| {
                Section::resonance(
                    f * random.between(0.8, 1.25),
                    random.between(2.0, 5.0),
                    rate,
                )
            })
            .collect();
        Barks {
            random,
            pitch,
            per_second,
            left: 0.2,
            into: 1.0,
            long: 0.1,
            now: pitch,
            phase: 0.0,
            throat,
            rate,
        }
    }
}

impl Source for Barks {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.left -= 1.0 / self.rate;
            self.into += 1.0 / self.rate;
            if self.left <= 0.0 {
                let pause = if self.random.chance(0.2) { 3.0 } else { 1.0 };
                self.left = pause * self.random.between(0.6, 1.4) / self.per_second;
                self.into = 0.0;
                self.long = self.random.between(0.06, 0.2);
                self.now = self.pitch * self.random.between(0.85, 1.2);
            }
            let u = self.into / self.long;
            let level = if u < 1.0 {
                (0.5 * TAU * u).sin().powi(2)
            } else {
                0.0
            };
            let hertz = self.now
                * (1.0 + 0.4 * (0.5 * TAU * u.min(1.0)).sin())
                * (1.0 + 0.1 * self.random.normal());
            self.phase = (self.phase + hertz / self.rate).fract();
            let harsh = (1.0 - 2.0 * self.phase).powi(3) + 0.3 * self.random.normal();
            *x = level * self.throat.iter_mut().map(|s| s.run(harsh)).sum::<f64>();
        }
    }
}

/// Crickets: a high tone in quick pulses, chirp after chirp.
#[derive(Clone, Debug)]
pub(super) struct Crickets {
    pitch: f64,
    per_second: f64,
    pulses: f64,
    time: f64,
    rate: f64,
}

impl Crickets {
    pub(super) fn new(pitch: f64, per_second: f64, seed: u64, rate: f64) -> Self {
        let mut random = Random::new(seed, 71);
        Crickets {
            pitch: pitch.min(0.4 * rate),
            per_second,
            pulses: random.between(25.0, 60.0),
            time: 0.0,
            rate,
        }
    }
}

impl Source for Crickets {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.time += 1.0 / self.rate;
            let chirp = (self.time * self.per_second).fract() < 0.55;
            let pulse = (0.5 * TAU * (self.time * self.pulses).fract())
                .sin()
                .powi(2);
            *x = if chirp {
                pulse * (TAU * self.pitch * self.time).sin()
            } else {
                0.0
            };
        }
    }
}

/// Birds: whistles that glide.
#[derive(Clone, Debug)]
pub(super) struct Birds {
    random: Random,
    middle: f64,
    left: f64,
    long: f64,
    into: f64,
    from: f64,
    to: f64,
    phase: f64,
    rate: f64,
}

impl Birds {
    pub(super) fn new(middle: f64, seed: u64, rate: f64) -> Self {
        let random = Random::new(seed, 72);
        Birds {
            random,
            middle,
            left: 0.1,
            long: 0.1,
            into: 1.0,
            from: middle,
            to: middle,
            phase: 0.0,
            rate,
        }
    }
}

impl Source for Birds {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.left -= 1.0 / self.rate;
            self.into += 1.0 / self.rate;
            if self.left <= 0.0 {
                let pause = if self.random.chance(0.15) {
                    self.random.between(0.3, 1.5)
                } else {
                    0.0
                };
                self.long = self.random.between(0.03, 0.3);
                self.left = self.long + self.random.between(0.02, 0.15) + pause;
                self.into = 0.0;
                self.from = self.middle * self.random.between(0.6, 1.6);
                self.to = self.middle * self.random.between(0.6, 1.6);
            }
            let u = self.into / self.long;
            let level = if u < 1.0 { (0.5 * TAU * u).sin() } else { 0.0 };
            let hertz = (self.from * (self.to / self.from).powf(u.min(1.0))).min(0.45 * self.rate);
            self.phase = (self.phase + hertz / self.rate).fract();
            *x = level * (TAU * self.phase).sin();
        }
    }
}
