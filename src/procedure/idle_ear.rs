//! An idle that is too slow is heard at twice its speed, or not at all.
//!
//! Its firings are then every second turn of what is heard: an idle that seems to leave out every third
//! turn or more is rather one of half that speed. It is made faster until it is heard as what it is; where
//! that does not come after a few moves, it is taken as it is heard.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::ear::Look;
use super::task::Task;
use crate::guide::{Direction, Screw, Turn};

/// From this skip ratio on an idle is heard at a multiple of its speed: an idle that is slow and even
/// skips hardly a turn.
const SKIPS: f64 = 0.25;
/// The idle-speed screw is turned in so often for that.
const MOST: u32 = 4;
/// Below this share of the slowest idle it is too slow to be heard well.
const TOO_SLOW: f64 = 0.85;

/// What makes it faster.
pub(super) const FASTER: Task = Task::Turn {
    screw: Screw::Idle,
    direction: Direction::In,
    turns: Turn::EIGHTH,
};

/// How often the idle-speed screw was turned in for a doubted idle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct IdleDoubts {
    moves: u32,
    /// Where the idle-speed screw stood at the last one, in turns out.
    place: Option<f64>,
}

impl Book {
    /// A look at idle as it is believed.
    pub(super) fn idle_look(&mut self, look: Look) -> Look {
        let skips = look.skip.is_some_and(|skip| skip >= SKIPS);
        // Half of a speed that is already slow is no idle.
        let can_be = look.rpm > 0.9 * self.facts.idle.0;
        if !skips || !can_be {
            self.idle_doubts = IdleDoubts::default();
        } else if let Some(place) = self.idle_doubts.place.replace(self.screws.idle.out)
            && place - self.screws.idle.out > 1.0 / 64.0
        {
            self.idle_doubts.moves += 1;
        }
        let doubled = skips && can_be && self.idle_doubts.moves < MOST;
        self.idle_factor = if doubled { 0.5 } else { 1.0 };
        Look {
            rpm: self.idle_factor * look.rpm,
            ..look
        }
    }

    /// A speed that was heard right after such a look.
    pub(super) fn idle_again(&self, rpm: f64) -> f64 {
        let known = self.idle.map_or(0.0, |look| look.rpm / self.idle_factor);
        if (rpm / known - 1.0).abs() < 0.1 {
            self.idle_factor * rpm
        } else {
            rpm
        }
    }

    /// Whether the idle was too slow when it was last heard.
    pub(super) fn idle_was_slow(&self) -> bool {
        let low = self.facts.idle.0;
        self.idle.is_some_and(|look| look.rpm < TOO_SLOW * low)
    }
}
