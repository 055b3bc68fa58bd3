//! The engine's sound: every turn leaves its pulses in the air, rotors sing along.
use super::body::Body;
use super::crank::{Crank, Turn};
use super::engine_scene::Engine;
use super::speed::{Point, STEP, SpeedLine};
use super::timbre::Rotor;
use super::whirl::Whirl;

/// Parts of the engine's sound, in the order of the buffers.
pub(super) const PARTS: usize = 5;

/// How far the crank must be ahead of the sound: the longest turn (300 rpm) and the longest pulse.
const AHEAD: f64 = 0.5;

/// Renders the parts of an engine's sound, block by block.
#[derive(Clone, Debug)]
pub(super) struct EngineSound {
    rate: f64,
    time: f64,
    crank: Crank,
    body: Body,
    fan: Option<Singing>,
    chain: Option<Singing>,
}

impl EngineSound {
    pub(super) fn new(engine: &Engine, seed: u64, rate: f64) -> Self {
        let singing = |rotor: &Option<Rotor>, stream, wander| {
            rotor
                .as_ref()
                .map(|r| Singing::new(r, engine, seed, stream, wander, rate))
        };
        EngineSound {
            rate,
            time: 0.0,
            crank: Crank::new(engine, seed),
            body: Body::new(engine, seed, rate, 2.0 * AHEAD),
            fan: singing(&engine.timbre.fan, 7, 0.0),
            chain: singing(&engine.timbre.chain, 8, 0.15),
        }
    }

    /// The next block of every part (all buffers of one length); `turn` sees each turn once.
    pub(super) fn fill(&mut self, parts: &mut [Vec<f64>; PARTS], mut turn: impl FnMut(&Turn)) {
        let n = parts[0].len();
        let end = self.time + n as f64 / self.rate;
        let body = &mut self.body;
        self.crank.walk(end + AHEAD, |t| {
            body.place(&t);
            turn(&t);
        });
        let [gas, flow, mechanical, fan, chain] = parts;
        self.body.take(gas, flow, mechanical);
        for (part, singing) in [(fan, &mut self.fan), (chain, &mut self.chain)] {
            match singing {
                Some(singing) => singing.fill(part),
                None => part.fill(0.0),
            }
        }
        self.time = end;
    }
}

/// A rotor that follows the schedule.
#[derive(Clone, Debug)]
struct Singing {
    whirl: Whirl,
    line: SpeedLine,
    rate: f64,
    points: (Point, Point),
    step: usize,
    sample: u64,
}

impl Singing {
    fn new(rotor: &Rotor, engine: &Engine, seed: u64, stream: u64, wander: f64, rate: f64) -> Self {
        let mut line = SpeedLine::new(engine, seed);
        let points = (line.next(), line.next());
        Singing {
            whirl: Whirl::new(rotor, engine, seed, stream, wander, rate),
            line,
            rate,
            points,
            step: 0,
            sample: 0,
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
            *x = self.whirl.run(hertz);
        }
    }
}
