//! The state machine: steps in their order, one task at a time, safety over all of them.
use serde::{Deserialize, Serialize};

use super::answer::{Answer, Word};
use super::begin::{AsFound, Begin};
use super::book::Book;
use super::ear::Ear;
use super::excess::{Over, RICHEST};
use super::facts::Facts;
use super::guard;
use super::hand::{Hand, Scene};
use super::heard::Heard;
use super::high::enrichment;
use super::lever::Lever;
use super::looks;
use super::outcome::{Outcome, Verdict};
use super::prompt::{Prompt, Throttle};
use super::proof;
use super::stage::{Stage, StageKind, route};
use super::stuck::{Symptom, faults};
use super::task::{Report, Task};
use super::voice::Voice;
use super::words::Cue;
use crate::guide::{Direction, Screw, Turn};
use crate::machine::Profile;
use crate::tach;
use crate::units::Seconds;

/// A lost reading that does not come back is taken for a stalled engine after so long, in seconds.
const STALLED: f64 = 9.0;
/// Somebody who answers says that it has stalled: from him no word is waited for longer.
const STALLED_UNSAID: f64 = 25.0;

/// From this skip ratio on it surely four-strokes.
const BURBLES: f64 = 0.3;
/// Richer by so much where it was hardly over the maximum, or only seemed to be.
const DOUBTED: Turn = Turn::thirty_seconds(1);

/// The whole adjustment as plain data: saved and read back it goes on exactly where it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Procedure {
    pub(super) book: Book,
    pub(super) ear: Ear,
    pub(super) lever: Lever,
    pub(super) voice: Voice,
    pub(super) route: Vec<StageKind>,
    /// Place in the route.
    pub(super) at: usize,
    pub(super) stage: Stage,
    pub(super) hand: Hand,
    /// The step that was left for a rescue, with its task.
    pub(super) aside: Option<(Stage, Option<Task>)>,
    pub(super) pause: Option<Pause>,
    pub(super) symptom: Option<Symptom>,
    pub(super) fruitless: u32,
    pub(super) stalls: u32,
    pub(super) now: f64,
    pub(super) turned_at: f64,
    /// The turn that was made then.
    pub(super) last_turn: Option<(Screw, Direction, Turn)>,
    /// Whether the last time over the maximum was surely one.
    pub(super) surely_over: bool,
    /// Whether no engine could have been so fast then.
    pub(super) misheard: bool,
    pub(super) begun: bool,
    pub(super) over: bool,
}

/// Why nothing goes on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum Pause {
    /// It was asked for; with the prompt of a screw that stood.
    Asked,
    /// Nothing is readable since.
    Lost { since: f64 },
}

/// What one step says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Step {
    /// New prompts, in their order.
    pub prompts: Vec<Prompt>,
    /// How it ended, once.
    pub outcome: Option<Outcome>,
}

impl Procedure {
    /// Begins a tuning of a machine.
    pub fn new(machine: &Profile, begin: Begin) -> Procedure {
        let facts = Facts::of(machine);
        let route = route(facts.carburetor, begin);
        Procedure {
            book: Book::new(facts),
            ear: Ear::default(),
            lever: Lever::new(begin.as_found != AsFound::Stopped),
            voice: Voice::default(),
            at: 0,
            stage: route[0].begin(),
            hand: Hand::new(Task::Found, 0.0),
            route,
            aside: None,
            pause: None,
            symptom: None,
            fruitless: 0,
            stalls: 0,
            now: 0.0,
            turned_at: 0.0,
            last_turn: None,
            surely_over: false,
            misheard: false,
            begun: false,
            over: false,
        }
    }

    /// One hop: `now` is the time of the latest sample received, `heard` the frames decided since
    /// the last call (each up to 0.3 s old), `answers` what the technician said and is due.
    pub fn step(&mut self, now: Seconds, heard: &[Heard], answers: &[Answer]) -> Step {
        if self.over || !now.0.is_finite() {
            return Step::default();
        }
        let passed = (now.0 - self.now).max(0.0);
        self.now = self.now.max(now.0);
        self.ear
            .take(heard, guard::most_plausible(&self.book.facts));
        self.lever.hear(&self.ear, &self.book.facts, self.now);
        let mut outcome = None;
        if !self.begun {
            self.begun = true;
            self.turned_at = self.now - 10.0;
            outcome = self.run(Report::Begin);
        }
        let mut word = None;
        for answer in answers {
            if outcome.is_none() {
                outcome = self.answer(answer, &mut word);
            }
        }
        if outcome.is_none() {
            outcome = self.go_on(passed, word);
        }
        self.over = outcome.is_some();
        Step {
            prompts: self.voice.take(),
            outcome,
        }
    }

    /// How the throttle is held; none where it is not sure.
    pub fn throttle(&self) -> Option<tach::Throttle> {
        self.lever.held
    }

    /// The input has ended.
    pub fn end(&mut self, now: Seconds) -> Outcome {
        if now.0.is_finite() {
            self.now = self.now.max(now.0);
        }
        self.over = true;
        self.outcome(Verdict::Unfinished)
    }

    fn go_on(&mut self, passed: f64, word: Option<Word>) -> Option<Outcome> {
        let enriching = matches!(self.hand.task, Task::Enrich { .. });
        if !enriching
            && !matches!(self.stage, Stage::Stuck(_))
            && self.pause.is_none_or(|pause| pause != Pause::Asked)
            && self.lever.asked != Throttle::Stop
            && let Some(speed) =
                guard::drives_over(&self.ear, &self.book.facts, self.hand.is_settled_full())
        {
            let maximum = self.book.facts.maximum.unwrap_or(speed);
            self.pause = None;
            let turns = self.over(speed, maximum);
            self.take_up(Task::Enrich { turns });
        }
        match self.pause {
            Some(Pause::Asked) => {
                self.hand.hold(passed);
                return None;
            }
            Some(Pause::Lost { since }) => {
                self.hand.hold(passed);
                let patience = if self.book.answered {
                    STALLED_UNSAID
                } else {
                    STALLED
                };
                let back = self.ear.lost_for(self.now) < 0.5
                    && self.ear.speed_since(self.now - 0.9).is_some();
                if back {
                    self.resume();
                } else if self.now - since > patience {
                    self.pause = None;
                    return self.rescue(false);
                } else {
                    return None;
                }
            }
            None if guard::lost(&self.ear, &self.hand, &self.lever, self.now) => {
                let cue = if guard::is_open(&self.lever) {
                    Cue::Over
                } else {
                    Cue::Lost
                };
                self.keep_screw();
                self.hand.hold_up(self.now);
                self.pause = Some(Pause::Lost { since: self.now });
                self.say(cue);
                return None;
            }
            None => {}
        }
        let mut word = word;
        let mut scene = Scene {
            now: self.now,
            stage: self.stage.kind(),
            ear: &self.ear,
            lever: &mut self.lever,
            facts: &self.book.facts,
            voice: &mut self.voice,
            answered: self.book.answered,
            turned_at: self.turned_at,
            word: word.take(),
        };
        let report = self.hand.advance(&mut scene)?;
        self.came(report)
    }

    /// It is heard over its maximum: what is made of that, and how much richer it is to be.
    fn over(&mut self, speed: f64, maximum: f64) -> Turn {
        let before = self.hand.is_full().then_some(self.hand.rose);
        let before = before.and_then(|rose| self.ear.before_jump(rose));
        // Slower than any full throttle it was the wrong one of the two.
        let slowest = self.book.facts.slowest.map_or(0.0, |s| RICHEST * s);
        let before = before.filter(|before| (slowest..maximum).contains(before));
        let cannot_be = looks::cannot_be(&self.book, speed);
        self.misheard = cannot_be || before.is_some();
        let truly = guard::truly_over(&self.ear, &self.book.facts)
            && self.lever.opens_fully()
            && !self.misheard;
        self.surely_over = truly && self.hand.is_settled_full();
        if !self.lever.opens_fully() || self.lever.asked == Throttle::Snap {
            return if truly {
                enrichment(speed, maximum)
            } else {
                DOUBTED
            };
        }
        let fits = || self.book.fits(speed).filter(|_| cannot_be);
        let over = Over {
            out: self.book.screws.high.out,
            rpm: speed,
            burbled: self.ear.skip_since(self.now - 0.5) >= Some(BURBLES),
            surely: !self.misheard && guard::can_be(speed, maximum),
            rather: before.or_else(fits),
        };
        self.book.heard_over(over, maximum)
    }

    pub(super) fn say(&mut self, cue: Cue) {
        self.voice.say(
            self.stage.kind(),
            cue,
            &self.book.facts,
            &mut self.lever,
            self.now,
        );
    }

    pub(super) fn outcome(&self, verdict: Verdict) -> Outcome {
        Outcome {
            verdict,
            proof: proof::lines(&self.book),
            net_turns: self.book.screws.net(),
            faults: self
                .symptom
                .filter(|_| verdict == Verdict::Stopped)
                .map_or_else(Vec::new, |symptom| faults(symptom, &self.book)),
        }
    }
}

/// A step on the way, for displays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The word that prompts carry as their step.
    pub step: &'static str,
    /// Its heading.
    pub title: &'static str,
}

impl Procedure {
    /// The steps of this tuning in their order, and which of them is under way.
    pub fn way(&self) -> (Vec<Place>, usize) {
        let place = |kind: &StageKind| Place {
            step: super::words::slug(*kind),
            title: super::words::title(*kind),
        };
        (self.route.iter().map(place).collect(), self.at)
    }
}
