//! Tasks that turn a screw while the engine runs.
use super::answer::Word;
use super::hand::{Hand, Phase, Scene};
use super::task::Report;
use super::words::Cue;
use crate::guide::Screw;

/// Without an answer a turn is taken as made after so long, in seconds: three of reaction, and time
/// to turn.
const TURNED: f64 = 6.5;
/// An effect of a screw is heard when the idle has changed by this share.
const EFFECT: f64 = 0.03;
/// But not before the slowest hand has begun to turn, in seconds: what changes earlier is no effect,
/// and a new prompt would stop the turn half way.
const HEARD_FROM: f64 = 4.4;
/// A throttle that is not heard to close is asked for again after so long, in seconds.
const AGAIN: f64 = 4.0;

impl Hand {
    pub(super) fn turn(
        &mut self,
        scene: &mut Scene<'_>,
        screw: Screw,
        turns: f64,
    ) -> Option<Report> {
        if self.phase != Phase::Waiting {
            if self.closed(scene) {
                self.before = scene.speed();
                scene.say(Cue::Task(self.task));
                self.go(Phase::Waiting, scene.now);
            }
            return None;
        }
        match scene.word {
            Some(Word::Done) => return Some(Report::Done),
            Some(Word::AtStop) => return Some(Report::AtStop),
            Some(Word::Cannot) => return Some(Report::Cannot),
            _ => {}
        }
        let changed = screw != Screw::High
            && self.elapsed(scene) > HEARD_FROM + 3.0 * turns
            && self
                .before
                .zip(scene.speed())
                .is_some_and(|(before, now)| (now / before - 1.0).abs() > EFFECT)
            && scene.ear.steady_since(scene.now - 1.6, 0.5 * EFFECT);
        // Who answers says when it is done.
        let turned = TURNED + 4.0 * turns + if scene.answered { 2.0 } else { 0.0 };
        (changed || self.elapsed(scene) > turned).then_some(Report::Done)
    }

    pub(super) fn enrich(&mut self, scene: &mut Scene<'_>, cue: Cue) -> Option<Report> {
        match self.phase {
            Phase::Begin => {
                // Who is already closing it would only begin his reaction anew.
                if !scene.lever.is_closing(scene.now) {
                    scene.say(Cue::CloseNow);
                }
                self.go(Phase::Closing, scene.now);
                None
            }
            Phase::Closing => {
                if scene.lever.idle_heard(scene.ear, scene.facts, scene.now) {
                    scene.lever.rested(scene.now);
                    scene.say(cue);
                    self.go(Phase::Waiting, scene.now);
                } else if self.elapsed(scene) > AGAIN {
                    scene.voice.repeat();
                    self.go(Phase::Closing, scene.now);
                }
                None
            }
            _ => match scene.word {
                Some(Word::Done) => Some(Report::Done),
                Some(Word::AtStop) => Some(Report::AtStop),
                Some(Word::Cannot) => Some(Report::Cannot),
                _ => (self.elapsed(scene) > TURNED + 1.0).then_some(Report::Done),
            },
        }
    }
}
