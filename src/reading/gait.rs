//! How the speed moves from hop to hop: what tells a crank from a voice, a note or a hum.
//!
//! A crank wanders a little, slowly and by chance. A voice that is held swings five or six times a
//! second, a siren glides, a note and a hum stand still for as long as they last, and a hum stands
//! where the mains put it.
use crate::spectrum::HOP;
use crate::{capture::WORKING_RATE, units::Rpm};

/// Memories, per hop: of what follows the speed quickly (0.25 s), of means (1 s), and of
/// what stands for long (3 s).
const FAST: f64 = 0.062;
const SLOW: f64 = 0.016;
const LONG: f64 = 0.005;
/// Swings of a voice, in hertz (5 to 7 a second in trained singers: common knowledge of singing, no
/// source; wider here).
const SWINGS: [f64; 3] = [4.4, 5.5, 6.8];
/// Change of the natural logarithm of the speed in one hop, at most: more is a jump to another base.
const MOST: f64 = 0.1;

/// Follows one stretch of speeds.
#[derive(Clone, Debug, Default)]
pub struct Gait {
    last: f64,
    trend: f64,
    drift: f64,
    before: f64,
    /// Phase of each of [`SWINGS`] and the part of the changes that goes with it.
    swing: [(f64, f64, f64); SWINGS.len()],
    power: f64,
    short: f64,
    long: f64,
    spread: f64,
}

/// What a hop shows.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Change of the natural logarithm of the speed since the hop before.
    pub change: f64,
    /// What is left of the speed after a trend that follows in a quarter of a second, as a ratio.
    pub off: f64,
    /// This change times the one before.
    pub alike: f64,
    /// Share of the changes of the last quarter of a second that swings like a voice, 0 to about 1.
    pub swing: f64,
    /// Standard deviation over 3 s of the speed smoothed over a quarter of a second, as a ratio.
    pub spread: f64,
    /// Mean speed of the last 3 s.
    pub mean: Rpm,
}

impl Gait {
    /// Starts a stretch.
    pub fn new(speed: Rpm) -> Self {
        let speed = speed.0.ln();
        Gait {
            last: speed,
            trend: speed,
            short: speed,
            long: speed,
            ..Gait::default()
        }
    }

    /// Takes the next hop.
    pub fn step(&mut self, speed: Rpm) -> Step {
        let speed = speed.0.ln();
        let change = speed - std::mem::replace(&mut self.last, speed);
        let off = speed - self.trend - self.drift;
        self.trend += self.drift + 2.0 * FAST * off;
        self.drift += FAST * FAST * off;
        let small = if change.abs() < MOST { change } else { 0.0 };
        let alike = small * std::mem::replace(&mut self.before, small);
        self.power += FAST * (small * small - self.power);
        let mut strongest = 0.0f64;
        for ((phase, re, im), hertz) in self.swing.iter_mut().zip(SWINGS) {
            let turn = std::f64::consts::TAU * hertz * HOP as f64 / f64::from(WORKING_RATE);
            *phase = (*phase + turn) % std::f64::consts::TAU;
            *re += FAST * (small * phase.cos() - *re);
            *im += FAST * (small * phase.sin() - *im);
            strongest = strongest.max(*re * *re + *im * *im);
        }
        self.short += FAST * (speed - self.short);
        self.long += LONG * (self.short - self.long);
        let away = self.short - self.long;
        self.spread += LONG * ((away * away).min(0.01) - self.spread);
        Step {
            change,
            off,
            alike,
            swing: 2.0 * strongest / (self.power + 1e-10),
            spread: self.spread.sqrt(),
            mean: Rpm(self.long.exp()),
        }
    }
}

/// Memory of the means that are made of the steps.
pub(super) const MEAN: f64 = SLOW;
