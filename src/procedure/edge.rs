//! Idle-speed screw to the edge of the attachment turning and back: finds where the clutch bites.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{Report, Task};
use crate::guide::{Direction, Screw};

/// An eighth of the idle-speed screw changes no more than about 300 rpm (`trade::EIGHTH_OF_IDLE`):
/// further than this from the edge a quarter is turned.
const FAR: f64 = 0.16;
/// More turns than this lead nowhere.
const MOST: u32 = 24;

/// Which way it goes.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Edge {
    moves: u32,
    going: Going,
    asked_last: bool,
    /// The speed from which it is being slowed.
    slowed: Option<f64>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
enum Going {
    #[default]
    Up,
    Down,
}

impl Edge {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        let facts = &book.facts;
        let Some(clutch) = facts.clutch_in else {
            // No clutch, or nothing is known of it: the step has no goal.
            return Next::Done;
        };
        if self.moves > MOST {
            return Next::Done;
        }
        let bottom = facts.idle_goal();
        match report {
            Report::Heard(look) => {
                if self.going == Going::Down && look.rpm <= facts.idle.1 {
                    self.asked_last = true;
                }
                // Without anybody who looks, the figure of the profile is the edge.
                if self.going == Going::Up && !book.answered && look.rpm > 0.9 * clutch {
                    self.going = Going::Down;
                    return self.turn(book, look.rpm, bottom);
                }
                Next::Do(Task::Attachment)
            }
            Report::Attachment(seen, rpm) => {
                let turning = seen.unwrap_or(rpm >= clutch);
                match (self.going, turning) {
                    (_, true) if book.bites_early() && rpm <= 1.25 * book.facts.idle.0 => {
                        // Slower than any allowed idle is not worth trying.
                        if rpm <= 1.03 * book.facts.idle.0
                            || book.at_stop(Screw::Idle, Direction::Out)
                        {
                            return Next::Stuck(Symptom::AttachmentTurning);
                        }
                        self.going = Going::Down;
                    }
                    (_, true) => self.going = Going::Down,
                    (Going::Up, false) => {
                        if rpm >= 1.04 * clutch {
                            self.going = Going::Down;
                        }
                    }
                    (Going::Down, false) if rpm <= book.facts.idle.1 => {
                        return if book.bites_early() {
                            Next::Stuck(Symptom::AttachmentTurning)
                        } else {
                            Next::Done
                        };
                    }
                    (Going::Down, false) => {}
                }
                let goal = match self.going {
                    Going::Up => clutch,
                    Going::Down => bottom,
                };
                self.turn(book, rpm, goal)
            }
            Report::AtStop => {
                if self.going == Going::Up {
                    self.going = Going::Down;
                    return Next::Do(Task::Idle { seconds: 3.0 });
                }
                Next::Done
            }
            // It died as it was slowed: it is as slow as it will run, whatever is heard.
            Report::Stalled if self.slowed.is_some() => {
                book.died_of_slowing(self.slowed.unwrap_or(0.0));
                Next::Done
            }
            _ => Next::Do(Task::Idle { seconds: 3.0 }),
        }
    }

    fn turn(&mut self, book: &Book, rpm: f64, goal: f64) -> Next {
        self.moves += 1;
        let direction = match self.going {
            Going::Up => Direction::In,
            Going::Down => Direction::Out,
        };
        if book.at_stop(Screw::Idle, direction) {
            return Next::Done;
        }
        self.slowed = (direction == Direction::Out).then_some(rpm);
        let turns = if (rpm / goal - 1.0).abs() > FAR { 8 } else { 4 };
        Next::Do(Task::turn(Screw::Idle, direction, turns))
    }
}
