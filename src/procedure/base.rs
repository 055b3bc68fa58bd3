//! Base settings, engine off: mixture screws out from their seats, idle-speed screw in from its
//! first touch. Where limiter caps do not let a screw reach its seat, it goes to their rich end.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::prompt::Reference;
use super::stage::Next;
use super::task::{Report, Task};
use crate::guide::trade::{BASE_SETTING, IDLE_BASE_SETTING};
use crate::guide::{Direction, Screw, Turn};

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Base {
    at: Place,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
enum Place {
    #[default]
    Stop,
    Low,
    LowCapped,
    High,
    HighCapped,
    Idle,
    Over,
}

impl Base {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        let refused = matches!(report, Report::AtStop | Report::Cannot);
        self.at = match (self.at, report) {
            (_, Report::Begin) => Place::Stop,
            (Place::Stop, _) => Place::Low,
            (Place::Low, _) if refused => Place::LowCapped,
            (Place::Low | Place::LowCapped, _) => Place::High,
            (Place::High, _) if refused => Place::HighCapped,
            (Place::High | Place::HighCapped, _) => Place::Idle,
            (Place::Idle | Place::Over, _) => Place::Over,
        };
        match self.at {
            Place::Stop => Next::Do(Task::Stop { wait: 0.0 }),
            Place::Low => Next::Do(seat(Screw::Low)),
            Place::LowCapped => Next::Do(rich_stop(Screw::Low)),
            Place::High => Next::Do(seat(Screw::High)),
            Place::HighCapped => {
                book.screws.at_stop(Screw::High, Direction::Out);
                Next::Do(rich_stop(Screw::High))
            }
            Place::Idle => Next::Do(Task::Set {
                screw: Screw::Idle,
                from: Reference::Touch,
                direction: Direction::In,
                turns: IDLE_BASE_SETTING,
            }),
            Place::Over => Next::Done,
        }
    }
}

fn seat(screw: Screw) -> Task {
    Task::Set {
        screw,
        from: Reference::Seat,
        direction: Direction::Out,
        turns: BASE_SETTING,
    }
}

fn rich_stop(screw: Screw) -> Task {
    Task::Set {
        screw,
        from: Reference::RichStop,
        direction: Direction::Out,
        turns: Turn::thirty_seconds(0),
    }
}
