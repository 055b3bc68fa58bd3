//! Tasks that open the throttle fully.
use super::course::course;
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
/// A snap is over after so long, in seconds.
const SNAP: f64 = 14.0;

impl Hand {
    pub(super) fn full(&mut self, scene: &mut Scene<'_>, seconds: f64) -> Option<Report> {
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
                    scene.say(Cue::Close);
                    return Some(if missed && self.tries < MISSES {
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
            _ => {
                let heard = scene.ear.readable_since(self.since) >= READABLE;
                if self.elapsed(scene) >= seconds + 0.3 && heard {
                    return self.leave(scene);
                }
                self.heard_out(scene)
            }
        }
    }

    /// The time at full throttle is over before the look is complete.
    pub(super) fn heard_out(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if scene.lever.is_over(scene.now) {
            self.leave(scene)
        } else {
            None
        }
    }

    pub(super) fn leave(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        let look = scene.ear.look(self.since, scene.now);
        scene.say(Cue::Close);
        if let Some(mut look) = look.filter(|look| look.seconds > 0.8) {
            look.fallen = scene.ear.fallen_since(self.rose).unwrap_or(0.0);
            scene.lever.last_full = Some(look.rpm);
            return Some(Report::Heard(look));
        }
        Some(Report::Nothing)
    }

    pub(super) fn snap(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if matches!(self.phase, Phase::Begin | Phase::Closing) {
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
