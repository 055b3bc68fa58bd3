//! What is tried when the engine dies or does not start, before a fault is named: what its last turn
//! took away, a richer low-speed screw, a faster idle (common practice, no source).
use serde::{Deserialize, Serialize};

use super::screws::Screws;
use super::task::Task;
use crate::guide::{Direction, Screw, Turn};

/// Turns for an engine that does not start, in their order, in thirty-seconds.
const STARTING: [(Screw, u16); 8] = [
    (Screw::Idle, 8),
    (Screw::Low, 8),
    (Screw::Idle, 8),
    (Screw::Low, 8),
    (Screw::Idle, 8),
    (Screw::Low, 4),
    (Screw::Idle, 4),
    (Screw::Low, 4),
];
/// For one that dies when the throttle opens: it asks for a richer idle.
const OPENING: [(Screw, u16); 6] = [
    (Screw::Low, 4),
    (Screw::Low, 4),
    (Screw::Low, 4),
    (Screw::Low, 4),
    (Screw::Idle, 4),
    (Screw::Idle, 4),
];
/// For one that dies at idle.
const IDLING: [(Screw, u16); 6] = [
    (Screw::Idle, 4),
    (Screw::Low, 4),
    (Screw::Idle, 4),
    (Screw::Low, 4),
    (Screw::Idle, 8),
    (Screw::Low, 4),
];

/// For one that runs and cannot be heard: another speed sounds otherwise, a slower one harms nothing.
const UNHEARD: [(Screw, u16); 3] = [(Screw::Idle, 4), (Screw::Idle, 4), (Screw::Idle, 4)];

/// For the same where the idle was too slow when it was last heard.
const UNHEARD_SLOW: [(Screw, u16); 5] = [
    (Screw::Idle, 4),
    (Screw::Idle, 4),
    (Screw::Idle, 4),
    (Screw::Idle, 4),
    (Screw::Low, 4),
];

/// When it died.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum Died {
    Starting,
    Opening,
    Idling,
    /// It did not: it is not heard.
    Unheard,
    /// The same, and the idle was too slow when it was last heard.
    UnheardSlow,
}

/// How many of each were tried.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Cures {
    starting: usize,
    opening: usize,
    idling: usize,
    unheard: usize,
    #[serde(default)]
    unheard_slow: usize,
}

impl Cures {
    /// The next turn worth a try, with the engine off; none when all were tried.
    pub(super) fn next(&mut self, died: Died, screws: &Screws) -> Option<Task> {
        let (tried, all): (&mut usize, &[(Screw, u16)]) = match died {
            Died::Starting => (&mut self.starting, &STARTING),
            Died::Opening => (&mut self.opening, &OPENING),
            Died::Idling => (&mut self.idling, &IDLING),
            Died::Unheard => (&mut self.unheard, &UNHEARD),
            Died::UnheardSlow => (&mut self.unheard_slow, &UNHEARD_SLOW),
        };
        while let Some((screw, steps)) = all.get(*tried) {
            *tried += 1;
            let direction = match screw {
                Screw::Idle if died != Died::Unheard => Direction::In,
                _ => Direction::Out,
            };
            if screws.of(*screw).stop != Some(direction) {
                return Some(stopped(*screw, direction, Turn::thirty_seconds(*steps)));
            }
        }
        None
    }
}

/// A turn that slowed the engine or leaned it, taken back; none where taking it back would lean it.
pub(super) fn undone(screw: Screw, direction: Direction, turns: Turn) -> Option<Task> {
    let took = match screw {
        Screw::Idle => direction == Direction::Out,
        _ => direction == Direction::In,
    };
    let back = match direction {
        Direction::In => Direction::Out,
        Direction::Out => Direction::In,
    };
    took.then(|| stopped(screw, back, turns))
}

fn stopped(screw: Screw, direction: Direction, turns: Turn) -> Task {
    Task::TurnStopped {
        screw,
        direction,
        turns,
    }
}
