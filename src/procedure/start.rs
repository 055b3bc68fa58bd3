//! Start, and an idle that keeps alive and does not drive the attachment.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{Report, Task};
use crate::guide::{Direction, Screw, Turn};

/// So many quarter turns of the idle-speed screw bring any idle down.
const MOST: u32 = 10;
/// So many starts without an engine that keeps running.
const STARTS: u32 = 5;

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Start {
    starts: u32,
    moves: u32,
    doing: Doing,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
enum Doing {
    #[default]
    Starting,
    /// It did not start, and gets a faster idle.
    Faster,
    Listening,
}

impl Start {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        match (self.doing, report) {
            (Doing::Starting, Report::Begin) => self.start(),
            (Doing::Starting, Report::Cannot) => {
                self.starts += 1;
                if self.starts >= STARTS {
                    return Next::Stuck(Symptom::WillNotRun);
                }
                self.doing = Doing::Faster;
                Next::Do(Task::TurnStopped {
                    screw: Screw::Idle,
                    direction: Direction::In,
                    turns: Turn::QUARTER,
                })
            }
            (Doing::Faster, _) => self.start(),
            (Doing::Listening, Report::Heard(look)) => self.slower(book, look.rpm),
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

    /// Down until the attachment is not driven.
    fn slower(&mut self, book: &Book, rpm: f64) -> Next {
        let clutch = book.facts.clutch_in.unwrap_or(1.35 * book.facts.idle.1);
        let stopped = book.at_stop(Screw::Idle, Direction::Out);
        if rpm < 0.97 * clutch || self.moves >= MOST || stopped {
            return Next::Done;
        }
        self.moves += 1;
        let turns = if rpm > 1.15 * clutch { 8 } else { 4 };
        Next::Do(Task::turn(Screw::Idle, Direction::Out, turns))
    }
}
