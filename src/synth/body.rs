//! What the turns of the crank leave in the air: pulses on bands, shaped by filters.
use super::band::Band;
use super::crank::Turn;
use super::engine_scene::Engine;
use super::filter::{Bank, Chain};
use super::random::Random;
use super::timbre::{Resonance, Timbre};

/// Gas, breath, flow and clicks of an engine.
#[derive(Clone, Debug)]
pub(super) struct Body {
    timbre: Timbre,
    full: f64,
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
}

impl Body {
    /// A body whose turns are placed at most `ahead` seconds before they are taken.
    pub(super) fn new(engine: &Engine, seed: u64, rate: f64, ahead: f64) -> Self {
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
        Body {
            timbre: timbre.clone(),
            full: engine.full.hertz().0,
            gas: Band::new(rate, ahead),
            breath: Band::new(rate, ahead),
            flow: Band::new(rate, ahead),
            clicks: Band::new(rate, ahead),
            muffler: bank(&timbre.muffler, timbre.direct),
            intake: bank(&timbre.intake, 0.3),
            flow_filter: Chain::low_pass(timbre.flow_hertz.0, 1, rate),
            flow_bank: bank(&timbre.muffler, 0.8),
            flow_noise: Random::new(seed, 5),
            housing: Bank::new(&housing, 0.1, 5_000.0, rate),
            knocks: Random::new(seed, 6),
            knock_angles,
            base: Chain::high_pass(12.0, 1, rate),
        }
    }

    /// The next block of gas, flow and mechanics (all of one length).
    pub(super) fn take(&mut self, gas: &mut [f64], flow: &mut [f64], mechanical: &mut [f64]) {
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
    }

    /// Lays the pulses of a turn on the bands.
    pub(super) fn place(&mut self, turn: &Turn) {
        let timbre = &self.timbre;
        let loud = (1.0 / (turn.seconds * self.full)).powf(timbre.speed_exponent);
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
