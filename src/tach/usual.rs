//! The speeds at which an engine lingers: what its profile and its throttle say before it is heard.
use serde::{Deserialize, Serialize};

use super::evidence::{self, SPEEDS, WIDTH};
use crate::machine::SpeedRange;
use crate::units::Rpm;

/// Idle and full throttle without load of all classes together (ranges of the common-practice speeds
/// in [`crate::machine`]).
const ANY_IDLE: (f64, f64) = (1_900.0, 3_400.0);
const ANY_FULL: (f64, f64) = (5_800.0, 14_800.0);
/// Where most engines idle, and how fast they run at most (common practice, no source).
const COMMON_IDLE: (f64, f64) = (2_450.0, 3_100.0);
const COMMON_FULL: f64 = 11_000.0;
/// By how much one may be off its profile, as a ratio, and octaves beyond which it is all one.
const NEARLY: f64 = 1.04;
const FAR: f64 = 0.6;
/// A badly set engine idles half as fast again and at two thirds, and is at full throttle a third
/// slower, where it is far rich, or a quarter faster (common practice, no source).
const IDLES: (f64, f64) = (0.67, 1.5);
const REVS: (f64, f64) = (0.65, 1.25);
/// Log likelihood of a speed far from the one at which a throttle that is known lets the engine run.
const UNUSUAL: f64 = -4.0;
/// What a speed loses in the evidence of a hop for the square of its distance in octaves from the
/// nearest that is usual, and the most that it loses, with the throttle closed and open: the engine
/// that cannot rev is rarer than the one that is rich and fires every second turn, but it exists.
const CLOSED: (f64, f64) = (6.0, 9.0);
const OPEN: (f64, f64) = (14.0, 5.0);

/// How the throttle is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Throttle {
    /// At idle.
    Closed,
    /// Fully open.
    Open,
}

/// What is known of the speeds at which the engine lingers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Usual {
    /// Idle.
    pub idle: Option<SpeedRange>,
    /// Full throttle without load.
    pub full_throttle: Option<SpeedRange>,
    /// How the throttle is held, where somebody knows.
    pub throttle: Option<Throttle>,
}

impl Usual {
    /// Speeds with the throttle closed, badly set or well.
    fn closed(self) -> (f64, f64) {
        self.idle.map_or(ANY_IDLE, |range| {
            (IDLES.0 * range.low().0, IDLES.1 * range.high().0)
        })
    }

    /// Speeds with the throttle open, badly set or well.
    fn open(self) -> (f64, f64) {
        self.full_throttle.map_or(ANY_FULL, |range| {
            (REVS.0 * range.low().0, REVS.1 * range.high().0)
        })
    }

    /// Logarithm of how likely the engine runs at a speed for seconds, roughly: at idle and at full
    /// throttle, hardly between them or beyond; where the throttle is known, only there.
    pub(super) fn likely(self, speed: Rpm) -> f64 {
        let (idle, full) = (self.closed(), self.open());
        let within = |range: (f64, f64)| (range.0..range.1).contains(&speed.0);
        match self.throttle {
            Some(Throttle::Closed) if within(idle) => 0.0,
            Some(Throttle::Open) if within(full) => 0.0,
            Some(_) => UNUSUAL,
            None => match speed.0 {
                s if s < idle.0 => -3.0,
                s if s < idle.1 => 0.0,
                s if s < full.0 => -1.5,
                s if s < full.1 => 0.0,
                _ => -2.0,
            },
        }
    }

    /// How far a speed is from where an engine idles that is set well, in octaves; beyond `FAR` it is
    /// all one.
    pub(super) fn octaves_from_idle(self, speed: Rpm) -> f64 {
        let (low, high) = self.idle.map_or(COMMON_IDLE, |range| {
            (range.low().0 / NEARLY, NEARLY * range.high().0)
        });
        let octaves = (low / speed.0).max(speed.0 / high).log2();
        octaves.clamp(0.0, FAR)
    }

    /// How far a speed is beyond the fastest full throttle of an engine that is set well, in octaves.
    pub(super) fn octaves_beyond_full(self, speed: Rpm) -> f64 {
        let most = self
            .full_throttle
            .map_or(COMMON_FULL, |range| NEARLY * range.high().0);
        (speed.0 / most).log2().clamp(0.0, FAR)
    }

    /// Whether the throttle, where it is known, speaks against a speed.
    pub(super) fn excludes(self, speed: Rpm) -> bool {
        self.throttle.is_some() && self.likely(speed) <= UNUSUAL
    }

    /// What each speed of the grid loses in the evidence of every hop, where the throttle is known.
    pub(super) fn loss(self) -> Option<Box<[f32; WIDTH]>> {
        let (range, (steep, most)) = match self.throttle? {
            Throttle::Closed => (self.closed(), CLOSED),
            Throttle::Open => (self.open(), OPEN),
        };
        let mut loss = Box::new([0.0; WIDTH]);
        for (i, loss) in loss.iter_mut().enumerate().take(SPEEDS) {
            let speed = evidence::speed(i as f64).0;
            let octaves = (range.0 / speed).max(speed / range.1).log2().max(0.0);
            *loss = (steep * octaves * octaves).min(most) as f32;
        }
        Some(loss)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trimmer(throttle: Option<Throttle>) -> Usual {
        Usual {
            idle: Some(SpeedRange(Rpm(2_700.0), Rpm(3_000.0))),
            full_throttle: Some(SpeedRange(Rpm(8_800.0), Rpm(10_200.0))),
            throttle,
        }
    }

    fn lost(usual: Usual, rpm: f64) -> f32 {
        usual.loss().expect("the throttle is known")[evidence::place(Rpm(rpm)).round() as usize]
    }

    #[test]
    fn a_closed_throttle_speaks_against_multiples_of_the_idle() {
        let closed = trimmer(Some(Throttle::Closed));
        for idle in [2_000.0, 2_850.0, 4_300.0] {
            assert_eq!(lost(closed, idle), 0.0, "{idle}");
        }
        assert!(lost(closed, 2.0 * 2_850.0) > 0.3);
        assert!(lost(closed, 3.0 * 2_850.0) > 4.0);
        assert_eq!(lost(closed, 4.0 * 2_850.0), CLOSED.1 as f32);
        assert_eq!(closed.likely(Rpm(3.0 * 2_850.0)), UNUSUAL);
    }

    #[test]
    fn an_open_throttle_speaks_against_half_of_full_throttle() {
        let open = trimmer(Some(Throttle::Open));
        for full in [5_800.0, 6_700.0, 9_500.0, 12_500.0] {
            assert_eq!(lost(open, full), 0.0, "{full}");
        }
        assert!(lost(open, 9_500.0 / 2.0) > 1.0);
        assert_eq!(open.likely(Rpm(9_500.0 / 2.0)), UNUSUAL);
    }

    #[test]
    fn idle_and_full_throttle_are_near_those_of_the_profile() {
        let octaves = |usual: Usual, rpm: f64| usual.octaves_from_idle(Rpm(rpm));
        assert_eq!(octaves(trimmer(None), 2_850.0), 0.0);
        assert_eq!(octaves(Usual::default(), 2_850.0), 0.0);
        // An octave above the fast end: as far as it counts.
        assert_eq!(octaves(trimmer(None), 2.0 * NEARLY * 3_000.0), FAR);
        let beyond = |usual: Usual, rpm: f64| usual.octaves_beyond_full(Rpm(rpm));
        assert_eq!(beyond(trimmer(None), 10_200.0), 0.0);
        assert!((beyond(Usual::default(), 2f64.sqrt() * 11_000.0) - 0.5).abs() < 1e-9);
        let below = octaves(trimmer(None), 2_700.0 / NEARLY / 2f64.powf(0.25));
        assert!((below - 0.25).abs() < 1e-9);
    }

    #[test]
    fn nothing_is_lost_where_nobody_knows_the_throttle() {
        assert!(trimmer(None).loss().is_none());
    }
}
