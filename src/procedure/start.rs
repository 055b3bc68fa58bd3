//! Start, and an idle that keeps alive and does not drive the attachment.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::cure::Died;
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{Report, Task};
use crate::guide::{Direction, Screw};

/// So many turns of the idle-speed screw bring any idle where it keeps alive.
const MOST: u32 = 12;
/// Below this share of the slowest allowed idle it is near dying.
const DYING: f64 = 0.85;
const NEARLY_DEAD: f64 = 0.7;

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Start {
    moves: u32,
    doing: Doing,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
enum Doing {
    #[default]
    Starting,
    /// It did not start, and something is tried.
    Curing,
    Listening,
}

impl Start {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        match (self.doing, report) {
            (Doing::Starting, Report::Begin) => self.start(),
            (Doing::Starting, Report::Cannot | Report::Unheard) => {
                match book.cures.next(Died::Starting, &book.screws) {
                    Some(cure) => {
                        self.doing = Doing::Curing;
                        Next::Do(cure)
                    }
                    None => Next::Stuck(Symptom::WillNotRun),
                }
            }
            (Doing::Curing, _) => self.start(),
            (Doing::Listening, Report::Heard(look)) => self.keep_alive(book, look.rpm),
            (Doing::Starting | Doing::Listening, _) => {
                self.doing = Doing::Listening;
                Next::Do(Task::Idle { seconds: 3.0 })
            }
        }
    }

    fn start(&mut self) -> Next {
        self.doing = Doing::Starting;
        Next::Do(Task::Start)
    }

    /// Up until it does not die, down until the attachment is not driven.
    fn keep_alive(&mut self, book: &Book, rpm: f64) -> Next {
        let clutch = book.facts.clutch_in.unwrap_or(1.35 * book.facts.idle.1);
        let slow = rpm < DYING * book.facts.idle.0;
        let direction = if slow { Direction::In } else { Direction::Out };
        let stopped = book.at_stop(Screw::Idle, direction);
        if (!slow && rpm < 0.97 * clutch) || self.moves >= MOST || stopped {
            return Next::Done;
        }
        self.moves += 1;
        let far = rpm > 1.15 * clutch || rpm < NEARLY_DEAD * book.facts.idle.0;
        Next::Do(Task::turn(Screw::Idle, direction, if far { 8 } else { 4 }))
    }
}
