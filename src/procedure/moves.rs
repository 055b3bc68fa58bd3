//! How far the high-speed screw is turned in one move.
use super::book::Book;
use super::task::Task;
use crate::guide::{Direction, Screw};

/// A quarter turn at most in one move, in thirty-seconds.
pub(super) const MOST_AT_ONCE: u16 = 8;

/// What is left of that room, in turns.
const CLEAR: f64 = 0.06;

/// Leaner, but rather not to where nothing could be made out; further than asked only within the `room`
/// to the fastest that is allowed, in turns.
pub(super) fn leaner(book: &Book, steps: u16, room: f64) -> Task {
    let furthest = (32.0 * (room - CLEAR)).max(0.0) as u16;
    let deaf = |steps: u16| {
        let place = book.screws.high.out - f64::from(steps) / 32.0;
        book.deaf
            .iter()
            .any(|deaf| (deaf - place).abs() < 1.2 / 32.0)
    };
    let less = (steps.saturating_sub(2).max(1)..=steps).rev();
    let steps = less
        .chain(steps + 1..=(steps + 3).min(MOST_AT_ONCE).min(furthest))
        .find(|steps| !deaf(*steps))
        .unwrap_or(steps);
    Task::turn(Screw::High, Direction::In, steps)
}

/// Turns in thirty-seconds, at least one.
pub(super) fn steps(turns: f64, most: u16) -> u16 {
    ((32.0 * turns).round() as u16).clamp(1, most)
}
