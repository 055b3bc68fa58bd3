//! Where the screws stand, as far as the moves tell.
use serde::{Deserialize, Serialize};

use super::outcome::NetTurns;
use crate::guide::{Direction, Screw, Turn};

/// A hand turns a screw within about a fifth of what it was told (common practice, no source), here
/// as a standard deviation.
const HAND: f64 = 0.12;

/// One screw.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Place {
    /// Turns out since the last absolute setting.
    pub(super) out: f64,
    /// Variance of that, in turns squared.
    pub(super) variance: f64,
    /// Whether an absolute setting was ever made.
    pub(super) absolute: bool,
    /// Against the end of its travel.
    pub(super) stop: Option<Direction>,
}

/// All three.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Screws {
    pub(super) high: Place,
    pub(super) low: Place,
    pub(super) idle: Place,
}

impl Screws {
    pub(super) fn of(&self, screw: Screw) -> &Place {
        match screw {
            Screw::High => &self.high,
            Screw::Low => &self.low,
            Screw::Idle => &self.idle,
        }
    }

    fn of_mut(&mut self, screw: Screw) -> &mut Place {
        match screw {
            Screw::High => &mut self.high,
            Screw::Low => &mut self.low,
            Screw::Idle => &mut self.idle,
        }
    }

    pub(super) fn turned(&mut self, screw: Screw, direction: Direction, turns: Turn) {
        let place = self.of_mut(screw);
        let turns = turns.turns();
        place.out += match direction {
            Direction::Out => turns,
            Direction::In => -turns,
        };
        place.variance += (HAND * turns).powi(2);
        place.stop = None;
    }

    pub(super) fn set(&mut self, screw: Screw) {
        *self.of_mut(screw) = Place {
            absolute: true,
            ..Place::default()
        };
    }

    pub(super) fn at_stop(&mut self, screw: Screw, direction: Direction) {
        self.of_mut(screw).stop = Some(direction);
    }

    pub(super) fn net(&self) -> NetTurns {
        NetTurns {
            high: self.high.out,
            low: self.low.out,
            idle: self.idle.out,
        }
    }
}
