//! The engine has died on the way: the step is left, and taken up again when it runs.
use super::cure::{Died, undone};
use super::guard;
use super::hand::Phase;
use super::machine::Procedure;
use super::outcome::Outcome;
use super::prompt::Throttle;
use super::stage::{Stage, StageKind};
use super::stuck::Symptom;
use super::task::{Report, Task};
use super::words::Cue;

/// So many stalls, and no screw helps.
const MOST_STALLS: u32 = 16;
/// An engine that dies so soon after a turn has died of it, in seconds.
const JUST_TURNED: f64 = 14.0;

impl Procedure {
    /// The engine has stalled; `seen` by somebody, or inferred from silence.
    pub(super) fn rescue(&mut self, seen: bool) -> Option<Outcome> {
        self.stalls += 1;
        self.ear.forget();
        if self.stalls > MOST_STALLS {
            return self.stuck(Symptom::WillNotRun);
        }
        let died = self.died();
        let opened = guard::is_open(&self.lever);
        if opened {
            self.say(Cue::Close);
        }
        if matches!(self.stage, Stage::Stuck(_)) {
            return None;
        }
        let stage = std::mem::replace(&mut self.stage, StageKind::Rescue.begin());
        if self.aside.is_none() {
            self.book.died_at_low = self.book.screws.low.out;
            self.aside = Some((stage, Some(self.hand.task)));
        }
        self.lever.ask(Throttle::Idle, self.now);
        self.lever.rested(self.now);
        // Heard to fall silent once, it may have been the throttle or the hearing.
        let cure = died.filter(|_| seen || self.stalls > 1).and_then(|died| {
            let last = self.last_turn.take();
            last.filter(|_| self.now - self.turned_at < JUST_TURNED && died == Died::Idling)
                .and_then(|(screw, direction, turns)| undone(screw, direction, turns))
                .or_else(|| self.book.cures.next(died, &self.book.screws))
        });
        if let Stage::Rescue(rescue) = &mut self.stage {
            rescue.cure = cure;
        }
        self.run(Report::Begin)
    }

    /// When it died; none after it has run at full throttle, which no idle cures.
    fn died(&mut self) -> Option<Died> {
        let at_full = matches!(self.hand.task, Task::Full { .. })
            && matches!(self.hand.phase, Phase::Rising | Phase::Listening);
        if at_full {
            self.book.sign(Symptom::Fades);
            return None;
        }
        let opened = self.lever.was_full() || guard::is_open(&self.lever);
        Some(if opened { Died::Opening } else { Died::Idling })
    }
}
