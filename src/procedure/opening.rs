//! Tasks that open the throttle fully.
use super::course::course;
use super::ear::Look;
use super::hand::{Hand, Phase, Scene};
use super::prompt::Throttle;
use super::task::Report;
use super::words::Cue;
use crate::guide::trade::GOOD_RETURN_SECONDS;

/// Before full throttle the engine has so long to answer to a screw, in seconds.
const ANSWERS: f64 = 3.0;
/// Of a look so much must have been readable, or it goes on as long as it may.
const READABLE: f64 = 0.7;
/// What was not heard for longer than this may have been missed, in seconds.
const MISSED: f64 = 0.6;
/// Full throttle must be heard so long after it was asked for, in seconds.
const OPENS: f64 = 5.6;
/// So many openings of which a part was missed are made again, one after the other.
const MISSES: u32 = 5;
/// Above the idle by this it has left it.
const OFF_IDLE: f64 = 1.3;
/// Of an opening that may be too fast so much is heard before the throttle is asked to close, in
/// seconds: with a hand that takes three it is over the maximum for less than five. The rise is no look.
const BRIEF: f64 = 1.8;
const RISES: f64 = 0.85;
/// Another speed by this share, however it is heard, shows that the throttle was opened.
const OTHER: f64 = 0.12;
/// So long after it has left the idle a first look tells whether it can be one; slower than this share
/// of the slowest full throttle it cannot.
const TELLS: f64 = 1.2;
const TOO_SLOW: f64 = 0.7;
/// So many such looks are short; after that it is that slow.
const DOUBTED: u32 = 4;
/// A hand that was asked to close has done so when the speed of so many seconds is another by this share;
/// what was heard so long before that is full throttle.
const NOTICED: f64 = 0.2;
const LEFT: f64 = 0.04;
const BEFORE: f64 = 0.45;
/// It has closed after so long, in seconds.
const CLOSES: f64 = 3.2;
/// So many snaps one after the other that were not heard, and it is not asked for another.
const UNHEARD: u32 = 10;
/// A snap is over after so long, in seconds.
const SNAP: f64 = 14.0;

impl Hand {
    pub(super) fn full(&mut self, scene: &mut Scene<'_>, seconds: f64) -> Option<Report> {
        if self.is_hasty(scene) {
            scene.lever.doubted += u32::from(!self.task.is_short());
            return self.leave(scene);
        }
        match self.phase {
            Phase::Begin | Phase::Closing => {
                if self.closed(scene) {
                    self.go(Phase::Resting, scene.now);
                }
                None
            }
            Phase::Resting => {
                let idle = scene.lever.idle_heard(scene.ear, scene.facts, scene.now);
                let answered = scene.now >= scene.turned_at + ANSWERS;
                if idle && answered && scene.lever.may_open(scene.now) {
                    self.before = scene.speed();
                    scene.say(Cue::Task(self.task));
                    self.go(Phase::Waiting, scene.now);
                }
                None
            }
            Phase::Waiting => {
                let idle = self.before.unwrap_or(0.0);
                let opened = scene
                    .ear
                    .speed_since(scene.now - 0.5)
                    .is_some_and(|rpm| rpm > scene.facts.open_above() && rpm > 1.3 * idle);
                if opened {
                    self.rose = scene.now;
                    self.go(Phase::Rising, scene.now);
                } else if self.elapsed(scene) > OPENS || scene.lever.is_over(scene.now) {
                    let missed = scene.ear.longest_gap(scene.now - 1.5, scene.now) > MISSED;
                    let opened = scene
                        .ear
                        .warning_since(scene.now - 1.5, 0.5)
                        .is_some_and(|rpm| idle > 0.0 && (rpm / idle - 1.0).abs() > OTHER);
                    scene.say(Cue::Close);
                    return Some(if (missed || opened) && self.tries < MISSES {
                        Report::Nothing
                    } else {
                        Report::NotOpened
                    });
                }
                None
            }
            Phase::Rising => {
                let steady = scene.ear.steady_since(scene.now - 0.9, 0.02);
                if (steady && self.elapsed(scene) > 0.7) || self.elapsed(scene) > 1.6 {
                    self.go(Phase::Listening, scene.now - 0.2);
                }
                self.heard_out(scene)
            }
            Phase::Leaving => self.until_closed(scene),
            Phase::Listening => {
                let heard = scene.ear.readable_since(self.since) >= READABLE;
                if self.elapsed(scene) >= seconds + 0.3 && heard {
                    return self.leave(scene);
                }
                self.heard_out(scene)
            }
        }
    }

    /// Whether a short look is over, or a first one is of no use: it is heard slower than any full
    /// throttle, so that it may be twice as fast.
    fn is_hasty(&mut self, scene: &Scene<'_>) -> bool {
        if !matches!(
            self.phase,
            Phase::Waiting | Phase::Rising | Phase::Listening
        ) {
            return false;
        }
        let off_idle = || {
            let speed = scene.ear.warning_since(scene.now - 0.3, 0.5);
            let waited = scene.now - scene.lever.at > 0.8;
            let lost = waited && scene.ear.lost_for(scene.now) > 0.4;
            let idle = self.before.unwrap_or_else(|| scene.facts.idle_goal());
            lost || speed.is_some_and(|rpm| rpm > OFF_IDLE * idle)
        };
        if self.left.is_none() && off_idle() {
            self.left = Some(scene.now);
        }
        let Some(left) = self.left else {
            return false;
        };
        if self.task.is_short() || self.phase == Phase::Waiting {
            return self.task.is_short() && scene.now - left > BRIEF;
        }
        let doubtful = self.may_be_double(scene);
        let enough = if self.tries == 0 && scene.lever.doubted == 0 {
            TELLS
        } else {
            BRIEF
        };
        scene.now - left > enough && doubtful
    }

    /// Whether what is heard is too slow for full throttle, and twice that too fast, when nothing better is
    /// known yet.
    fn may_be_double(&self, scene: &Scene<'_>) -> bool {
        let Some((slowest, most)) = scene.facts.slowest.zip(scene.facts.maximum) else {
            return false;
        };
        let can_be = |rpm: f64| rpm >= TOO_SLOW * slowest;
        let known = scene.lever.last_full.is_some_and(can_be) || scene.lever.doubted >= DOUBTED;
        let speed = scene.ear.speed_since(scene.now - 0.4);
        !known && speed.is_some_and(|rpm| !can_be(rpm) && 2.0 * rpm > most)
    }

    /// The time at full throttle is over before the look is complete.
    pub(super) fn heard_out(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if scene.lever.is_over(scene.now) {
            self.leave(scene)
        } else {
            None
        }
    }

    /// Asks to close; what was heard is a look, if it is long enough.
    pub(super) fn leave(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        let from = self.left.filter(|_| self.task.is_short());
        let from = from.map_or(self.since, |left| self.since.max(left + RISES));
        let look = scene.ear.look(from, scene.now);
        let short = from > self.since || scene.lever.doubted > 1;
        let look = look.filter(|look| look.seconds > if short { 0.5 } else { 0.8 });
        scene.say(Cue::Close);
        let Some(mut look) = look else {
            return Some(Report::Nothing);
        };
        look.fallen = scene.ear.fallen_since(self.rose).unwrap_or(0.0);
        look.cleaned = scene.ear.cleaned_since(self.rose);
        scene.lever.last_full = Some(look.rpm);
        self.looked = Some((from, look));
        self.go(Phase::Leaving, scene.now);
        None
    }

    /// A hand takes its time to close, and what is heard until then counts too: light skipping is heard
    /// the better the longer it is listened to.
    fn until_closed(&mut self, scene: &Scene<'_>) -> Option<Report> {
        let Some((from, look)) = self.looked else {
            return Some(Report::Nothing);
        };
        let like = |rpm: f64| (rpm / look.rpm - 1.0).abs() < LEFT;
        let newest = scene.ear.newest().unwrap_or(scene.now);
        let open = scene.ear.speed_since(newest - NOTICED).is_some_and(like);
        if open && self.elapsed(scene) < CLOSES {
            return None;
        }
        let longer = scene.ear.look(from, self.since.max(newest - BEFORE));
        let longer = longer.filter(|longer| like(longer.rpm)).unwrap_or(look);
        Some(Report::Heard(Look {
            fallen: look.fallen,
            cleaned: look.cleaned,
            ..longer
        }))
    }

    pub(super) fn snap(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if matches!(self.phase, Phase::Begin | Phase::Closing) {
            if scene.lever.snaps >= UNHEARD {
                scene.lever.snaps = 0;
                return Some(Report::Unheard);
            }
            if self.closed(scene) {
                self.go(Phase::Resting, scene.now);
            }
            return None;
        }
        if self.phase == Phase::Resting {
            if scene.lever.idle_heard(scene.ear, scene.facts, scene.now)
                && scene.lever.may_open(scene.now)
            {
                self.before = scene.speed();
                scene.say(Cue::Task(self.task));
                scene.lever.snaps += 1;
                self.go(Phase::Waiting, scene.now);
            }
            return None;
        }
        let idle = self.before.unwrap_or_else(|| scene.facts.idle_goal());
        let over = self.elapsed(scene) > SNAP;
        let found = course(scene.ear, self.since, idle, scene.facts.open_above());
        match found {
            Some((snapped, back)) if back || over => {
                let missed = scene.ear.longest_gap(self.since, scene.now) > MISSED;
                scene.lever.ask(Throttle::Idle, scene.lever.at);
                scene.lever.rested(scene.now);
                // A bog that was not heard whole may be a gap in the hearing.
                let good = !snapped.bogged() && snapped.back < GOOD_RETURN_SECONDS;
                Some(if missed && !good && self.tries < MISSES {
                    Report::Nothing
                } else {
                    scene.lever.snaps = 0;
                    Report::Snapped(snapped)
                })
            }
            None if over => {
                let missed = scene.ear.longest_gap(self.since, scene.now) > MISSED;
                scene.say(Cue::Close);
                Some(if missed && self.tries < MISSES {
                    Report::Nothing
                } else {
                    Report::NotOpened
                })
            }
            _ => None,
        }
    }
}
