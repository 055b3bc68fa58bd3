//! Before a screw is touched: what mimics a bad setting, safety, limiter caps, screws as found.
use serde::{Deserialize, Serialize};

use super::stage::Next;
use super::task::{CheckItem, Report, Task};

/// Which check comes next.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Checks {
    asked: usize,
}

impl Checks {
    pub(super) fn next(&mut self, report: Report) -> Next {
        if report == Report::Begin {
            self.asked = 0;
        }
        let at = self.asked;
        self.asked += 1;
        match CheckItem::ALL.get(at) {
            Some(item) => Next::Do(Task::Check(*item)),
            None if at == CheckItem::ALL.len() => Next::Do(Task::Found),
            None => Next::Done,
        }
    }
}
