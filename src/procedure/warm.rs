//! Warm-up at varied speed, until the idle no longer drifts.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::stage::Next;
use super::task::{Report, Task};
use crate::guide::{Direction, Screw};

/// Warm: the idle changed by less than this share from one look to the next, twice.
const STILL: f64 = 0.012;
/// One spell of varied speed, in seconds.
const SPELL: f64 = 20.0;
/// It is never warm after fewer spells, and always after so many: a warm-up takes one to five
/// minutes (common practice, no source).
const LEAST: u32 = 3;
const MOST: u32 = 12;

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Warm {
    spells: u32,
    still: u32,
    last: Option<f64>,
}

impl Warm {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        match report {
            Report::Heard(look) => {
                let clutch = book.facts.clutch_in.unwrap_or(1.35 * book.facts.idle.1);
                if look.rpm >= clutch && !book.at_stop(Screw::Idle, Direction::Out) {
                    self.last = None;
                    return Next::Do(Task::turn(Screw::Idle, Direction::Out, 4));
                }
                let change = self.last.map(|last| (look.rpm / last - 1.0).abs());
                self.last = Some(look.rpm);
                match change {
                    Some(change) if change < STILL => self.still += 1,
                    Some(_) => self.still = 0,
                    None => {}
                }
                let warm = self.still >= 2 && self.spells >= LEAST;
                if warm || self.spells >= MOST {
                    return Next::Done;
                }
                self.spells += 1;
                Next::Do(Task::Vary { seconds: SPELL })
            }
            Report::Begin => {
                self.spells += 1;
                Next::Do(Task::Vary { seconds: SPELL })
            }
            _ => Next::Do(Task::Idle { seconds: 4.0 }),
        }
    }
}
