//! The engine has died on the way: a turn that may help, and a new start.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::cure::Died;
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{Report, Task};

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Rescue {
    /// What is turned before the next start.
    pub(super) cure: Option<Task>,
    doing: Doing,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
enum Doing {
    #[default]
    Turning,
    Starting,
}

impl Rescue {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        match (self.doing, report) {
            (Doing::Starting, Report::Done) => Next::Done,
            (Doing::Starting, Report::Cannot | Report::Unheard) => {
                let unheard = (report == Report::Unheard)
                    .then(|| {
                        let died = if book.idle_was_slow() {
                            Died::UnheardSlow
                        } else {
                            Died::Unheard
                        };
                        book.cures.next(died, &book.screws)
                    })
                    .flatten();
                self.cure = unheard.or_else(|| book.cures.next(Died::Starting, &book.screws));
                if self.cure.is_none() {
                    return Next::Stuck(Symptom::WillNotRun);
                }
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
        match self.cure.take() {
            Some(cure) => {
                self.doing = Doing::Turning;
                Next::Do(cure)
            }
            None => {
                self.doing = Doing::Starting;
                Next::Do(Task::Start)
            }
        }
    }
}
