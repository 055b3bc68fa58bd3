//! The ignition: which turns fire, and how strongly.
use super::engine_scene::Engine;
use super::plan::Plan;
use super::random::Random;
use super::speed::{Point, STEP};
use crate::machine::Cycle;

/// What one cylinder does in one turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stroke {
    /// Where in the turn, in degrees.
    pub(super) angle: f64,
    /// Fired with its full charge.
    pub(super) fired: bool,
    /// Strength of the exhaust pulse, about 1 for a firing.
    pub(super) strength: f64,
    /// Strength of the intake pulse.
    pub(super) breath: f64,
    /// Length of the exhaust pulse against the usual one.
    pub(super) length: f64,
}

/// Decides turn by turn.
#[derive(Clone, Debug)]
pub(super) struct Ignition {
    cylinders: Vec<Cylinder>,
    pumping: f64,
    recovery: f64,
    memory: f64,
    random: Random,
    turn: u64,
    segment: usize,
    /// Turns between two firings now (pattern `changing`).
    every: u8,
    /// Time until the pattern or the burst changes.
    left: f64,
    in_burst: bool,
}

#[derive(Clone, Debug)]
struct Cylinder {
    angle: f64,
    second_turn: Option<bool>,
    level: f64,
    since_firing: u32,
    count: usize,
    variation: f64,
}

impl Ignition {
    pub(super) fn new(engine: &Engine, seed: u64) -> Self {
        let n = usize::from(engine.cylinders);
        let span = match engine.cycle {
            Cycle::TwoStroke => 360.0,
            Cycle::FourStroke => 720.0,
        };
        let cylinders = (0..n)
            .map(|i| {
                let even = span * i as f64 / n as f64;
                let angle = engine.firing_angles.get(i).copied().unwrap_or(even) % span;
                Cylinder {
                    angle: angle % 360.0,
                    second_turn: (engine.cycle == Cycle::FourStroke).then_some(angle >= 360.0),
                    level: engine.cylinder_levels.get(i).copied().unwrap_or(1.0),
                    since_firing: 0,
                    count: 0,
                    variation: 0.0,
                }
            })
            .collect();
        Ignition {
            cylinders,
            pumping: engine.timbre.pumping,
            recovery: engine.timbre.recovery,
            memory: engine.timbre.memory,
            random: Random::new(seed, 2),
            turn: 0,
            segment: usize::MAX,
            every: 1,
            left: 0.0,
            in_burst: false,
        }
    }

    /// The strokes of the next turn by `plan`; `variation` is the coefficient of variation at this
    /// speed, `seconds` about how long the turn takes.
    pub(super) fn turn(
        &mut self,
        point: Point,
        plan: &Plan,
        variation: f64,
        seconds: f64,
        strokes: &mut Vec<Stroke>,
    ) {
        strokes.clear();
        if point.segment != self.segment {
            self.segment = point.segment;
            self.left = 0.0;
            self.in_burst = false;
        }
        self.pass_time(plan, seconds);
        let odd = self.turn % 2 == 1;
        self.turn += 1;
        for i in 0..self.cylinders.len() {
            if self.cylinders[i]
                .second_turn
                .is_some_and(|second| second != odd)
            {
                continue;
            }
            strokes.push(self.stroke(i, plan, variation, point.cutting));
        }
    }

    fn pass_time(&mut self, plan: &Plan, seconds: f64) {
        self.left -= seconds.max(STEP);
        if self.left > 0.0 {
            return;
        }
        match plan {
            Plan::Changing { dwell, .. } => {
                self.left = dwell.0 * self.random.between(0.4, 1.6);
                let other = [1, 2, 2, 3, 3, 4].map(|n| if n == self.every { 2 } else { n });
                self.every = self.random.one_of(&other);
            }
            Plan::Bursts { per_second, share } => {
                self.in_burst = !self.in_burst && *share > 0.0;
                let part = if self.in_burst { *share } else { 1.0 - *share };
                self.left = part / per_second * self.random.between(0.5, 1.5);
            }
            _ => {}
        }
    }

    fn stroke(&mut self, i: usize, plan: &Plan, variation: f64, cutting: bool) -> Stroke {
        let since = self.cylinders[i].since_firing;
        let every = self.every;
        let random = &mut self.random;
        let mut level = None;
        let fires = match plan {
            Plan::Clean | Plan::Uneven { .. } => true,
            Plan::Random { skip } => !random.chance(*skip),
            Plan::Every { turns, slips } => rhythm(since, u32::from(*turns), *slips, random),
            Plan::Changing { slips, .. } => rhythm(since, u32::from(every), *slips, random),
            Plan::Rich { excess, spread } => {
                // Each skipped turn flushes the cylinder by one unit of fresh charge.
                let purity = f64::from(since) - excess;
                random.chance(1.0 / (1.0 + (-4.0 * purity / spread).exp()))
            }
            Plan::Bursts { .. } => !self.in_burst || random.chance(0.08),
            Plan::Levels { levels } => {
                let x = levels[self.cylinders[i].count % levels.len()];
                level = Some(x);
                x > 0.0
            }
        } && !cutting;
        let cylinder = &mut self.cylinders[i];
        cylinder.count += 1;
        let random = &mut self.random;
        let spread = if let Plan::Uneven { variation } = plan {
            *variation
        } else {
            variation
        };
        // Neighbouring firings resemble each other, but a strong one is often followed by a weak one
        // when the engine burns unevenly.
        let memory = if spread > 0.18 { -0.2 } else { self.memory };
        cylinder.variation =
            memory * cylinder.variation + (1.0f64 - memory * memory).sqrt() * random.normal();
        let scatter = (1.0 + spread * cylinder.variation).max(0.15);
        let breath = 1.0 + 0.5 * spread.min(0.3) * random.normal();
        let length = (1.0 + 0.4 * spread * cylinder.variation + 0.2 * spread * random.normal())
            .clamp(0.5, 2.0);
        let skipped = cylinder.since_firing;
        cylinder.since_firing = if fires { 0 } else { skipped.saturating_add(1) };
        let angle = cylinder.angle;
        if let Some(level) = level {
            // Exact strengths, nothing random.
            return Stroke {
                angle,
                fired: fires,
                strength: if cutting { 0.0 } else { level * cylinder.level },
                breath: 1.0,
                length: 1.0,
            };
        }
        if fires {
            let fresh = 1.0 + self.recovery * (1.0 - (-f64::from(skipped)).exp());
            Stroke {
                angle,
                fired: true,
                strength: scatter * fresh * cylinder.level,
                breath,
                length,
            }
        } else {
            let strength = self.pumping * (1.0 + 0.3 * random.normal()).max(0.2) * cylinder.level;
            // Without combustion there is no sharp front and a little less suction.
            Stroke {
                angle,
                fired: false,
                strength,
                breath: 0.9 * breath,
                length: 1.8 * length,
            }
        }
    }
}

/// One firing in `turns` turns, with slips; `since` counts the turns without one.
fn rhythm(since: u32, turns: u32, slips: f64, random: &mut Random) -> bool {
    if since + 1 >= turns {
        turns == 1 || !random.chance(slips)
    } else {
        since + 2 >= turns && random.chance(0.5 * slips)
    }
}
