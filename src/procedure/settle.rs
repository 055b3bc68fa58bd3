//! Idle-speed screw until the idle lies in its range and the attachment stands still.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{Report, Task};
use crate::guide::{Direction, Screw};

/// The idle is left alone within this share of the range around its middle.
const MIDDLE: f64 = 0.3;
/// What a turn of the screw changes, in rpm: eight times `trade::EIGHTH_OF_IDLE`.
pub(super) const A_TURN: (f64, f64) = (700.0, 3_000.0);
const FIRST_A_TURN: f64 = 1_800.0;
/// More moves than this lead nowhere.
const MOST: u32 = 18;

/// What the screw was seen to do.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Settle {
    moves: u32,
    /// Speed before the last move and the move, in turns in.
    last: Option<(f64, f64)>,
    a_turn: Option<f64>,
}

impl Settle {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        match report {
            Report::Heard(mut look) => {
                look.rpm = book.idle_speed(look.rpm);
                self.learn(look.rpm);
                let (low, high) = book.facts.idle;
                let goal = book.facts.idle_goal();
                if (look.rpm - goal).abs() <= MIDDLE * (high - low).max(0.03 * goal) {
                    return if book.facts.clutched {
                        Next::Do(Task::Attachment)
                    } else {
                        Next::Done
                    };
                }
                self.move_towards(look.rpm, goal)
            }
            Report::Attachment(Some(true), rpm) => {
                // In the middle of its range and yet it turns: slower once, then it is the clutch.
                let lowest = rpm <= book.facts.idle.0 * 1.03;
                if lowest || book.bites_early() || book.at_stop(Screw::Idle, Direction::Out) {
                    return Next::Stuck(Symptom::AttachmentTurning);
                }
                self.moves += 1;
                Next::Do(Task::turn(Screw::Idle, Direction::Out, 2))
            }
            Report::Attachment(..) => Next::Done,
            Report::AtStop => {
                let idle = book.idle.map_or(0.0, |look| look.rpm);
                if book.at_stop(Screw::Idle, Direction::Out) && idle > book.facts.idle.1 {
                    Next::Stuck(Symptom::IdleHigh)
                } else if idle < book.facts.idle.0 {
                    Next::Stuck(Symptom::IdleLow)
                } else {
                    Next::Done
                }
            }
            _ => {
                if let (Report::Stalled, Some((before, turns))) = (report, self.last)
                    && turns < 0.0
                {
                    book.died_of_slowing(before);
                }
                self.last = self.last.filter(|_| report == Report::Done);
                Next::Do(Task::Idle { seconds: 4.0 })
            }
        }
    }

    fn learn(&mut self, rpm: f64) {
        if let Some((before, turns)) = self.last.take() {
            let seen = (rpm - before) / turns;
            if turns.abs() >= 1.5 / 32.0 {
                let known = self.a_turn.unwrap_or(FIRST_A_TURN);
                let blend = 0.5 * (known + seen.clamp(A_TURN.0, A_TURN.1));
                self.a_turn = Some(blend);
            }
        }
    }

    fn move_towards(&mut self, rpm: f64, goal: f64) -> Next {
        self.moves += 1;
        if self.moves > MOST {
            return Next::Stuck(if rpm > goal {
                Symptom::IdleHigh
            } else {
                Symptom::IdleLow
            });
        }
        let a_turn = self.a_turn.unwrap_or(FIRST_A_TURN);
        let steps = (32.0 * (goal - rpm).abs() / a_turn).round().clamp(1.0, 8.0) as u16;
        let direction = if goal > rpm {
            Direction::In
        } else {
            Direction::Out
        };
        let turns = f64::from(steps) / 32.0;
        self.last = Some((rpm, if goal > rpm { turns } else { -turns }));
        Next::Do(Task::turn(Screw::Idle, direction, steps))
    }
}
