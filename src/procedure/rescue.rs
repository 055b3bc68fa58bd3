//! The engine has stalled on the way: a faster idle, and a new start.
use serde::{Deserialize, Serialize};

use super::stage::Next;
use super::stuck::Symptom;
use super::task::{Report, Task};
use crate::guide::{Direction, Screw, Turn};

/// So many starts without an engine that keeps running.
const STARTS: u32 = 4;

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Rescue {
    starts: u32,
    /// Whether the idle-speed screw goes in first.
    pub(super) faster: bool,
    doing: Doing,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
enum Doing {
    #[default]
    Turning,
    Starting,
}

impl Rescue {
    pub(super) fn next(&mut self, report: Report) -> Next {
        match (self.doing, report) {
            (Doing::Starting, Report::Done) => Next::Done,
            (Doing::Starting, Report::Cannot) => {
                self.starts += 1;
                if self.starts >= STARTS {
                    return Next::Stuck(Symptom::WillNotRun);
                }
                self.faster = true;
                self.begin()
            }
            (Doing::Turning, Report::Begin) => self.begin(),
            _ => {
                self.doing = Doing::Starting;
                Next::Do(Task::Start)
            }
        }
    }

    fn begin(&mut self) -> Next {
        if std::mem::take(&mut self.faster) {
            self.doing = Doing::Turning;
            return Next::Do(Task::TurnStopped {
                screw: Screw::Idle,
                direction: Direction::In,
                turns: Turn::EIGHTH,
            });
        }
        self.doing = Doing::Starting;
        Next::Do(Task::Start)
    }
}
