//! The speed line: schedule, wander, hunting and limiter as a speed for every millisecond.
use std::f64::consts::PI;

use super::ceiling::Ceiling;
use super::engine_scene::{Course, Engine, Segment};
use super::plan::Plan;
use super::random::Random;

/// Step of the speed line in seconds; between two steps the speed is a straight line.
pub(super) const STEP: f64 = 1e-3;

/// One point of the speed line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    /// Revolutions a second; 0 while the engine does not run.
    pub(super) hertz: f64,
    /// Index of the step in the schedule.
    pub(super) segment: usize,
    /// The limiter takes the spark away.
    pub(super) cutting: bool,
}

/// Walks through the schedule, a millisecond at a time, without end.
#[derive(Clone, Debug)]
pub(super) struct SpeedLine {
    engine: Engine,
    segment: usize,
    elapsed: f64,
    from: f64,
    last: f64,
    random: Random,
    wander: Wander,
    restless: Wander,
    hunting_phase: f64,
    ceiling: Ceiling,
}

/// A slow random walk that returns to 0: an Ornstein–Uhlenbeck process, smoothed so that it has a
/// slope; standard deviation 1.
#[derive(Clone, Debug, Default)]
pub(super) struct Wander {
    raw: f64,
    smooth: f64,
    pull: f64,
    smoothing: f64,
    scale: f64,
}

impl Wander {
    /// Forgets itself within `time` seconds; changes within `smoothing` seconds are smoothed.
    pub(super) fn new(time: f64, smoothing: f64) -> Self {
        Wander {
            raw: 0.0,
            smooth: 0.0,
            pull: (-STEP / time).exp(),
            smoothing: 1.0 - (-STEP / smoothing).exp(),
            scale: ((time + smoothing) / time).sqrt(),
        }
    }

    /// One [`STEP`] on.
    pub(super) fn next(&mut self, random: &mut Random) -> f64 {
        self.raw = self.pull * self.raw + (1.0 - self.pull * self.pull).sqrt() * random.normal();
        self.smooth += self.smoothing * (self.raw - self.smooth);
        self.smooth * self.scale
    }
}

impl SpeedLine {
    pub(super) fn new(engine: &Engine, seed: u64) -> Self {
        let mut random = Random::new(seed, 1);
        let mut wander = Wander::new(1.5, 0.3);
        // Into the swing before the clip begins.
        for _ in 0..5_000 {
            wander.next(&mut random);
        }
        let first = engine.schedule.first().map_or(0.0, |s| s.rpm.hertz().0);
        SpeedLine {
            engine: engine.clone(),
            segment: 0,
            elapsed: 0.0,
            from: first,
            last: first,
            random,
            wander,
            restless: Wander::new(0.2, 0.06),
            hunting_phase: 0.0,
            ceiling: Ceiling::default(),
        }
    }

    /// The next point; the first one is at 0 s.
    pub(super) fn next(&mut self) -> Point {
        let count = self.engine.schedule.len();
        while self.segment + 1 < count
            && self.elapsed >= self.engine.schedule[self.segment].seconds.0 - 0.5 * STEP
        {
            self.elapsed -= self.engine.schedule[self.segment].seconds.0;
            self.segment += 1;
            self.from = self.last;
            self.hunting_phase = 0.0;
        }
        let wander = self.wander.next(&mut self.random);
        let restless = self.restless.next(&mut self.random);
        let Some(segment) = self.engine.schedule.get(self.segment) else {
            return Point {
                hertz: 0.0,
                segment: 0,
                cutting: false,
            };
        };
        let aim = segment.at(self.from, self.elapsed);
        self.last = if segment.course == Course::Off {
            segment.rpm.hertz().0
        } else {
            aim
        };
        let mut factor = 1.0 + 0.01 * self.engine.wander_percent * wander;
        if let Plan::Uneven { variation } = segment.firing {
            factor += 0.006 * variation * restless;
        }
        if let Some(hunting) = segment.hunting {
            // The rate itself wanders a little.
            self.hunting_phase += STEP * hunting.hertz.0 * (1.0 + 0.1 * wander);
            factor += 0.01 * hunting.depth_percent * (2.0 * PI * self.hunting_phase).sin();
        }
        let off = segment.course == Course::Off;
        self.elapsed += STEP;
        let wanted = if off { 0.0 } else { aim * factor.max(0.05) };
        let (hertz, cutting) = match &self.engine.limiter {
            Some(limiter) => self.ceiling.hold(limiter, wanted, &mut self.random),
            None => (wanted, false),
        };
        Point {
            hertz,
            segment: self.segment,
            cutting,
        }
    }
}

impl Segment {
    /// The speed wanted `elapsed` seconds into the step that began at `from`, in hertz.
    fn at(&self, from: f64, elapsed: f64) -> f64 {
        let to = self.rpm.hertz().0;
        let rise = self.rise.map_or(0.3, |s| s.0);
        match self.course {
            Course::Off | Course::Hold => to,
            Course::Ramp => from * (to / from).powf((elapsed / self.seconds.0.max(STEP)).min(1.0)),
            Course::Snap => {
                let (from, elapsed) = match self.bog {
                    None => (from, elapsed),
                    Some(bog) => {
                        let into = (elapsed / bog.seconds.0).min(1.0);
                        let dip = 0.01 * bog.depth_percent * (0.5 * PI * into).sin().powi(2);
                        (from * (1.0 - dip), (elapsed - bog.seconds.0).max(0.0))
                    }
                };
                let x = (elapsed / rise).min(1.0);
                from + (to - from) * x * x * (3.0 - 2.0 * x)
            }
            Course::Fall => match self.hang {
                None => to + (from - to) * (-elapsed / rise).exp(),
                Some(hang) => {
                    let plateau = hang.rpm.hertz().0;
                    let on_plateau = plateau + (from - plateau) * (-elapsed / rise).exp();
                    let after = elapsed - hang.seconds.0;
                    if after <= 0.0 {
                        on_plateau
                    } else {
                        let start = plateau + (from - plateau) * (-hang.seconds.0 / rise).exp();
                        to + (start - to) * (-after / rise).exp()
                    }
                }
            },
        }
    }
}
