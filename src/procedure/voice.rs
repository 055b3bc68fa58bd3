//! Gives prompts their numbers and remembers which one stands.
use serde::{Deserialize, Serialize};

use super::answer::{Answer, Word};
use super::facts::Facts;
use super::lever::Lever;
use super::prompt::{Prompt, Reference, Throttle};
use super::stage::StageKind;
use super::task::Task;
use super::words::{self, Cue};
use crate::guide::{Direction, Screw, Turn};

/// The prompts so far.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Voice {
    next: u32,
    standing: Option<Prompt>,
    kept: Option<Prompt>,
    /// Not yet handed out.
    fresh: Vec<Prompt>,
}

impl Voice {
    pub(super) fn take(&mut self) -> Vec<Prompt> {
        std::mem::take(&mut self.fresh)
    }

    /// Whether an answer is meant for the prompt that stands.
    pub(super) fn is_for_standing(&self, answer: &Answer) -> bool {
        answer
            .id
            .is_none_or(|id| self.standing.as_ref().is_some_and(|p| p.id == id))
    }

    /// Keeps the prompt that stands for `repeat_kept`.
    pub(super) fn keep(&mut self) {
        self.kept.clone_from(&self.standing);
    }

    /// The kept prompt once more, with its number: asks for nothing new.
    pub(super) fn repeat_kept(&mut self) {
        if let Some(prompt) = self.kept.take() {
            self.standing = Some(prompt.clone());
            self.fresh.push(prompt);
        }
    }

    /// The prompt that stands once more.
    pub(super) fn repeat(&mut self) {
        self.fresh.extend(self.standing.clone());
    }

    /// A new prompt; a throttle in it is asked of the lever.
    pub(super) fn say(
        &mut self,
        stage: StageKind,
        cue: Cue,
        facts: &Facts,
        lever: &mut Lever,
        now: f64,
    ) {
        let throttle = throttle(&cue).or_else(|| {
            // Who waits lets go of the throttle.
            let runs = !matches!(lever.asked, Throttle::Stop | Throttle::Start);
            (cue == Cue::Paused && runs).then_some(Throttle::Idle)
        });
        if let Some(throttle) = throttle {
            lever.ask(throttle, now);
        }
        let (screw, direction, turns, from) = screw(&cue)
            .map_or((None, None, None, None), |(s, d, t, f)| {
                (Some(s), Some(d), Some(t), Some(f))
            });
        let prompt = Prompt {
            id: self.next,
            step: words::slug(stage).to_owned(),
            say: words::say(stage, &cue, facts),
            // A prompt replaces the one before it, also one that was not yet obeyed: whoever needs
            // the throttle closed says so again.
            throttle: throttle.or_else(|| at_idle(&cue).then_some(Throttle::Idle)),
            screw,
            direction,
            turns,
            from,
            ask: ask(&cue).map(<[Word]>::to_vec),
            urgent: matches!(cue, Cue::CloseNow | Cue::RicherNow(_)),
        };
        self.next += 1;
        self.standing = Some(prompt.clone());
        self.fresh.push(prompt);
    }
}

fn throttle(cue: &Cue) -> Option<Throttle> {
    match cue {
        Cue::Close | Cue::CloseNow | Cue::Over => Some(Throttle::Idle),
        Cue::Task(task) => match task {
            Task::Stop { .. } | Task::Repair => Some(Throttle::Stop),
            Task::Start => Some(Throttle::Start),
            Task::Vary { .. } => Some(Throttle::Part),
            Task::Full { .. } => Some(Throttle::Full),
            Task::Snap => Some(Throttle::Snap),
            _ => None,
        },
        _ => None,
    }
}

/// Whether it is done with the throttle closed.
fn at_idle(cue: &Cue) -> bool {
    matches!(
        cue,
        Cue::RicherNow(_)
            | Cue::Lost
            | Cue::Task(
                Task::Turn { .. } | Task::Idle { .. } | Task::Attachment | Task::Enrich { .. }
            )
    )
}

fn screw(cue: &Cue) -> Option<(Screw, Direction, Turn, Reference)> {
    match *cue {
        Cue::RicherNow(turns) => Some((Screw::High, Direction::Out, turns, Reference::Here)),
        Cue::Task(
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
        ) => Some((screw, direction, turns, Reference::Here)),
        Cue::Task(Task::Set {
            screw,
            from,
            direction,
            turns,
        }) => Some((screw, direction, turns, from)),
        _ => None,
    }
}

fn ask(cue: &Cue) -> Option<&'static [Word]> {
    match cue {
        Cue::RicherNow(_) => Some(&[Word::Done, Word::AtStop, Word::Cannot]),
        Cue::Lost => Some(&[Word::Stalled, Word::Quit]),
        Cue::Paused => Some(&[Word::Resume, Word::Quit]),
        Cue::Task(task) => match task {
            Task::Check(_) | Task::Found => Some(&[Word::Done, Word::Cannot]),
            Task::Set { .. } | Task::TurnStopped { .. } => {
                Some(&[Word::Done, Word::AtStop, Word::Cannot])
            }
            Task::Turn { .. } => Some(&[Word::Done, Word::AtStop, Word::Cannot, Word::Stalled]),
            Task::Stop { .. } => Some(&[Word::Done]),
            Task::Start => Some(&[Word::Started, Word::Stalled, Word::Cannot]),
            Task::Attachment => Some(&[
                Word::AttachmentStill,
                Word::AttachmentTurning,
                Word::Stalled,
            ]),
            Task::Vary { .. } | Task::Idle { .. } | Task::Full { .. } | Task::Snap => {
                Some(&[Word::Stalled])
            }
            Task::Repair => Some(&[Word::Resume, Word::Quit]),
            _ => None,
        },
        _ => None,
    }
}
