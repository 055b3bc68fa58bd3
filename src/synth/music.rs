//! Notes, chords, knocks, a beat.
use std::f64::consts::TAU;

use super::filter::{Chain, Section};
use super::random::Random;
use super::source::Source;

/// Notes of an instrument: partials in exact ratio, with an attack and, when plucked, a decay.
#[derive(Clone, Debug)]
pub(super) struct Notes {
    hertz: Vec<f64>,
    together: bool,
    seconds: f64,
    plucked: bool,
    vibrato: f64,
    time: f64,
    phases: Vec<f64>,
    partials: Vec<(f64, f64)>,
    rate: f64,
}

impl Notes {
    pub(super) fn new(
        hertz: Vec<f64>,
        together: bool,
        seconds: f64,
        plucked: bool,
        vibrato_percent: f64,
        seed: u64,
        rate: f64,
    ) -> Self {
        let mut random = Random::new(seed, 60);
        let fall = random.between(0.5, 0.85);
        let odd = random.chance(0.3);
        let partials = (0..10)
            .map(|k| {
                let thin = if odd && k % 2 == 1 { 0.1 } else { 1.0 };
                (
                    thin * fall.powi(k) * random.between(0.4, 1.0),
                    random.unit(),
                )
            })
            .collect();
        let phases = vec![0.0; hertz.len()];
        Notes {
            hertz,
            together,
            seconds,
            plucked,
            vibrato: 0.01 * vibrato_percent,
            time: 0.0,
            phases,
            partials,
            rate,
        }
    }
}

impl Source for Notes {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            let count = self.time / self.seconds;
            let into = count.fract() * self.seconds;
            let single = count as usize % self.hertz.len().max(1);
            let attack = (into / if self.plucked { 0.004 } else { 0.06 }).min(1.0);
            let release = ((self.seconds - into) / 0.04).min(1.0);
            let level = attack
                * release
                * if self.plucked {
                    (-3.0 * into).exp()
                } else {
                    1.0
                };
            let bend = 1.0 + self.vibrato * (TAU * 5.2 * self.time).sin();
            let mut sum = 0.0;
            for (i, (hertz, phase)) in self.hertz.iter().zip(&mut self.phases).enumerate() {
                *phase += hertz * bend / self.rate;
                if !self.together && i != single {
                    continue;
                }
                for (k, (share, at)) in self.partials.iter().enumerate() {
                    let order = (k + 1) as f64;
                    if order * hertz < 0.45 * self.rate {
                        sum += share * (TAU * (order * *phase + at)).sin();
                    }
                }
            }
            *x = level * sum;
            self.time += 1.0 / self.rate;
        }
    }
}

/// Knocks that ring: a clock, a hammer.
#[derive(Clone, Debug)]
pub(super) struct Knocks {
    random: Random,
    period: f64,
    scatter: f64,
    left: f64,
    second: bool,
    body: Vec<Section>,
    rate: f64,
}

impl Knocks {
    pub(super) fn new(per_second: f64, scatter: f64, hertz: f64, seed: u64, rate: f64) -> Self {
        let mut random = Random::new(seed, 61);
        let body = [1.0, 2.3, 4.1]
            .iter()
            .map(|k| {
                Section::resonance(
                    k * hertz * random.between(0.9, 1.1),
                    random.between(8.0, 40.0),
                    rate,
                )
            })
            .collect();
        Knocks {
            random,
            period: 1.0 / per_second,
            scatter,
            left: 0.1,
            second: false,
            body,
            rate,
        }
    }
}

impl Source for Knocks {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.left -= 1.0 / self.rate;
            let mut hit = 0.0;
            if self.left <= 0.0 {
                let wait = 1.0 + self.scatter * self.random.between(-0.9, 0.9);
                self.left += self.period * wait;
                // Tick and tock differ.
                self.second = !self.second;
                hit = if self.second { 1.0 } else { 0.7 }
                    * (1.0 + self.scatter * self.random.between(-0.5, 0.5));
            }
            *x = self.body.iter_mut().map(|s| s.run(hit)).sum();
        }
    }
}

/// Drum, cymbal and bass in a beat.
#[derive(Clone, Debug)]
pub(super) struct Beat {
    random: Random,
    beat: f64,
    bass: f64,
    time: f64,
    phase: f64,
    hat: Chain,
    snare: Section,
    rate: f64,
}

impl Beat {
    pub(super) fn new(per_minute: f64, bass: f64, seed: u64, rate: f64) -> Self {
        Beat {
            random: Random::new(seed, 62),
            beat: 60.0 / per_minute,
            bass,
            time: 0.0,
            phase: 0.0,
            hat: Chain::high_pass(5_000.0, 2, rate),
            snare: Section::resonance(190.0, 3.0, rate),
            rate,
        }
    }
}

impl Source for Beat {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            let count = self.time / self.beat;
            let beat = count as u64 % 4;
            let into = count.fract() * self.beat;
            let eighth = (2.0 * count).fract() * 0.5 * self.beat;
            // A kick whose pitch falls, on one and three.
            let kick = if beat.is_multiple_of(2) {
                (-into / 0.09).exp() * (TAU * (48.0 * into - 1.6 * (-into / 0.025).exp())).sin()
            } else {
                0.0
            };
            let noise = self.random.normal();
            let snare = if beat % 2 == 1 {
                (-into / 0.07).exp()
            } else {
                0.0
            };
            let snare = self.snare.run(snare * noise) + 0.15 * snare * noise;
            let hat = 0.12 * (-eighth / 0.03).exp() * self.hat.run(noise);
            let step = [1.0, 1.0, 1.189_207, 0.890_899][(count / 4.0) as usize % 4];
            self.phase += self.bass * step / self.rate;
            let tone = (TAU * self.phase).sin()
                + 0.5 * (2.0 * TAU * self.phase).sin()
                + 0.25 * (3.0 * TAU * self.phase).sin();
            let bass = 0.4 * tone * (-into / 0.4).exp() * (into / 0.005).min(1.0);
            *x = kick + snare + hat + bass;
            self.time += 1.0 / self.rate;
        }
    }
}
