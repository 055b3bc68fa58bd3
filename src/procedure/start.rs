//! Start, and an idle that keeps alive and does not drive the attachment.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{Report, Task};
use crate::guide::{Direction, Screw};

/// So many quarter turns of the idle-speed screw bring any idle down.
const MOST: u32 = 10;
/// So many starts without an engine that keeps running.
const STARTS: u32 = 4;

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Start {
    starts: u32,
    moves: u32,
}

impl Start {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        let clutch = book.facts.clutch_in.unwrap_or(1.35 * book.facts.idle.1);
        match report {
            Report::Begin | Report::Stalled | Report::Cannot => {
                if report == Report::Cannot {
                    self.starts += 1;
                }
                if self.starts >= STARTS {
                    return Next::Stuck(Symptom::WillNotRun);
                }
                Next::Do(Task::Start)
            }
            Report::Heard(look) if look.rpm >= 0.97 * clutch && self.moves < MOST => {
                self.moves += 1;
                if book.at_stop(Screw::Idle, Direction::Out) {
                    return Next::Done;
                }
                let turns = if look.rpm > 1.15 * clutch { 8 } else { 4 };
                Next::Do(Task::turn(Screw::Idle, Direction::Out, turns))
            }
            Report::Heard(_) => Next::Done,
            _ => Next::Do(Task::Idle { seconds: 2.5 }),
        }
    }
}
