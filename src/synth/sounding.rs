//! The sound of an engine on the bench, as a microphone beside it takes it, turn by turn.
use std::collections::VecDeque;

use super::body::Body;
use super::crank::Turn;
use super::engine::PARTS;
use super::engine_mix::EngineMix;
use super::engine_scene::{Course, Engine, Segment};
use super::microphone::{Recorder, Response};
use super::plan::Plan;
use super::room::Path;
use super::scene::{Colour, Microphone, Noise, Room};
use super::source::{BLOCK, Source};
use super::speed::STEP;
use super::weather::{Brown, Hiss};
use super::whirl::Whirl;
use crate::units::{Rpm, Seconds};

/// How far the sound trails the engine: a turn is placed when it ends, and its pulse reaches a
/// little before it. Turns at 700 rpm or faster are kept whole.
pub(super) const BEHIND: f64 = 0.1;

/// What stands between engine and sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surroundings {
    /// Broadband noise against the engine at idle, as recorded.
    pub noise: Noise,
    /// The place.
    pub room: Room,
    /// The recorder; its level is that at full throttle.
    pub microphone: Microphone,
}

/// Renders the turns of a crank that runs ahead by [`BEHIND`].
pub(super) struct Sounding {
    rate: f64,
    full: f64,
    body: Body,
    whirls: [Option<Whirl>; 2],
    gains: [f64; PARTS],
    /// Speeds of the steps that are not yet heard, in hertz.
    hertz: VecDeque<f64>,
    /// Number of the first of them, and of samples taken.
    step: u64,
    sample: u64,
    path: Path,
    response: Response,
    hiss: Box<dyn Source>,
    hiss_response: Response,
    hiss_gain: f64,
    gain: f64,
    recorder: Recorder,
    parts: [Vec<f64>; 5],
}

impl Sounding {
    pub(super) fn new(engine: &Engine, around: &Surroundings, seed: u64, rate: f64) -> Self {
        let held = |rpm: Rpm| {
            let whole = Segment::new(Course::Hold, rpm, Seconds(60.0), Plan::Clean);
            Engine {
                schedule: vec![whole],
                limiter: None,
                ..engine.clone()
            }
        };
        // Levels hold for clean running at full throttle; noise is told against the idle.
        let gains = EngineMix::new(&held(engine.full), seed, rate, Seconds(1.5)).gains();
        let recorded = |rpm: Rpm| {
            let mut mix = EngineMix::with_gains(&held(rpm), gains, seed, rate);
            let mut path = Path::new(&around.room, seed, 0, rate);
            power(&mut mix, rate, around, |x| path.run(x))
        };
        let mut hiss = hiss(around.noise.colour, seed, rate);
        let noise = power(&mut *hiss, rate, around, |x| x);
        let wanted = recorded(engine.idle) / around.noise.snr.amplitude().powi(2);
        let whirl = |rotor: &Option<_>, stream, wander| {
            rotor
                .as_ref()
                .map(|r| Whirl::new(r, engine, seed, stream, wander, rate))
        };
        let full = recorded(engine.full) + wanted;
        Sounding {
            rate,
            full: engine.full.hertz().0,
            body: Body::new(engine, seed, rate, 2.0 * BEHIND),
            whirls: [
                whirl(&engine.timbre.fan, 7, 0.0),
                whirl(&engine.timbre.chain, 8, 0.15),
            ],
            gains,
            hertz: VecDeque::new(),
            step: 0,
            sample: 0,
            path: Path::new(&around.room, seed, 0, rate),
            response: Response::new(&around.microphone, rate),
            hiss,
            hiss_response: Response::new(&around.microphone, rate),
            hiss_gain: (wanted / noise.max(1e-30)).sqrt(),
            gain: around.microphone.level_dbfs.amplitude() / full.max(1e-30).sqrt(),
            recorder: Recorder::new(&around.microphone, rate),
            parts: std::array::from_fn(|_| Vec::new()),
        }
    }

    /// A turn of the crank, in the engine's time.
    pub(super) fn turn(&mut self, turn: &mut Turn) {
        turn.start += BEHIND;
        self.body.place(turn);
    }

    /// The speed of the next step, in hertz, 0 for a crank that stands.
    pub(super) fn speed(&mut self, hertz: f64) {
        self.hertz.push_back(hertz.min(1.6 * self.full));
    }

    /// The next samples; the engine must have been walked to their end.
    pub(super) fn take(&mut self, out: &mut [f32]) {
        for part in &mut self.parts {
            part.resize(out.len(), 0.0);
        }
        for i in 0..out.len() {
            self.parts[4][i] = self.heard_speed();
        }
        let [gas, flow, mechanical, noise, hertz] = &mut self.parts;
        self.body.take(gas, flow, mechanical);
        for block in noise.chunks_mut(BLOCK) {
            self.hiss.fill(block);
        }
        for (i, y) in out.iter_mut().enumerate() {
            let mut x =
                self.gains[0] * gas[i] + self.gains[1] * flow[i] + self.gains[2] * mechanical[i];
            for (whirl, gain) in self.whirls.iter_mut().zip(&self.gains[3..]) {
                if let Some(whirl) = whirl {
                    x += gain * whirl.run(hertz[i]);
                }
            }
            let engine = self.response.run(self.path.run(x));
            let hiss = self.hiss_gain * self.hiss_response.run(noise[i]);
            *y = self.recorder.run(self.gain * (engine + hiss));
        }
    }

    /// The crank's speed that belongs to the next sample.
    fn heard_speed(&mut self) -> f64 {
        let time = self.sample as f64 / self.rate - BEHIND;
        self.sample += 1;
        let step = (time / STEP).floor();
        if step < 0.0 {
            return 0.0;
        }
        while self.step < step as u64 && self.hertz.len() > 2 {
            self.hertz.pop_front();
            self.step += 1;
        }
        let at = |i| self.hertz.get(i).copied().unwrap_or(0.0);
        at(0) + (at(1) - at(0)) * (time / STEP - step)
    }
}

fn hiss(colour: Colour, seed: u64, rate: f64) -> Box<dyn Source> {
    match colour {
        Colour::White => Box::new(Hiss::white(seed)),
        Colour::Pink => Box::new(Hiss::pink(seed)),
        Colour::Brown => Box::new(Brown::new(seed, rate)),
    }
}

/// Mean power of a source at the recorder, over a second and a half.
fn power(
    source: &mut dyn Source,
    rate: f64,
    around: &Surroundings,
    mut way: impl FnMut(f64) -> f64,
) -> f64 {
    let mut response = Response::new(&around.microphone, rate);
    let mut block = vec![0.0; BLOCK];
    let blocks = (1.5 * rate / BLOCK as f64) as usize;
    let (mut sum, mut count) = (0.0, 0);
    for i in 0..blocks {
        source.fill(&mut block);
        for &x in &block {
            let y = response.run(way(x));
            // The filters' start does not count.
            if i > blocks / 4 {
                sum += y * y;
                count += 1;
            }
        }
    }
    sum / f64::from(count.max(1))
}
