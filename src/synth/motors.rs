//! Electrical things: hum, drill, vacuum cleaner, siren.
use std::f64::consts::TAU;

use super::filter::{Chain, Section};
use super::random::Random;
use super::source::Source;

/// Lines that stand still, or nearly.
#[derive(Clone, Debug)]
pub(super) struct Hum {
    random: Random,
    hertz: f64,
    lines: Vec<(f64, f64)>,
    phase: f64,
    drift: f64,
    drift_size: f64,
    rate: f64,
}

impl Hum {
    pub(super) fn new(
        hertz: f64,
        harmonics: u8,
        tilt: f64,
        drift_percent: f64,
        seed: u64,
        rate: f64,
    ) -> Self {
        let mut random = Random::new(seed, 40);
        let lines = (1..=harmonics)
            .filter(|&k| f64::from(k) * hertz < 0.45 * rate)
            .map(|k| {
                let fall = 10f64.powf(-tilt.abs() * f64::from(k).log2() / 20.0);
                let even = if k % 2 == 0 {
                    random.between(0.3, 1.2)
                } else {
                    random.between(0.5, 1.0)
                };
                (fall * even, random.between(0.0, 1.0))
            })
            .collect();
        Hum {
            random,
            hertz,
            lines,
            phase: 0.0,
            drift: 0.0,
            drift_size: 0.01 * drift_percent,
            rate,
        }
    }
}

impl Source for Hum {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            // The drift takes seconds.
            let pull = 1.0 / (3.0 * self.rate);
            self.drift += -pull * self.drift + (2.0 * pull).sqrt() * self.random.normal();
            self.phase += self.hertz * (1.0 + self.drift_size * self.drift) / self.rate;
            *x = self
                .lines
                .iter()
                .enumerate()
                .map(|(k, (level, at))| level * (TAU * ((k + 1) as f64 * self.phase + at)).sin())
                .sum();
        }
    }
}

/// A universal motor behind gears: commutator whine, gear tones, chuck, speed ramps with the switch.
#[derive(Clone, Debug)]
pub(super) struct Drill {
    random: Random,
    full: f64,
    per_second: f64,
    speed: f64,
    goal: f64,
    left: f64,
    phase: f64,
    load: f64,
    orders: Vec<(f64, f64, f64)>,
    brush: Chain,
    rate: f64,
}

impl Drill {
    pub(super) fn new(full: f64, per_second: f64, seed: u64, rate: f64) -> Self {
        let mut random = Random::new(seed, 41);
        let bars = (18 + 2 * random.below(8)) as f64;
        let pinion = (5 + random.below(4)) as f64;
        let ratio = random.between(9.0, 25.0);
        let orders = [
            (1.0, 0.5),
            (2.0, 0.35),
            (bars, 0.6),
            (0.5 * bars, 0.3),
            (2.0 * bars, 0.25),
            (pinion, 1.0),
            (2.0 * pinion, 0.5),
            (3.0 * pinion, 0.25),
            (1.0 / ratio, 0.1),
            (pinion * 2.6 / ratio * 3.0, 0.4),
        ]
        .iter()
        .map(|&(order, level)| (order, level * random.between(0.3, 1.2), random.unit()))
        .collect();
        Drill {
            random,
            full,
            per_second,
            speed: 0.0,
            goal: 0.0,
            left: 0.3,
            phase: 0.0,
            load: 0.0,
            orders,
            brush: Chain::high_pass(2_500.0, 2, rate),
            rate,
        }
    }
}

impl Source for Drill {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.left -= 1.0 / self.rate;
            if self.left <= 0.0 {
                let on = self.goal == 0.0;
                self.goal = if on {
                    self.full * self.random.between(0.5, 1.0)
                } else {
                    0.0
                };
                self.left =
                    self.random.between(0.5, 1.5) * if on { 0.7 } else { 0.3 } / self.per_second;
            }
            let time = if self.goal > self.speed { 0.15 } else { 0.35 };
            self.speed += (self.goal - self.speed) / (time * self.rate);
            self.load += -self.load / (0.3 * self.rate)
                + 0.02 * (1.0 / self.rate).sqrt() * self.random.normal();
            let hertz = self.speed * (1.0 + self.load);
            self.phase += hertz / self.rate;
            let strength = self.speed / self.full;
            let mut sum = 0.0;
            for &(order, level, at) in &self.orders {
                if order * hertz < 0.45 * self.rate {
                    sum += level * (TAU * (order * self.phase + at)).sin();
                }
            }
            *x = strength * (sum + 0.2 * self.brush.run(self.random.normal()));
        }
    }
}

/// A vacuum cleaner: much flow noise, a fast motor, its impeller.
#[derive(Clone, Debug)]
pub(super) struct Vacuum {
    random: Random,
    hertz: f64,
    phase: f64,
    wander: f64,
    blades: f64,
    flow: Vec<Section>,
    low: Chain,
    rate: f64,
}

impl Vacuum {
    pub(super) fn new(hertz: f64, seed: u64, rate: f64) -> Self {
        let mut random = Random::new(seed, 42);
        let blades = (6 + random.below(4)) as f64;
        let flow = (0..4)
            .map(|_| {
                Section::resonance(
                    random.between_log(200.0, 3_000.0),
                    random.between(0.7, 4.0),
                    rate,
                )
            })
            .collect();
        Vacuum {
            random,
            hertz,
            phase: 0.0,
            wander: 0.0,
            blades,
            flow,
            low: Chain::low_pass(2_500.0, 1, rate),
            rate,
        }
    }
}

impl Source for Vacuum {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.wander += -self.wander / (2.0 * self.rate)
                + 0.002 * (1.0 / self.rate).sqrt() * self.random.normal();
            self.phase += self.hertz * (1.0 + self.wander) / self.rate;
            let noise = self.low.run(self.random.normal());
            let mut sum: f64 =
                0.6 * noise + self.flow.iter_mut().map(|s| s.run(noise)).sum::<f64>();
            for (order, level) in [(1.0, 0.12), (2.0, 0.08), (self.blades, 0.15)] {
                if order * self.hertz < 0.45 * self.rate {
                    sum += level * (TAU * order * self.phase).sin();
                }
            }
            *x = sum;
        }
    }
}

/// A siren: a sweep or two tones, with harmonics of a horn.
#[derive(Clone, Debug)]
pub(super) struct Siren {
    low: f64,
    high: f64,
    per_second: f64,
    two_tone: bool,
    time: f64,
    phase: f64,
    levels: [f64; 6],
    rate: f64,
}

impl Siren {
    pub(super) fn new(
        low: f64,
        high: f64,
        per_second: f64,
        two_tone: bool,
        seed: u64,
        rate: f64,
    ) -> Self {
        let mut random = Random::new(seed, 43);
        let mut fall = 1.0;
        let levels = std::array::from_fn(|_| {
            let level = fall;
            fall *= random.between(0.4, 0.9);
            level
        });
        Siren {
            low,
            high,
            per_second,
            two_tone,
            time: 0.0,
            phase: 0.0,
            levels,
            rate,
        }
    }
}

impl Source for Siren {
    fn fill(&mut self, out: &mut [f64]) {
        for x in out {
            self.time += 1.0 / self.rate;
            let cycle = (self.time * self.per_second).fract();
            let height = match self.two_tone {
                true => f64::from(u8::from(cycle > 0.5)),
                false => 1.0 - (2.0 * cycle - 1.0).abs(),
            };
            let hertz = self.low * (self.high / self.low).powf(height);
            self.phase += hertz / self.rate;
            let mut sum = 0.0;
            for (k, level) in self.levels.iter().enumerate() {
                let order = (k + 1) as f64;
                if order * hertz < 0.45 * self.rate {
                    sum += level * (TAU * order * self.phase).sin();
                }
            }
            *x = sum;
        }
    }
}
