//! The last seconds of live sound: the speed and its steadiness.
use std::collections::VecDeque;

use super::Frame;
use crate::units::{Rpm, Seconds};

/// Seconds over which steadiness is judged: some forty turns of an idle each second.
const OVER: f64 = 3.0;
/// A mean is told over this many seconds: shorter than anything that a hand does at the throttle.
const NOW: f64 = 0.3;
/// Share of the frames that have to be readable.
const ENOUGH: f64 = 0.5;
/// Spread, as a share of the speed, up to which a speed is steady, and up to which it wavers (common
/// practice, no source: a healthy idle holds within 100 rpm of 3,000).
const STEADY: f64 = 0.02;
const WAVERING: f64 = 0.06;

/// How steady a speed is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Steadiness {
    /// Holds.
    Steady,
    /// Goes up and down a little.
    Wavering,
    /// Moves: the throttle does, or the idle hunts.
    Moving,
}

/// The speed over the last seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// Middle of the range of the last three seconds.
    pub middle: Rpm,
    /// Half of the range that holds nine tenths of the last three seconds.
    pub spread: Rpm,
}

impl Held {
    /// In words.
    pub fn steadiness(&self) -> Steadiness {
        let share = self.spread.0 / self.middle.0.max(1.0);
        if share <= STEADY {
            Steadiness::Steady
        } else if share <= WAVERING {
            Steadiness::Wavering
        } else {
            Steadiness::Moving
        }
    }
}

/// Remembers the frames of the last seconds.
#[derive(Clone, Debug, Default)]
pub struct Recent {
    frames: VecDeque<(f64, Option<f64>)>,
}

impl Recent {
    /// Takes the next frame.
    pub fn push(&mut self, frame: &Frame) {
        let t = frame.t.0;
        let rpm = frame.speed.ok().map(|speed| speed.rpm.0);
        self.frames.push_back((t, rpm));
        while self.frames.front().is_some_and(|(old, _)| *old <= t - OVER) {
            self.frames.pop_front();
        }
    }

    /// Median speed of the last third of a second; none where most of it is not readable.
    pub fn now(&self) -> Option<Rpm> {
        let speeds = self.speeds(NOW)?;
        Some(Rpm(speeds[speeds.len() / 2]))
    }

    /// Steadiness over the last three seconds; none where most of them is not readable, or before a
    /// second has come.
    pub fn held(&self) -> Option<Held> {
        let (first, last) = (self.frames.front()?.0, self.frames.back()?.0);
        if last - first < 1.0 {
            return None;
        }
        let speeds = self.speeds(OVER)?;
        let at = |share: f64| speeds[(share * (speeds.len() - 1) as f64).round() as usize];
        let (low, high) = (at(0.05), at(0.95));
        Some(Held {
            middle: Rpm(f64::midpoint(low, high)),
            spread: Rpm((high - low) / 2.0),
        })
    }

    /// Length of what is remembered.
    pub fn length() -> Seconds {
        Seconds(OVER)
    }

    /// The readable speeds of the last seconds, the lowest first.
    fn speeds(&self, over: f64) -> Option<Vec<f64>> {
        let from = self.frames.back()?.0 - over;
        let last = self.frames.iter().filter(|(t, _)| *t > from);
        let count = last.clone().count();
        let mut speeds: Vec<f64> = last.filter_map(|(_, rpm)| *rpm).collect();
        speeds.sort_by(f64::total_cmp);
        (!speeds.is_empty() && speeds.len() as f64 >= ENOUGH * count as f64).then_some(speeds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::firing::{Firing, FiringKind};
    use crate::tach::{Speed, Unreadable};
    use crate::units::Decibels;

    fn frame(t: f64, rpm: Option<f64>) -> Frame {
        Frame {
            t: Seconds(t),
            speed: rpm.map_or(Err(Unreadable::NoEngine), |rpm| {
                Ok(Speed {
                    rpm: Rpm(rpm),
                    low: Rpm(rpm),
                    high: Rpm(rpm),
                    confidence: 1.0,
                    other: None,
                })
            }),
            firing: Firing {
                kind: FiringKind::None,
                skip_ratio: None,
                pattern: None,
                sub_order: None,
                variation: None,
            },
            level: Decibels(-20.0),
            clipped: 0.0,
        }
    }

    fn recent(rpm: impl Fn(f64) -> Option<f64>, seconds: f64) -> Recent {
        let mut recent = Recent::default();
        for n in 0..(seconds / 0.016) as u32 {
            let t = 0.016 * f64::from(n);
            recent.push(&frame(t, rpm(t)));
        }
        recent
    }

    #[test]
    fn a_triangle_spreads_nine_tenths_of_its_height() {
        // 3,000 rpm and 300 up and down, once a second: 90 % of the time within 270.
        let triangle = |t: f64| 3_000.0 + 300.0 * (4.0 * (t.fract() - 0.5).abs() - 1.0);
        let held = recent(|t| Some(triangle(t)), 10.0).held().unwrap();
        assert!((held.middle.0 - 3_000.0).abs() < 5.0, "{held:?}");
        assert!((held.spread.0 - 270.0).abs() < 8.0, "{held:?}");
        assert_eq!(held.steadiness(), Steadiness::Moving);
    }

    #[test]
    fn what_is_old_or_unreadable_does_not_count() {
        let step = |t: f64| Some(if t < 5.0 { 9_000.0 } else { 3_000.0 });
        let after = recent(step, 9.0);
        assert_eq!(after.now(), Some(Rpm(3_000.0)));
        assert_eq!(after.held().unwrap().steadiness(), Steadiness::Steady);
        assert_eq!(recent(|_| None, 9.0).now(), None);
        let gone = recent(|t| (t < 8.0).then_some(3_000.0), 9.0);
        assert_eq!(gone.now(), None);
        assert!(
            gone.held().is_some(),
            "two of the three seconds are readable"
        );
        assert_eq!(recent(|_| Some(3_000.0), 0.5).held(), None);
    }
}
