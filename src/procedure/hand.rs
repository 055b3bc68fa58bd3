//! Carries out one task: prompts, waits, listens, reports. Throttle first, then the screw; a screw
//! moves at idle or with the engine off.
use serde::{Deserialize, Serialize};

use super::answer::Word;
use super::ear::{Ear, Look};
use super::facts::Facts;
use super::lever::Lever;
use super::prompt::Throttle;
use super::stage::StageKind;
use super::task::{Report, Task};
use super::voice::Voice;
use super::words::Cue;

/// And what is done with the engine off.
const OFF: f64 = 25.0;
/// A start is given up after so long, in seconds.
const START: f64 = 45.0;
/// An engine that is said to run is heard after so long, or it has died again, in seconds.
const HEARD_TO_RUN: f64 = 8.0;
/// A throttle that is not heard to close is taken as closed after so long, in seconds.
const CLOSED: f64 = 8.0;
/// An engine that is said to run and cannot be heard is waited for so long, in seconds.
const UNHEARD: f64 = 30.0;
/// The throttle is varied for so long at least, in seconds.
const SHORTEST: f64 = 2.0;
/// The stop stands so long before it is the end, in seconds.
const REPAIR: f64 = 25.0;

/// The task in hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Hand {
    pub(super) task: Task,
    pub(super) phase: Phase,
    pub(super) since: f64,
    /// Idle speed before a screw was turned or the throttle opened.
    pub(super) before: Option<f64>,
    /// Since when full throttle is heard.
    pub(super) rose: f64,
    /// When the speed was first heard to have left the idle.
    #[serde(default)]
    pub(super) left: Option<f64>,
    pub(super) again: u32,
    /// How often it was begun in vain, one after the other.
    pub(super) tries: u32,
    /// What was said of the attachment.
    pub(super) seen: Option<bool>,
    /// What was heard of full throttle until it was asked to close, and since when.
    #[serde(default)]
    pub(super) looked: Option<(f64, Look)>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum Phase {
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
    /// Asked to close, full throttle is heard until it does.
    Leaving,
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
    pub(super) fn say(&mut self, cue: Cue) {
        self.voice
            .say(self.stage, cue, self.facts, self.lever, self.now);
    }

    pub(super) fn speed(&self) -> Option<f64> {
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
            rose: now,
            left: None,
            again: 0,
            tries: 0,
            seen: None,
            looked: None,
        }
    }

    /// Whether a screw's prompt stands, so that it must not be asked for anew.
    pub(super) fn screw_asked(&self) -> bool {
        matches!(
            self.task,
            Task::Turn { .. } | Task::TurnStopped { .. } | Task::Set { .. } | Task::Enrich { .. }
        ) && self.phase == Phase::Waiting
    }

    /// From its beginning once more; a screw that was asked for stays asked.
    pub(super) fn restart(&mut self, now: f64) {
        if !self.screw_asked() {
            self.phase = Phase::Begin;
        }
        self.since = now;
    }

    /// It is held up. A throttle that was varied until then warmed the engine: only the rest is asked for
    /// afterwards, or an engine that is hard to hear off idle would be warmed without end.
    pub(super) fn hold_up(&mut self, now: f64) {
        if let (Task::Vary { seconds }, Phase::Waiting) = (&mut self.task, &self.phase) {
            *seconds = (*seconds - (now - self.since)).ceil().max(SHORTEST);
        }
    }

    /// Whether full throttle has been heard for a while.
    pub(super) fn is_settled_full(&self) -> bool {
        matches!(self.task, Task::Full { .. })
            && matches!(self.phase, Phase::Listening | Phase::Leaving)
    }

    /// Whether full throttle was asked for and is heard.
    pub(super) fn is_full(&self) -> bool {
        matches!(self.task, Task::Full { .. })
            && matches!(
                self.phase,
                Phase::Rising | Phase::Listening | Phase::Leaving
            )
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
            // A new prompt would stop the turn half way.
            (Task::Turn { .. } | Task::Enrich { .. }, Phase::Waiting) => 9.0,
            _ => 3.0,
        }
    }

    pub(super) fn go(&mut self, phase: Phase, now: f64) {
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

    pub(super) fn elapsed(&self, scene: &Scene<'_>) -> f64 {
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
        if matches!(self.phase, Phase::Begin | Phase::Closing) && self.has_to_close(scene) {
            return None;
        }
        match self.phase {
            Phase::Begin | Phase::Closing => {
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

    /// An engine is stopped from idle, not from full throttle.
    fn has_to_close(&mut self, scene: &mut Scene<'_>) -> bool {
        let open = super::guard::is_open(scene.lever) || scene.lever.was_full();
        let closed = open && self.closed(scene);
        open && !closed && self.elapsed(scene) < CLOSED && scene.ear.lost_for(scene.now) < 1.0
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
            Some(Word::Started) if self.phase != Phase::Listening => {
                self.go(Phase::Listening, scene.now);
            }
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
        if self.phase == Phase::Listening
            && scene.answered
            && self.elapsed(scene) > HEARD_TO_RUN
            && self.again == 0
        {
            // Nobody says that it has died: it runs, and is not heard.
            self.again = 1;
            scene.say(Cue::Lost);
        }
        let patience = if self.again > 0 { UNHEARD } else { patience };
        (self.elapsed(scene) > patience).then_some(if self.again > 0 {
            Report::Unheard
        } else {
            Report::Cannot
        })
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
