//! The throttle: what was asked of it, how long it has been open, how long it has to rest.
use serde::{Deserialize, Serialize};

use super::ear::{Ear, by_factor};
use super::facts::Facts;
use super::prompt::Throttle;
use crate::tach;

/// The throttle is asked to close so long after it was asked to open fully: with a hand that takes
/// up to three seconds it is closed within the ten seconds of `trade::FULL_THROTTLE_SECONDS`.
pub(super) const CLOSE_AFTER: f64 = 6.9;
/// Time after which a throttle that is asked to be closed is so although the speed goes on swinging, if it
/// was an idle for so long, in seconds.
const SWINGS: f64 = 20.0;
const SWING: f64 = 4.0;
/// An engine that hangs is taken to be at idle after so many seconds, whatever its speed.
const PATIENCE: f64 = 5.0;

/// The longest that a hand takes to do as it is asked, and that an engine takes to come down to idle,
/// in seconds (common practice, no source).
const HAND: f64 = 3.2;
const FALLS: f64 = 1.5;
/// So many seconds of sound show that the speed is another.
const NOTICED: f64 = 0.3;
/// Above the idle by this the throttle has left it.
const OFF_IDLE: f64 = 1.3;

/// The throttle was never open longer than this, in seconds.
const LONGEST_REST: f64 = 14.0;

/// The throttle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Lever {
    pub(super) asked: Throttle,
    /// When that was.
    pub(super) at: f64,
    /// When it was last asked to open fully, as long as the rest is not yet counted.
    full_since: Option<f64>,
    /// It must not be opened fully before.
    rest_until: f64,
    /// The last speed at full throttle.
    pub(super) last_full: Option<f64>,
    /// How often what was heard at full throttle was too slow for it, and twice that too fast.
    #[serde(default)]
    pub(super) doubted: u32,
    /// Snaps that were asked for since one was last heard.
    #[serde(default)]
    pub(super) snaps: u32,
    /// How it is held, where that is sure.
    #[serde(default)]
    pub(super) held: Option<tach::Throttle>,
}

impl Lever {
    pub(super) fn new(running: bool) -> Lever {
        Lever {
            asked: if running {
                Throttle::Idle
            } else {
                Throttle::Stop
            },
            at: -PATIENCE,
            full_since: None,
            rest_until: 0.0,
            last_full: None,
            doubted: 0,
            snaps: 0,
            held: running.then_some(tach::Throttle::Closed),
        }
    }

    pub(super) fn ask(&mut self, throttle: Throttle, now: f64) {
        if matches!(throttle, Throttle::Full | Throttle::Snap) {
            self.full_since = Some(now);
        }
        self.asked = throttle;
        self.at = now;
    }

    /// Notices from the sound that a hand has done as it was asked, or takes it for granted when it
    /// has had its time.
    pub(super) fn hear(&mut self, ear: &Ear, facts: &Facts, now: f64) {
        let speed = ear.speed_since(now - NOTICED);
        let above = |limit: f64| speed.is_some_and(|speed| speed > limit);
        let below = |limit: f64| speed.is_some_and(|speed| speed < limit);
        let since = now - self.at;
        let off_idle = OFF_IDLE * facts.idle.1;
        match self.asked {
            Throttle::Full if above(off_idle) || since >= HAND => {
                self.held = Some(tach::Throttle::Open);
            }
            Throttle::Idle if below(facts.open_above()) || since >= HAND + FALLS => {
                self.held = Some(tach::Throttle::Closed);
            }
            Throttle::Full | Throttle::Idle => {}
            Throttle::Part | Throttle::Snap | Throttle::Start if below(off_idle) => {
                self.held = Some(tach::Throttle::Closed);
            }
            Throttle::Part | Throttle::Snap | Throttle::Start if above(off_idle) => {
                self.held = None
            }
            Throttle::Part | Throttle::Snap | Throttle::Start => {}
            Throttle::Stop => self.held = None,
        }
    }

    /// Whether the throttle is, or may be, fully open.
    pub(super) fn is_full(&self) -> bool {
        self.asked == Throttle::Full
    }

    /// Whether the throttle is fully open, or was and may not yet be closed.
    pub(super) fn opens_fully(&self) -> bool {
        matches!(self.asked, Throttle::Full | Throttle::Snap) || self.was_full()
    }

    /// Whether somebody was told to close the throttle and may not have done so yet.
    pub(super) fn is_closing(&self, now: f64) -> bool {
        self.asked == Throttle::Idle && self.full_since.is_some() && now - self.at < HAND
    }

    /// Whether the throttle was open fully and has not been heard to close since.
    pub(super) fn was_full(&self) -> bool {
        self.full_since.is_some()
    }

    /// Whether the time at full throttle is over.
    pub(super) fn is_over(&self, now: f64) -> bool {
        self.is_full() && now - self.at >= CLOSE_AFTER
    }

    /// Whether idle is heard: slow and steady, or at least no longer what full throttle was.
    pub(super) fn idle_heard(&self, ear: &Ear, facts: &Facts, now: f64) -> bool {
        if self.asked == Throttle::Full || self.asked == Throttle::Part {
            return false;
        }
        let Some(speed) = ear.speed_since(now - 0.8) else {
            return false;
        };
        let since = now - self.at;
        // An idle that hunts is never steady.
        let slow = ear.quantile_since(now - SWING, 0.85);
        let hunts = since > SWINGS && slow.is_some_and(|fastest| fastest < facts.open_above());
        if since < 0.5 || !(hunts || ear.steady_since(now - 1.0, 0.08)) {
            return false;
        }
        // Half of full throttle, before a hand has had its time, is rather misheard.
        if since < HAND + FALLS && self.last_full.is_some_and(|full| by_factor(speed, full)) {
            return false;
        }
        let no_longer_full = self.last_full.is_none_or(|full| speed < 0.8 * full);
        let far_from_full = facts.slowest.is_none_or(|low| speed < 0.8 * low);
        speed < facts.open_above() || (since > PATIENCE && no_longer_full && far_from_full)
    }

    /// Counts the rest from the moment in which idle is heard: as long as the throttle was open.
    pub(super) fn rested(&mut self, now: f64) {
        if let Some(since) = self.full_since.take() {
            self.rest_until = now + (now - since).min(LONGEST_REST);
        }
    }

    pub(super) fn may_open(&self, now: f64) -> bool {
        self.full_since.is_none() && now >= self.rest_until
    }
}

#[cfg(test)]
mod tests {
    use super::super::ear::tests::listen;
    use super::*;
    use crate::machine::Profile;

    #[test]
    fn an_idle_that_hunts_is_an_idle_after_a_while() {
        let facts = Facts::of(&Profile::default());
        let mut lever = Lever::new(true);
        lever.ask(Throttle::Idle, 10.0);
        // Between 2,700 and 3,500 rpm, five times in eight seconds.
        let hunts = |t: f64| 3_100.0 + 400.0 * (std::f64::consts::TAU * t / 1.6).sin();
        let heard = |to| lever.idle_heard(&listen(to, hunts), &facts, to);
        assert!(!heard(15.0));
        assert!(heard(10.0 + SWINGS + 1.0));
        // Steady ones at once, fast ones never.
        assert!(lever.idle_heard(&listen(12.0, |_| 3_100.0), &facts, 12.0));
        let fast = |t| 3.0 * hunts(t);
        assert!(!lever.idle_heard(&listen(40.0, fast), &facts, 40.0));
    }
}
