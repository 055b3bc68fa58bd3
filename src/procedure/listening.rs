//! Tasks that only listen, and the throttle on its way back to idle.
use super::answer::Word;
use super::hand::{Hand, Phase, Scene};
use super::prompt::Throttle;
use super::task::Report;
use super::words::Cue;

/// The engine answers to a screw within so many seconds.
pub(super) const ANSWERS: f64 = 2.0;
/// A change that goes on is listened to again.
const DRIFTS: f64 = 0.015;
/// Somebody who answers is waited for so long, in seconds, nobody for so long.
const LOOKS: f64 = 12.0;
const NOBODY: f64 = 4.0;

impl Hand {
    /// Makes sure of idle; true when it is heard.
    pub(super) fn closed(&mut self, scene: &mut Scene<'_>) -> bool {
        if self.phase == Phase::Begin {
            if matches!(
                scene.lever.asked,
                Throttle::Full | Throttle::Part | Throttle::Snap
            ) {
                scene.say(Cue::Close);
            }
            self.go(Phase::Closing, scene.now);
        }
        let idle = scene.lever.idle_heard(scene.ear, scene.facts, scene.now);
        if idle {
            scene.lever.rested(scene.now);
        }
        idle
    }

    pub(super) fn vary(&mut self, scene: &mut Scene<'_>, seconds: f64) -> Option<Report> {
        match self.phase {
            Phase::Begin | Phase::Closing => {
                if self.closed(scene) {
                    scene.say(Cue::Task(self.task));
                    self.go(Phase::Waiting, scene.now);
                }
                None
            }
            _ => (self.elapsed(scene) >= seconds).then(|| {
                scene.say(Cue::Close);
                Report::Done
            }),
        }
    }

    pub(super) fn idle(&mut self, scene: &mut Scene<'_>, seconds: f64) -> Option<Report> {
        match self.phase {
            Phase::Begin | Phase::Closing => {
                if self.closed(scene) {
                    scene.say(Cue::Task(self.task));
                    self.go(Phase::Listening, scene.now.max(scene.turned_at + ANSWERS));
                }
                None
            }
            _ => {
                if self.elapsed(scene) < seconds + 0.3 {
                    return None;
                }
                let Some(look) = scene.ear.look(self.since, scene.now) else {
                    return Some(Report::Nothing);
                };
                if look.drift.abs() > DRIFTS && self.again < 2 && seconds < 10.0 {
                    self.again += 1;
                    self.go(Phase::Listening, scene.now - 0.3 * seconds);
                    return None;
                }
                Some(Report::Heard(look))
            }
        }
    }

    pub(super) fn attachment(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if self.phase != Phase::Waiting {
            if self.closed(scene) {
                scene.say(Cue::Task(self.task));
                self.go(Phase::Waiting, scene.now);
            }
            return None;
        }
        let seen = match scene.word {
            Some(Word::AttachmentTurning) => Some(true),
            Some(Word::AttachmentStill) => Some(false),
            _ => None,
        };
        self.seen = seen.or(self.seen);
        let patience = if scene.answered { LOOKS } else { NOBODY };
        // What nobody sees takes a longer look.
        let heard = if self.seen.is_some() { 2.0 } else { 3.5 };
        let rpm = scene
            .ear
            .speed_since(scene.now - heard)
            .or_else(|| scene.ear.speed_since(scene.now - 6.0))?;
        if self.seen.is_some() {
            return Some(Report::Attachment(self.seen, rpm));
        }
        (self.elapsed(scene) > patience).then(|| {
            // Nobody looks: only above the clutch's own speed it surely turns.
            let above = scene.facts.clutch_in.is_some_and(|clutch| rpm >= clutch);
            Report::Attachment(above.then_some(true), rpm)
        })
    }
}
