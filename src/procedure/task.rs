//! One thing to be done at the machine, and what came of it.
use serde::{Deserialize, Serialize};

use super::ear::Look;
use super::prompt::Reference;
use crate::guide::{Direction, Screw, Turn};

/// What is checked before a screw is touched.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum CheckItem {
    Safety,
    AirFilter,
    Fuel,
    FuelFilter,
    Vent,
    Plug,
    Screen,
    Leaks,
    Attachment,
    Caps,
}

impl CheckItem {
    pub(super) const ALL: [CheckItem; 10] = [
        CheckItem::Safety,
        CheckItem::AirFilter,
        CheckItem::Fuel,
        CheckItem::FuelFilter,
        CheckItem::Vent,
        CheckItem::Plug,
        CheckItem::Screen,
        CheckItem::Leaks,
        CheckItem::Attachment,
        CheckItem::Caps,
    ];
}

/// One thing to be done.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum Task {
    /// A check with the engine off.
    Check(CheckItem),
    /// Screws as found are written down.
    Found,
    /// A screw is set from a fixed place, engine off.
    Set {
        screw: Screw,
        from: Reference,
        direction: Direction,
        turns: Turn,
    },
    /// The engine is stopped and left for so many seconds.
    Stop { wait: f64 },
    /// The engine is started.
    Start,
    /// The throttle is varied for so many seconds.
    Vary { seconds: f64 },
    /// A screw is turned from where it stands, at idle.
    Turn {
        screw: Screw,
        direction: Direction,
        turns: Turn,
    },
    /// The same with the engine off, after a stall.
    TurnStopped {
        screw: Screw,
        direction: Direction,
        turns: Turn,
    },
    /// Idle is listened to.
    Idle { seconds: f64 },
    /// Does the attachment stand still at idle?
    Attachment,
    /// Full throttle is listened to.
    Full { seconds: f64 },
    /// Open, 1.5 s, close.
    Snap,
    /// Over the maximum: the throttle is closed, then the high-speed screw goes out.
    Enrich { turns: Turn },
    /// It does not come right: the engine is stopped, the faults are named.
    Repair,
}

/// A dip of this share of the idle before the rise, or a rise slower than this, is a bog.
const DIP: f64 = 0.2;
const SLOW_RISE: f64 = 2.0;

/// Three seconds of full throttle are plenty for a reading.
pub(super) const FULL: Task = Task::Full { seconds: 3.0 };
/// Where it may be too fast, no longer than tells.
pub(super) const SHORT: Task = Task::Full { seconds: 1.0 };
/// Near the goal a little longer.
pub(super) const LONGER: Task = Task::Full { seconds: 4.5 };

impl Task {
    pub(super) fn turn(screw: Screw, direction: Direction, thirty_seconds: u16) -> Task {
        Task::Turn {
            screw,
            direction,
            turns: Turn::thirty_seconds(thirty_seconds),
        }
    }

    /// Whether it is the short look of a throttle that may be too fast.
    pub(super) fn is_short(&self) -> bool {
        matches!(self, Task::Full { seconds } if *seconds < 1.5)
    }

    /// The task once more after so many tries in vain.
    pub(super) fn again(self, tries: u32) -> Task {
        if self.is_short() && tries > 0 {
            FULL
        } else {
            self
        }
    }

    /// Whether the engine runs while it is done.
    pub(super) fn runs(&self) -> bool {
        match self {
            Task::Check(_)
            | Task::Found
            | Task::Set { .. }
            | Task::Stop { .. }
            | Task::Start
            | Task::TurnStopped { .. }
            | Task::Repair => false,
            Task::Vary { .. }
            | Task::Turn { .. }
            | Task::Idle { .. }
            | Task::Attachment
            | Task::Full { .. }
            | Task::Snap
            | Task::Enrich { .. } => true,
        }
    }
}

/// What a snap of the throttle came to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Snapped {
    /// From the first rise to near the top, in seconds.
    pub(super) rise: f64,
    /// How far it fell before it rose, share of the idle.
    pub(super) dip: f64,
    /// From the first fall to idle, in seconds; as long as was waited where it did not come.
    pub(super) back: f64,
}

impl Snapped {
    pub(super) fn bogged(&self) -> bool {
        self.dip > DIP || self.rise > SLOW_RISE
    }
}

/// What came of a task.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum Report {
    /// A stage begins, or is gone back to.
    Begin,
    Done,
    AtStop,
    Cannot,
    Heard(Look),
    Snapped(Snapped),
    /// Whether the attachment turns, and the idle speed then; none where nobody saw it.
    Attachment(Option<bool>, f64),
    /// The engine stalled on the way and runs again.
    Stalled,
    /// It went over the maximum, or may have; the throttle was closed and the screw has gone out.
    OverMaximum {
        surely: bool,
        /// No engine can have been so fast.
        misheard: bool,
    },
    /// The throttle was asked for, and no rise was heard.
    NotOpened,
    /// Nothing could be read, or the move was not allowed.
    Nothing,
    /// Nothing could be read, several times one after the other.
    Unheard,
}
