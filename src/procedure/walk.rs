//! The state machine walked by hand, task by task, for the card.
use super::facts::Facts;
use super::guard;
use super::heard::Heard;
use super::machine::Procedure;
use super::outcome::{NetTurns, Outcome};
use super::stage::StageKind;
use super::task::{Report, Task};
use crate::units::Seconds;

impl Procedure {
    /// To its first task.
    pub(super) fn begin_walk(&mut self) -> Option<Outcome> {
        self.begun = true;
        self.book.answered = true;
        self.run(Report::Begin)
    }

    /// The step and the task in hand.
    pub(super) fn at_work(&self) -> (StageKind, Task) {
        (self.stage.kind(), self.hand.task)
    }

    /// The task in hand came to this.
    pub(super) fn walk(&mut self, now: Seconds, heard: Heard, report: Report) -> Option<Outcome> {
        self.now = now.0;
        self.ear
            .take(&[heard], guard::most_plausible(&self.book.facts));
        self.came(report)
    }

    pub(super) fn facts(&self) -> &Facts {
        &self.book.facts
    }

    pub(super) fn net_turns(&self) -> NetTurns {
        self.book.screws.net()
    }
}
