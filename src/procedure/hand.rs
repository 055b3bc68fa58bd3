//! Carries out one task: prompts, waits, listens, reports. Throttle first, then the screw; a screw
//! moves at idle or with the engine off.
use serde::{Deserialize, Serialize};

use super::answer::Word;
use super::course::course;
use super::ear::Ear;
use super::facts::Facts;
use super::lever::Lever;
use super::prompt::Throttle;
use super::stage::StageKind;
use super::task::{Report, Task};
use super::voice::Voice;
use super::words::Cue;
use crate::guide::Screw;

/// Without an answer a turn is taken as made after so long, in seconds: three of reaction, and time
/// to turn.
const TURNED: f64 = 6.5;
/// And what is done with the engine off.
const OFF: f64 = 25.0;
/// An effect of a screw is heard when the idle has changed by this share.
const EFFECT: f64 = 0.03;
/// The engine answers to a screw within so many seconds.
const ANSWERS: f64 = 2.0;
/// A change that goes on is listened to again.
const DRIFTS: f64 = 0.015;
/// A start is given up after so long, in seconds.
const START: f64 = 45.0;
/// An engine that is said to run is heard after so long, or it has died again, in seconds.
const HEARD_TO_RUN: f64 = 8.0;
/// Full throttle must be heard so long after it was asked for, in seconds.
const OPENS: f64 = 5.6;
/// A snap is over after so long, in seconds.
const SNAP: f64 = 14.0;
/// Somebody who answers is waited for so long, in seconds, nobody for so long.
const LOOKS: f64 = 12.0;
const NOBODY: f64 = 4.0;
/// The stop stands so long before it is the end, in seconds.
const REPAIR: f64 = 25.0;

/// The task in hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Hand {
    pub(super) task: Task,
    phase: Phase,
    since: f64,
    /// Idle speed before a screw was turned or the throttle opened.
    before: Option<f64>,
    again: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
enum Phase {
    /// Nothing has been said yet.
    Begin,
    /// The throttle is being closed.
    Closing,
    /// Full throttle waits for its rest.
    Resting,
    /// The prompt stands.
    Waiting,
    /// Full throttle is heard, not yet steady.
    Rising,
    /// Listening since.
    Listening,
}

/// What a task sees of the rest.
pub(super) struct Scene<'a> {
    pub(super) now: f64,
    pub(super) stage: StageKind,
    pub(super) ear: &'a Ear,
    pub(super) lever: &'a mut Lever,
    pub(super) facts: &'a Facts,
    pub(super) voice: &'a mut Voice,
    /// Whether the technician ever answered.
    pub(super) answered: bool,
    /// When a screw was last turned.
    pub(super) turned_at: f64,
    /// A word for the prompt that stands.
    pub(super) word: Option<Word>,
}

impl Scene<'_> {
    fn say(&mut self, cue: Cue) {
        self.voice
            .say(self.stage, cue, self.facts, self.lever, self.now);
    }

    fn speed(&self) -> Option<f64> {
        self.ear.speed_since(self.now - 1.2)
    }
}

impl Hand {
    pub(super) fn new(task: Task, now: f64) -> Hand {
        Hand {
            task,
            phase: Phase::Begin,
            since: now,
            before: None,
            again: 0,
        }
    }

    /// Whether a screw's prompt stands, so that it must not be asked for anew.
    pub(super) fn screw_asked(&self) -> bool {
        matches!(
            self.task,
            Task::Turn { .. } | Task::TurnStopped { .. } | Task::Set { .. }
        ) && self.phase == Phase::Waiting
    }

    /// From its beginning once more; a screw that was asked for stays asked.
    pub(super) fn restart(&mut self, now: f64) {
        if !self.screw_asked() {
            self.phase = Phase::Begin;
        }
        self.since = now;
    }

    /// Time that does not count.
    pub(super) fn hold(&mut self, seconds: f64) {
        self.since += seconds;
    }

    /// How long no speed may be readable before the task is held up, in seconds.
    pub(super) fn bears_silence(&self) -> f64 {
        match (self.task, self.phase) {
            (Task::Full { .. } | Task::Snap, Phase::Waiting | Phase::Rising) => 3.0,
            (Task::Full { .. }, _) => 1.2,
            _ => 3.0,
        }
    }

    fn go(&mut self, phase: Phase, now: f64) {
        self.phase = phase;
        self.since = now;
    }

    /// One hop of the task; what came of it when it is over.
    pub(super) fn advance(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        match self.task {
            Task::Check(_) | Task::Found | Task::Set { .. } | Task::TurnStopped { .. } => {
                self.engine_off(scene)
            }
            Task::Stop { wait } => self.stop(scene, wait),
            Task::Start => self.start(scene),
            Task::Vary { seconds } => self.vary(scene, seconds),
            Task::Turn { screw, turns, .. } => self.turn(scene, screw, turns.turns()),
            Task::Idle { seconds } => self.idle(scene, seconds),
            Task::Attachment => self.attachment(scene),
            Task::Full { seconds } => self.full(scene, seconds),
            Task::Snap => self.snap(scene),
            Task::Enrich { turns } => self.enrich(scene, Cue::RicherNow(turns)),
            Task::Repair => self.repair(scene),
        }
    }

    fn elapsed(&self, scene: &Scene<'_>) -> f64 {
        scene.now - self.since
    }

    fn engine_off(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if self.phase == Phase::Begin {
            if super::guard::is_open(scene.lever) {
                scene.say(Cue::Close);
            }
            scene.say(Cue::Task(self.task));
            self.go(Phase::Waiting, scene.now);
            return None;
        }
        match scene.word {
            Some(Word::Done) => Some(Report::Done),
            Some(Word::AtStop) => Some(Report::AtStop),
            Some(Word::Cannot) => Some(Report::Cannot),
            _ => (self.elapsed(scene) > OFF).then_some(Report::Done),
        }
    }

    fn stop(&mut self, scene: &mut Scene<'_>, wait: f64) -> Option<Report> {
        match self.phase {
            Phase::Begin => {
                if scene.lever.asked == Throttle::Stop && scene.ear.lost_for(scene.now) > 1.0 {
                    self.go(Phase::Listening, scene.now);
                } else {
                    scene.say(Cue::Task(self.task));
                    self.go(Phase::Waiting, scene.now);
                }
                None
            }
            Phase::Waiting => {
                let quiet = scene.ear.lost_for(scene.now) > 1.0 && self.elapsed(scene) > 1.0;
                if quiet || scene.word == Some(Word::Done) || self.elapsed(scene) > OFF {
                    self.go(Phase::Listening, scene.now);
                }
                None
            }
            _ => (self.elapsed(scene) >= wait).then_some(Report::Done),
        }
    }

    fn start(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if self.phase == Phase::Begin {
            scene.say(Cue::Task(self.task));
            self.go(Phase::Waiting, scene.now);
            return None;
        }
        let runs = self.elapsed(scene) > 2.0
            && scene.ear.lost_for(scene.now) < 0.5
            && scene.ear.speed_since(scene.now - 1.8).is_some();
        match scene.word {
            // Said to run, it must also be heard to.
            Some(Word::Started) => self.go(Phase::Listening, scene.now),
            Some(Word::Cannot | Word::Stalled) => return Some(Report::Cannot),
            _ => {}
        }
        let patience = if self.phase == Phase::Listening {
            HEARD_TO_RUN
        } else {
            START
        };
        if runs {
            return Some(Report::Done);
        }
        (self.elapsed(scene) > patience).then_some(Report::Cannot)
    }

    /// Makes sure of idle; true when it is heard.
    fn closed(&mut self, scene: &mut Scene<'_>) -> bool {
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

    fn vary(&mut self, scene: &mut Scene<'_>, seconds: f64) -> Option<Report> {
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

    fn turn(&mut self, scene: &mut Scene<'_>, screw: Screw, turns: f64) -> Option<Report> {
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
            && self.elapsed(scene) > 3.0 + 4.0 * turns
            && self
                .before
                .zip(scene.speed())
                .is_some_and(|(before, now)| (now / before - 1.0).abs() > EFFECT)
            && scene.ear.steady_since(scene.now - 1.6, 0.5 * EFFECT);
        (changed || self.elapsed(scene) > TURNED + 4.0 * turns).then_some(Report::Done)
    }

    fn idle(&mut self, scene: &mut Scene<'_>, seconds: f64) -> Option<Report> {
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

    fn attachment(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if self.phase != Phase::Waiting {
            if self.closed(scene) {
                scene.say(Cue::Task(self.task));
                self.go(Phase::Waiting, scene.now);
            }
            return None;
        }
        let rpm = scene.ear.speed_since(scene.now - 2.0)?;
        let seen = match scene.word {
            Some(Word::AttachmentTurning) => Some(true),
            Some(Word::AttachmentStill) => Some(false),
            _ => None,
        };
        let patience = if scene.answered { LOOKS } else { NOBODY };
        if seen.is_some() {
            return Some(Report::Attachment(seen, rpm));
        }
        (self.elapsed(scene) > patience).then(|| {
            // Nobody looks: only above the clutch's own speed it surely turns.
            let above = scene.facts.clutch_in.is_some_and(|clutch| rpm >= clutch);
            Report::Attachment(above.then_some(true), rpm)
        })
    }

    fn full(&mut self, scene: &mut Scene<'_>, seconds: f64) -> Option<Report> {
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
                    self.go(Phase::Rising, scene.now);
                } else if self.elapsed(scene) > OPENS || scene.lever.is_over(scene.now) {
                    scene.say(Cue::Close);
                    return Some(Report::NotOpened);
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
                if self.elapsed(scene) >= seconds + 0.3 {
                    return self.leave(scene);
                }
                self.heard_out(scene)
            }
        }
    }

    /// The time at full throttle is over before the look is complete.
    fn heard_out(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if scene.lever.is_over(scene.now) {
            self.leave(scene)
        } else {
            None
        }
    }

    fn leave(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        let look = scene.ear.look(self.since, scene.now);
        scene.say(Cue::Close);
        if let Some(look) = look.filter(|look| look.seconds > 0.8) {
            scene.lever.last_full = Some(look.rpm);
            return Some(Report::Heard(look));
        }
        Some(Report::Nothing)
    }

    fn snap(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
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
        let idle = self.before?;
        let over = self.elapsed(scene) > SNAP;
        let found = course(scene.ear, self.since, idle, scene.facts.open_above());
        match found {
            Some((snapped, back)) if back || over => {
                scene.lever.ask(Throttle::Idle, scene.lever.at);
                scene.lever.rested(scene.now);
                Some(Report::Snapped(snapped))
            }
            None if over => {
                scene.say(Cue::Close);
                Some(Report::NotOpened)
            }
            _ => None,
        }
    }

    fn enrich(&mut self, scene: &mut Scene<'_>, cue: Cue) -> Option<Report> {
        match self.phase {
            Phase::Begin => {
                scene.say(Cue::CloseNow);
                self.go(Phase::Closing, scene.now);
                None
            }
            Phase::Closing => {
                if scene.lever.idle_heard(scene.ear, scene.facts, scene.now) {
                    scene.lever.rested(scene.now);
                    scene.say(cue);
                    self.go(Phase::Waiting, scene.now);
                } else if self.elapsed(scene) > 4.0 {
                    scene.say(Cue::CloseNow);
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

    fn repair(&mut self, scene: &mut Scene<'_>) -> Option<Report> {
        if self.phase == Phase::Begin {
            scene.say(Cue::Task(self.task));
            self.go(Phase::Waiting, scene.now);
            return None;
        }
        match scene.word {
            Some(Word::Resume) => Some(Report::Done),
            Some(Word::Cannot) => Some(Report::Cannot),
            _ => (self.elapsed(scene) > REPAIR).then_some(Report::Cannot),
        }
    }
}
