//! From one task to the next: what came of it is written down, and the steps say what follows.
use super::machine::Procedure;
use super::outcome::{Outcome, Verdict};
use super::prompt::Throttle;
use super::stage::{Next, Stage, StageKind};
use super::stuck::{Stuck, Symptom};
use super::task::{Report, Task};
use super::words::Cue;
use super::{guard, hand::Hand, idle_ear};
use crate::guide::{Direction, Screw};

/// After so many tasks without result, one after the other, the step cannot be done.
const FRUITLESS: u32 = 8;
/// After so many the step of the high-speed screw is asked again.
const DEAF: u32 = 3;
/// So many times over the maximum after all: no screw explains it.
const TOO_OFTEN: u32 = 12;
/// As often it may have seemed to be over it, after the high-speed screw was set.
const ONCE: u32 = 1;
/// Steps take no more tasks than this at one moment; a step that does is wrong.
const AT_ONCE: u32 = 32;

impl Procedure {
    /// Something came of the task in hand.
    pub(super) fn came(&mut self, report: Report) -> Option<Outcome> {
        let mut report = report;
        match (self.hand.task, report) {
            (Task::Repair, Report::Cannot) => return Some(self.outcome(Verdict::Stopped)),
            (
                Task::Turn {
                    screw,
                    direction,
                    turns,
                }
                | Task::TurnStopped {
                    screw,
                    direction,
                    turns,
                },
                _,
            ) => {
                self.turned_at = self.now;
                match report {
                    Report::Done => {
                        self.last_turn = Some((screw, direction, turns));
                        self.book.screws.turned(screw, direction, turns);
                        self.book.turned(screw);
                    }
                    _ => self.book.screws.at_stop(screw, direction),
                }
            }
            (Task::Enrich { turns }, _) => {
                self.turned_at = self.now;
                if self.surely_over {
                    self.book.was_over();
                }
                let out = Direction::Out;
                if report == Report::Done {
                    self.book.screws.turned(Screw::High, out, turns);
                } else {
                    self.book.screws.at_stop(Screw::High, out);
                }
                report = Report::OverMaximum {
                    surely: self.surely_over,
                    misheard: self.misheard,
                };
            }
            (Task::Set { screw, .. }, Report::Done) => self.book.screws.set(screw),
            (Task::Stop { .. }, _) => self.ear.forget(),
            (Task::Start, Report::Done) => self.lever.ask(Throttle::Idle, self.now),
            (Task::Idle { .. }, Report::Heard(look)) => {
                let look = self.book.idle_look(look);
                self.book.idle = Some(look);
                report = Report::Heard(look);
            }
            (Task::Attachment, Report::Attachment(seen, rpm)) => {
                let rpm = self.book.idle_again(rpm);
                report = Report::Attachment(seen, rpm);
                if let Some(turning) = seen.filter(|_| self.book.answered) {
                    self.book.attachment(turning, rpm);
                }
            }
            _ => {}
        }
        if report == Report::Nothing {
            self.fruitless += 1;
            let deaf = matches!(self.stage, Stage::High(_)) && self.fruitless.is_multiple_of(DEAF);
            if deaf {
                return self.run(Report::Unheard);
            }
            if self.fruitless < FRUITLESS {
                let tries = self.hand.tries + 1;
                if self.may_be_too_slow_to_hear() {
                    self.take_up(idle_ear::FASTER);
                    return None;
                }
                self.take_up(self.hand.task.again(tries));
                self.hand.tries = tries;
                return None;
            }
            return self.stuck(Symptom::Rounds);
        }
        self.fruitless = 0;
        if let Report::OverMaximum { surely, misheard } = report
            && self.is_past_high()
        {
            self.book.over += u32::from(!misheard);
            self.book.doubted += 1;
            if self.book.over >= TOO_OFTEN {
                return self.stuck(Symptom::TooFast);
            }
            if surely || self.book.doubted > ONCE {
                // What has been judged before no longer holds.
                self.go_back(StageKind::High);
                return self.run(Report::Begin);
            }
        }
        self.run(report)
    }

    /// Whether the idle is not heard, and was too slow when it last was.
    fn may_be_too_slow_to_hear(&self) -> bool {
        let early = matches!(
            self.stage,
            Stage::Start(_) | Stage::Warm(_) | Stage::Edge(_) | Stage::Settle(_)
        );
        early
            && matches!(self.hand.task, Task::Idle { .. })
            && matches!(self.fruitless, 3 | 5)
            && self.book.idle_was_slow()
            && !self.book.at_stop(Screw::Idle, Direction::In)
    }

    /// Whether the high-speed screw has been set, and comes no more on the way.
    fn is_past_high(&self) -> bool {
        let last = self.route.iter().rposition(|kind| *kind == StageKind::High);
        last.is_some_and(|last| self.at > last) && self.aside.is_none()
    }

    fn go_back(&mut self, kind: StageKind) {
        self.at = self
            .route
            .iter()
            .rposition(|k| *k == kind)
            .unwrap_or(self.at);
        self.stage = kind.begin();
    }

    /// Lets the steps go on until there is a task.
    pub(super) fn run(&mut self, report: Report) -> Option<Outcome> {
        let mut report = report;
        if !self.book.facts.can_be_set {
            self.say(Cue::NoScrews);
            return Some(self.outcome(Verdict::Stopped));
        }
        for _ in 0..AT_ONCE {
            match self.stage.next(&mut self.book, report) {
                Next::Do(task) => {
                    if guard::allows(&self.book, &self.ear, &task, self.now) {
                        self.take_up(task);
                        return None;
                    }
                    self.fruitless += 1;
                    if self.fruitless > FRUITLESS {
                        return self.stuck(Symptom::Rounds);
                    }
                    report = Report::Nothing;
                }
                Next::Stuck(symptom) => return self.stuck(symptom),
                Next::Back(kind) => {
                    self.go_back(kind);
                    report = Report::Begin;
                }
                Next::Done => match self.after() {
                    Some(next) => report = next,
                    None => {
                        self.say(Cue::Finished);
                        return Some(self.outcome(Verdict::Tuned));
                    }
                },
            }
        }
        self.stuck(Symptom::Rounds)
    }

    /// The step after the one that is done; none at the end.
    fn after(&mut self) -> Option<Report> {
        if matches!(self.stage, Stage::Stuck(_)) {
            // Repaired: the engine is off; started, the step begins anew.
            self.symptom = None;
            self.aside = Some((self.route[self.at].begin(), None));
            self.stage = StageKind::Rescue.begin();
            return Some(Report::Begin);
        }
        if let Some((stage, task)) = self.aside.take() {
            self.stage = stage;
            return Some(if task.is_some() {
                Report::Stalled
            } else {
                Report::Begin
            });
        }
        self.at += 1;
        let kind = self.route.get(self.at)?;
        self.stage = kind.begin();
        Some(Report::Begin)
    }

    pub(super) fn take_up(&mut self, task: Task) {
        self.hand = Hand::new(task, self.now);
    }

    pub(super) fn stuck(&mut self, symptom: Symptom) -> Option<Outcome> {
        self.symptom = Some(symptom);
        let from = Some(self.route[self.at.min(self.route.len() - 1)]);
        self.aside = None;
        if guard::is_open(&self.lever) {
            self.say(Cue::Close);
        }
        self.stage = Stage::Stuck(Stuck { from });
        self.take_up(Task::Repair);
        None
    }
}
