//! The engine's sound: every turn leaves its pulses on the band, filters shape them.
use std::f64::consts::PI;

use super::band::Band;
use super::crank::{Crank, Turn};
use super::engine_scene::Engine;
use super::filter::{Bank, Chain};
use super::random::Random;
use super::speed::{Point, STEP, SpeedLine};
use super::timbre::{Resonance, Rotor};

/// Parts of the engine's sound, in the order of the buffers.
pub(super) const PARTS: usize = 5;

/// How far the crank must be ahead of the sound: the longest turn (300 rpm) and the longest pulse.
const AHEAD: f64 = 0.5;

/// Renders the parts of an engine's sound, block by block.
#[derive(Clone, Debug)]
pub(super) struct EngineSound {
    engine: Engine,
    rate: f64,
    time: f64,
    crank: Crank,
    gas: Band,
    breath: Band,
    flow: Band,
    clicks: Band,
    muffler: Bank,
    intake: Bank,
    flow_filter: Chain,
    flow_bank: Bank,
    flow_noise: Random,
    housing: Bank,
    knocks: Random,
    knock_angles: Vec<(f64, f64)>,
    base: Chain,
    fan: Option<Whirl>,
    chain: Option<Whirl>,
}

impl EngineSound {
    pub(super) fn new(engine: &Engine, seed: u64, rate: f64) -> Self {
        let timbre = &engine.timbre;
        let bank = |list: &[Resonance], direct: f64| {
            let list: Vec<_> = list.iter().map(|r| (r.hertz.0, r.q, r.gain)).collect();
            Bank::new(&list, direct, timbre.brightness.0, rate)
        };
        let mut random = Random::new(seed, 4);
        let housing: Vec<_> = (0..4)
            .map(|_| {
                (
                    random.between_log(900.0, 7_000.0),
                    random.between(4.0, 25.0),
                    random.between(0.3, 1.0),
                )
            })
            .collect();
        let knock_angles = (0..3 + random.below(3))
            .map(|_| (random.between(0.0, 360.0), random.between(0.2, 1.0)))
            .collect();
        let whirl = |rotor: &Option<Rotor>, stream, wander| {
            rotor.as_ref().map(|r| {
                Whirl::new(
                    r,
                    SpeedLine::new(engine, seed),
                    engine,
                    seed,
                    stream,
                    wander,
                    rate,
                )
            })
        };
        EngineSound {
            engine: engine.clone(),
            rate,
            time: 0.0,
            crank: Crank::new(engine, seed),
            gas: Band::new(rate, 2.0 * AHEAD),
            breath: Band::new(rate, 2.0 * AHEAD),
            flow: Band::new(rate, 2.0 * AHEAD),
            clicks: Band::new(rate, 2.0 * AHEAD),
            muffler: bank(&timbre.muffler, timbre.direct),
            intake: bank(&timbre.intake, 0.3),
            flow_filter: Chain::low_pass(timbre.flow_hertz.0, 1, rate),
            flow_bank: bank(&timbre.muffler, 0.8),
            flow_noise: Random::new(seed, 5),
            housing: Bank::new(&housing, 0.1, 5_000.0, rate),
            knocks: Random::new(seed, 6),
            knock_angles,
            base: Chain::high_pass(12.0, 1, rate),
            fan: whirl(&timbre.fan, 7, 0.0),
            chain: whirl(&timbre.chain, 8, 0.15),
        }
    }

    /// The next block of every part (all buffers of one length); `turn` sees each turn once.
    pub(super) fn fill(&mut self, parts: &mut [Vec<f64>; PARTS], mut turn: impl FnMut(&Turn)) {
        let n = parts[0].len();
        let end = self.time + n as f64 / self.rate;
        let mut turns = Vec::new();
        self.crank.walk(end + AHEAD, |t| turns.push(t));
        for t in &turns {
            self.place(t);
            turn(t);
        }
        let [gas, flow, mechanical, fan, chain] = parts;
        self.gas.take(gas);
        self.breath.take(flow);
        for (x, y) in gas.iter_mut().zip(flow.iter()) {
            *x = self.base.run(self.muffler.run(*x) + self.intake.run(*y));
        }
        self.flow.take(flow);
        for x in flow.iter_mut() {
            let noise = self.flow_filter.run(self.flow_noise.normal());
            *x = self.flow_bank.run(*x * noise);
        }
        self.clicks.take(mechanical);
        for x in mechanical.iter_mut() {
            *x = self.housing.run(*x);
        }
        for (part, whirl) in [(fan, &mut self.fan), (chain, &mut self.chain)] {
            match whirl {
                Some(whirl) => whirl.fill(part),
                None => part.fill(0.0),
            }
        }
        self.time = end;
    }

    fn place(&mut self, turn: &Turn) {
        let timbre = &self.engine.timbre;
        let loud = (1.0 / (turn.seconds * self.engine.full.hertz().0)).powf(timbre.speed_exponent);
        let degree = turn.seconds / 360.0;
        // A bump of the width w (at half height) has the standard deviation w/2.355.
        let front = timbre.pulse_degrees * degree / 2.355;
        let suck = timbre.scavenge_degrees * degree / 2.355;
        for stroke in &turn.strokes {
            let at = turn.start + stroke.angle * degree;
            let width = front * stroke.length;
            let a = loud * stroke.strength;
            self.gas.bump(at, width, a);
            self.gas
                .bump(at + 1.6 * width, 2.0 * width, 0.7 * timbre.tail * a);
            self.gas
                .bump(at + 4.0 * width, 4.0 * width, 0.35 * timbre.tail * a);
            let suction = 0.35 * timbre.rarefaction_at * degree;
            self.gas.bump(
                at + timbre.rarefaction_at * degree,
                suction,
                -0.5 * timbre.rarefaction * a,
            );
            let breath = loud * timbre.scavenge * stroke.breath;
            let in_at = at + timbre.scavenge_at * degree;
            self.breath.bump(in_at, suck, breath);
            self.breath
                .bump(in_at + 55.0 * degree, 1.5 * suck, -0.6 * breath);
            self.flow.bump(at + 3.0 * width, 4.0 * width, a);
            self.flow.bump(
                at + 140.0 * degree,
                60.0 * degree,
                0.25 * loud * (0.4 + 0.6 * stroke.strength),
            );
            self.flow.bump(in_at, 1.5 * suck, 0.4 * breath.abs());
        }
        for &(angle, level) in &self.knock_angles {
            let scatter = (1.0 + 0.5 * self.knocks.normal()).max(0.0);
            let at = turn.start + (angle + 2.0 * self.knocks.normal()) * degree;
            self.clicks.bump(at, 0.0, loud * level * scatter);
        }
    }
}

/// A rotor: tones at the blades' orders.
#[derive(Clone, Debug)]
struct Whirl {
    rotor: Rotor,
    line: SpeedLine,
    random: Random,
    rate: f64,
    full: f64,
    points: (Point, Point),
    step: usize,
    sample: u64,
    phase: f64,
    wander: f64,
    wander_size: f64,
    shares: [(f64, f64); 3],
    modulation: [(f64, f64); 3],
}

impl Whirl {
    fn new(
        rotor: &Rotor,
        mut line: SpeedLine,
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
        let points = (line.next(), line.next());
        Whirl {
            rotor: *rotor,
            line,
            random,
            rate,
            full: engine.full.hertz().0,
            points,
            step: 0,
            sample: 0,
            phase: 0.0,
            wander: 0.0,
            wander_size,
            shares,
            modulation,
        }
    }

    fn fill(&mut self, out: &mut [f64]) {
        for x in out.iter_mut() {
            let time = self.sample as f64 / self.rate;
            while time >= (self.step + 1) as f64 * STEP {
                self.points = (self.points.1, self.line.next());
                self.step += 1;
            }
            let into = (time - self.step as f64 * STEP) / STEP;
            let hertz = self.points.0.hertz + (self.points.1.hertz - self.points.0.hertz) * into;
            self.sample += 1;
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
                around += self.rotor.unequal
                    * share
                    * (2.0 * PI * (k + 1) as f64 * self.phase + at).sin();
            }
            *x = tone * around * (hertz / self.full).powi(2);
        }
    }
}
