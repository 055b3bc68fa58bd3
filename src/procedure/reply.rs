//! What the technician says, and what it changes at once.
use super::answer::{Answer, Word};
use super::guard;
use super::machine::{Pause, Procedure};
use super::outcome::{Outcome, Verdict};
use super::stage::Stage;
use super::task::Report;
use super::words::Cue;

impl Procedure {
    /// Takes one answer; a word for the prompt that stands is left in `word`.
    pub(super) fn answer(&mut self, answer: &Answer, word: &mut Option<Word>) -> Option<Outcome> {
        self.book.answered = true;
        match answer.answer {
            Word::Quit => {
                if guard::is_open(&self.lever) {
                    self.say(Cue::Close);
                }
                let verdict = if matches!(self.stage, Stage::Stuck(_)) {
                    Verdict::Stopped
                } else {
                    Verdict::Unfinished
                };
                return Some(self.outcome(verdict));
            }
            Word::Pause => {
                self.keep_screw();
                if guard::over_maximum(&self.ear, &self.book.facts).is_some() {
                    self.say(Cue::CloseNow);
                } else if guard::is_open(&self.lever) {
                    self.say(Cue::Close);
                }
                self.pause = Some(Pause::Asked);
                self.say(Cue::Paused);
            }
            Word::Resume if self.pause == Some(Pause::Asked) => self.resume(),
            _ if self.pause == Some(Pause::Asked) => {}
            Word::Back => {
                self.pause = None;
                self.aside = None;
                self.at = self.at.saturating_sub(1);
                self.stage = self.route[self.at].begin();
                return self.run(Report::Begin);
            }
            // Heard to be too fast it has not stalled, whatever is said.
            Word::Stalled
                if self.hand.task.runs()
                    && guard::over_maximum(&self.ear, &self.book.facts).is_none() =>
            {
                self.pause = None;
                return self.rescue(true);
            }
            Word::Started if matches!(self.pause, Some(Pause::Lost { .. })) => {}
            given if self.voice.is_for_standing(answer) => *word = Some(given),
            _ => {}
        }
        None
    }

    /// A prompt of a screw that stands is kept, so that it can be repeated and is not made twice.
    pub(super) fn keep_screw(&mut self) {
        if self.hand.screw_asked() && self.pause.is_none() {
            self.voice.keep();
        }
    }

    pub(super) fn resume(&mut self) {
        self.pause = None;
        self.hand.restart(self.now);
        if self.hand.screw_asked() {
            self.voice.repeat_kept();
        }
    }
}
