//! The crank: turns with exact beginnings and ends, each with what the cylinders do in it.
use super::engine_scene::Engine;
use super::ignition::{Ignition, Stroke};
use super::plan::Plan;
use super::random::Random;
use super::speed::{Point, STEP, SpeedLine};
use crate::machine::Cycle;

/// One turn of the crank.
#[derive(Clone, Debug)]
pub(super) struct Turn {
    /// When it begins, in seconds.
    pub(super) start: f64,
    /// How long it takes.
    pub(super) seconds: f64,
    /// What the cylinders that are due in it do.
    pub(super) strokes: Vec<Stroke>,
}

/// A crank that follows the schedule of a scene.
#[derive(Clone, Debug)]
pub(super) struct Crank {
    line: SpeedLine,
    plans: Vec<Plan>,
    shaft: Shaft,
    time: f64,
}

/// Integrates the speed. Turn n begins where the smooth phase passes n + e, e being a small jitter
/// that returns to 0, so that the speed stays the truth however long it runs.
#[derive(Clone, Debug)]
pub(super) struct Shaft {
    ignition: Ignition,
    random: Random,
    jitter: Scale,
    variation: Scale,
    skip_lag: f64,
    two_stroke: bool,
    point: Point,
    time: f64,
    phase: f64,
    next: f64,
    offset: f64,
    slow: f64,
    usual: f64,
    late: f64,
    begun: Option<(f64, Vec<Stroke>)>,
}

/// A figure that goes from its idle to its full-throttle value on a logarithmic scale of speed.
#[derive(Clone, Copy, Debug)]
struct Scale {
    idle: f64,
    full: f64,
    low: f64,
    octaves: f64,
}

impl Scale {
    fn new(engine: &Engine, idle: f64, full: f64) -> Self {
        let low = engine.idle.hertz().0;
        Scale {
            idle,
            full,
            low,
            octaves: (engine.full.hertz().0 / low).log2(),
        }
    }

    fn at(&self, hertz: f64) -> f64 {
        let x = ((hertz / self.low).log2() / self.octaves).clamp(0.0, 1.0);
        self.idle + (self.full - self.idle) * x
    }
}

impl Crank {
    pub(super) fn new(engine: &Engine, seed: u64) -> Self {
        let mut line = SpeedLine::new(engine, seed);
        let first = line.next();
        Crank {
            line,
            plans: engine.schedule.iter().map(|s| s.firing.clone()).collect(),
            shaft: Shaft::new(engine, seed, first),
            time: 0.0,
        }
    }

    /// Walks on to `until` seconds and hands over every turn that ends before.
    pub(super) fn walk(&mut self, until: f64, mut turn: impl FnMut(Turn)) {
        while self.time < until {
            let next = self.line.next();
            let plan = self.plans.get(self.shaft.point.segment);
            self.shaft
                .step(next, plan.unwrap_or(&Plan::Clean), &mut turn);
            self.time += STEP;
        }
    }
}

impl Shaft {
    /// A shaft at the time 0 with the speed `first`; of the engine it takes the irregularities.
    pub(super) fn new(engine: &Engine, seed: u64, first: Point) -> Self {
        Shaft {
            ignition: Ignition::new(engine, seed),
            random: Random::new(seed, 3),
            jitter: Scale::new(
                engine,
                0.01 * engine.jitter_idle_percent,
                0.01 * engine.jitter_full_percent,
            ),
            variation: Scale::new(
                engine,
                engine.timbre.variation_idle,
                engine.timbre.variation_full,
            ),
            skip_lag: 0.01 * engine.skip_lag_percent,
            two_stroke: engine.cycle == Cycle::TwoStroke,
            point: first,
            time: 0.0,
            phase: 0.0,
            next: 0.0,
            offset: 0.0,
            slow: 0.0,
            usual: 0.0,
            late: 0.0,
            begun: None,
        }
    }

    /// Walks one [`STEP`] on, to the speed `next`, and hands over every turn that ends on the way;
    /// `plan` says which turns that begin on it fire.
    pub(super) fn step(&mut self, next: Point, plan: &Plan, mut turn: impl FnMut(Turn)) {
        // The speed is a straight line within the step, the phase a parabola.
        let (h0, h1) = (self.point.hertz, next.hertz);
        let end = self.phase + 0.5 * (h0 + h1) * STEP;
        if h0 <= 0.0 && h1 <= 0.0 {
            self.begun = None;
        }
        while self.next + self.offset < end {
            let need = (self.next + self.offset - self.phase).max(0.0);
            let slope = (h1 - h0) / STEP;
            // Solved in the form that does not lose digits where the slope is small.
            let root = (h0 * h0 + 2.0 * slope * need).max(0.0).sqrt();
            let into = if h0 + root > 0.0 {
                (2.0 * need / (h0 + root)).min(STEP)
            } else {
                0.0
            };
            self.boundary(self.time + into, plan, &mut turn);
        }
        self.phase = end;
        self.time += STEP;
        self.point = next;
    }

    fn boundary(&mut self, time: f64, plan: &Plan, turn: &mut impl FnMut(Turn)) {
        let hertz = self.point.hertz.max(1.0);
        let mut strokes = Vec::with_capacity(4);
        self.ignition.turn(
            self.point,
            plan,
            self.variation.at(hertz),
            1.0 / hertz,
            &mut strokes,
        );
        let skipped = strokes.iter().any(|s| !s.fired);
        if let Some((start, strokes)) = self.begun.replace((time, strokes)) {
            let seconds = time - start;
            if seconds > 0.0 {
                turn(Turn {
                    start,
                    seconds,
                    strokes,
                });
            }
        }
        self.next += 1.0;
        const MEMORY: f64 = 0.7;
        self.slow = MEMORY * self.slow
            + (1.0f64 - MEMORY * MEMORY).sqrt() * self.jitter.at(hertz) * self.random.normal();
        // A turn without a firing takes longer; the usual share of skips is in the speed already.
        let lag = if skipped && self.two_stroke {
            self.skip_lag
        } else {
            0.0
        };
        self.usual += 0.02 * (lag - self.usual);
        self.late = 0.8 * self.late + lag - self.usual;
        self.offset = (self.slow + self.late).clamp(-0.3, 0.3);
    }
}
