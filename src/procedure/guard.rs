//! Safety, as layers that lie over every step: time at full throttle, the maximum, lost readings,
//! leaner turns.
use super::book::Book;
use super::ear::Ear;
use super::facts::Facts;
use super::hand::Hand;
use super::lever::Lever;
use super::prompt::Throttle;
use super::task::Task;
use crate::guide::{Direction, Screw};

/// The maximum is passed when four fifths of the readings of so many seconds lie over it.
const OVER_FOR: f64 = 0.3;
const MOSTLY: f64 = 0.2;
/// At full throttle so little over it, which readings err by now and then, counts after so many seconds.
const HARDLY: f64 = 1.004;
const HARDLY_FOR: f64 = 0.9;
/// A speed this far over the maximum is a misreading, not an engine.
const IMPLAUSIBLE: f64 = 1.45;
/// Over the maximum by more than this is in doubt.
const FAR_OVER: f64 = 1.2;
/// Where no maximum is known.
const FASTEST: f64 = 20_000.0;

/// The fastest speed that is taken for a reading, in rpm.
pub(super) fn most_plausible(facts: &Facts) -> f64 {
    facts.maximum.map_or(FASTEST, |most| IMPLAUSIBLE * most)
}

/// The speed by which the engine is over its maximum; also one that is in doubt, since closing the
/// throttle harms nothing.
pub(super) fn over_maximum(ear: &Ear, facts: &Facts) -> Option<f64> {
    let most = facts.maximum?;
    let newest = ear.newest()?;
    let from = newest - OVER_FOR;
    let speed = ear.warning_since(from, 0.5)?;
    let slowest = ear.warning_since(from, MOSTLY)?;
    (slowest > most && ear.reaches_back(from)).then_some(speed)
}

/// The same while full throttle is listened to (`settled`): hardly over it must be for longer.
pub(super) fn drives_over(ear: &Ear, facts: &Facts, settled: bool) -> Option<f64> {
    let speed = over_maximum(ear, facts)?;
    let most = facts.maximum?;
    let newest = ear.newest()?;
    let hardly = ear.warning_since(newest - OVER_FOR, MOSTLY)? < HARDLY * most;
    let longer = newest - HARDLY_FOR;
    let stays = || ear.reaches_back(longer) && ear.warning_since(longer, MOSTLY) > Some(most);
    (!settled || !hardly || stays()).then_some(speed)
}

/// Whether a speed over the maximum is one of an engine: it did not jump there, and is no further than
/// engines go. Further than that it is rather three halves of a right speed.
pub(super) fn truly_over(ear: &Ear, facts: &Facts) -> bool {
    let by = ear.newest().and_then(|newest| {
        let slowest = ear.quantile_since(newest - OVER_FOR, MOSTLY)?;
        let most = facts.maximum?;
        Some(slowest > most && slowest < FAR_OVER * most)
    });
    by.unwrap_or(false)
}

/// Whether an engine may be so far over its maximum.
pub(super) fn can_be(speed: f64, maximum: f64) -> bool {
    speed < FAR_OVER * maximum
}

/// Whether the reading is lost for longer than the task in hand bears. To vary the throttle asks for no
/// certain speed, only for an engine that is heard. Somebody who is about to close
/// the throttle is not disturbed: a new prompt would begin his reaction anew.
pub(super) fn lost(ear: &Ear, hand: &Hand, lever: &Lever, now: f64) -> bool {
    let lost_for = match hand.task {
        Task::Vary { .. } => ear.silent_for(now),
        _ => ear.lost_for(now),
    };
    hand.task.runs() && !lever.is_closing(now) && lost_for > hand.bears_silence()
}

/// Whether the throttle is open or opening.
pub(super) fn is_open(lever: &Lever) -> bool {
    matches!(
        lever.asked,
        Throttle::Full | Throttle::Part | Throttle::Snap
    )
}

/// Whether a turn may be asked for: a leaner one only from what was surely heard.
pub(super) fn allows(book: &Book, ear: &Ear, task: &Task, now: f64) -> bool {
    match *task {
        Task::Turn {
            screw,
            direction: Direction::In,
            ..
        } if screw != Screw::Idle => {
            book.may_lean(screw)
                && ear.lost_for(now) < 1.0
                && over_maximum(ear, &book.facts).is_none()
        }
        _ => true,
    }
}
