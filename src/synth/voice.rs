//! Speech-like sound: a glottal source through moving formants.
use std::f64::consts::TAU;

use super::filter::{Chain, Section};
use super::random::Random;
use super::source::Source;

/// First three formants of some vowels in hertz (rounded, from memory of the usual tables).
const VOWELS: [[f64; 3]; 6] = [
    [730.0, 1_090.0, 2_440.0],
    [530.0, 1_840.0, 2_480.0],
    [270.0, 2_290.0, 3_010.0],
    [570.0, 840.0, 2_410.0],
    [300.0, 870.0, 2_240.0],
    [500.0, 1_350.0, 1_690.0],
];

/// A voice: phrases of syllables, pauses between; or held vowels with vibrato.
#[derive(Clone, Debug)]
pub(super) struct Voice {
    random: Random,
    mean: f64,
    held: bool,
    rate: f64,
    left: f64,
    syllables: usize,
    kind: Kind,
    pitch: f64,
    goal: f64,
    phase: f64,
    vibrato: f64,
    level: f64,
    formants: [f64; 3],
    to: [f64; 3],
    filters: Vec<Section>,
    count: u64,
    hiss: Chain,
    tilt: Chain,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    Voiced,
    Hiss,
    Pause,
}

impl Voice {
    pub(super) fn new(mean: f64, held: bool, seed: u64, rate: f64) -> Self {
        Voice {
            random: Random::new(seed, 50),
            mean,
            held,
            rate,
            left: 0.0,
            syllables: 0,
            kind: Kind::Pause,
            pitch: mean,
            goal: mean,
            phase: 0.0,
            vibrato: 0.0,
            level: 0.0,
            formants: VOWELS[0],
            to: VOWELS[0],
            filters: Vec::new(),
            count: 0,
            hiss: Chain::high_pass(2_800.0, 2, rate),
            tilt: Chain::low_pass(300.0, 1, rate),
        }
    }

    fn turn_over(&mut self) {
        let random = &mut self.random;
        if self.held {
            let pause = random.chance(0.25);
            self.kind = if pause { Kind::Pause } else { Kind::Voiced };
            self.left = if pause {
                random.between(0.2, 0.6)
            } else {
                random.between(0.8, 3.0)
            };
            // A step on the scale.
            let step = [-5.0, -3.0, -2.0, 0.0, 2.0, 4.0, 5.0, 7.0];
            self.goal = self.mean * 2f64.powf(random.one_of(&step) / 12.0);
        } else if self.syllables == 0 {
            self.syllables = 3 + random.below(9);
            self.kind = Kind::Pause;
            self.left = random.between(0.15, 0.9);
            self.goal = self.mean * random.between(1.05, 1.35);
        } else {
            self.syllables -= 1;
            self.kind = if random.chance(0.22) {
                Kind::Hiss
            } else {
                Kind::Voiced
            };
            self.left = random.between(0.06, 0.28);
            // The pitch falls along the phrase and jumps with the stress.
            self.goal =
                (self.goal * random.between(0.86, 1.08)).clamp(0.7 * self.mean, 1.5 * self.mean);
        }
        self.to = random.one_of(&VOWELS);
    }
}

impl Source for Voice {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.left -= 1.0 / self.rate;
            if self.left <= 0.0 {
                self.turn_over();
            }
            let glide = if self.held { 0.05 } else { 0.08 };
            self.pitch += (self.goal - self.pitch) / (glide * self.rate);
            self.vibrato += 5.5 / self.rate;
            if self.count.is_multiple_of(64) {
                for (f, to) in self.formants.iter_mut().zip(self.to) {
                    *f += 0.04 * (to - *f);
                }
                // New corners, old state: rebuilt often enough to glide.
                let fresh: Vec<_> = self
                    .formants
                    .iter()
                    .zip([6.0, 9.0, 12.0])
                    .map(|(&f, q)| Section::resonance(f, q, self.rate))
                    .collect();
                if self.filters.is_empty() {
                    self.filters = fresh;
                } else {
                    for (old, new) in self.filters.iter_mut().zip(fresh) {
                        old.retune(&new);
                    }
                }
            }
            self.count += 1;
            let wanted = if self.kind == Kind::Pause { 0.0 } else { 1.0 };
            self.level += (wanted - self.level) / (0.02 * self.rate);
            let depth = if self.held { 0.015 } else { 0.004 };
            let hertz = self.pitch
                * (1.0
                    + depth * (TAU * self.vibrato).sin()
                    + 0.004 * self.random.normal() * (2_000.0 / self.rate).sqrt());
            self.phase = (self.phase + hertz / self.rate).fract();
            // Flow through the glottis: opens slowly, closes fast (Rosenberg's form, from memory).
            let p = self.phase;
            let flow = if p < 0.4 {
                0.5 * (1.0 - (TAU * 0.5 * p / 0.4).cos())
            } else if p < 0.56 {
                (0.25 * TAU * (p - 0.4) / 0.16).cos()
            } else {
                0.0
            };
            let breath = 0.02 * self.random.normal();
            let voiced = if self.kind == Kind::Hiss {
                0.0
            } else {
                flow - self.tilt.run(flow) + breath
            };
            let gains = [1.0, 0.6, 0.35];
            let sung: f64 = self
                .filters
                .iter_mut()
                .zip(gains)
                .map(|(s, g)| g * s.run(voiced))
                .sum();
            let hiss = if self.kind == Kind::Hiss {
                0.12 * self.hiss.run(self.random.normal())
            } else {
                0.0
            };
            *x = self.level * (sung + hiss);
        }
    }
}
