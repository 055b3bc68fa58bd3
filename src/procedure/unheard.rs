//! A burble that is not heard although there is one: the speed tells. A right high-speed screw changes
//! the speed much where it is far rich, and little near the fastest mixture.
use super::book::Book;
use super::ear::Look;
use super::looks::{burbled, room, room_by_place};
use super::onset;
use crate::machine::Coil;

/// A turn changes at least this share of the speed where it is far rich; with a choked exhaust, too heavy
/// an attachment or an air leak less (common practice, no source).
const FAR_RICH: f64 = 0.17;
/// Looks that tell it are so far apart, in turns.
const APART: std::ops::Range<f64> = 0.15..0.6;
/// It is leaned for that as long as so much room is left to the fastest that is allowed, in turns.
const ROOM: f64 = 0.1;
/// Slower than the slowest full throttle, with at least this share for a turn, it is richer than it sounds.
const STEEP: f64 = 0.12;
/// So near a place at which nothing could be made out it is no better, in turns.
const AMONG: f64 = 0.06;
/// So far beyond a place that is silent the burble is looked for again, in turns.
const BEYOND: f64 = 0.125;

/// Whether it is surely far rich though it sounds clean: clearly slower richer, on a coil that may hide
/// what it fires.
pub(super) fn is_rich_by_speed(book: &Book) -> bool {
    // Where a burble was heard, it is gone by it and by nothing else.
    if book.facts.coil != Coil::Limited || burbled(book) {
        return false;
    }
    let Some(last) = book.full.last() else {
        return false;
    };
    let slopes: Vec<f64> = book
        .full
        .iter()
        .filter(|full| APART.contains(&(full.out - last.out).abs()))
        .map(|full| (last.look.rpm - full.look.rpm) / (full.out - last.out) / last.look.rpm)
        .collect();
    !slopes.is_empty() && slopes.iter().all(|slope| *slope > FAR_RICH)
}

/// How far it may be leaned by the speed alone, in turns; none where it is as fast as that may make it.
pub(super) fn lean_by_speed(book: &Book, look: &Look) -> Option<f64> {
    let room = room(book, look).min(room_by_place(book));
    (room > ROOM).then_some(0.5 * room)
}

/// Silence where it stood richer, and slower, was none: it burbles here.
pub(super) fn forget_silence(book: &mut Book, look: &Look) {
    if look.skip.is_none_or(|skip| skip < 1.5 * onset::HEARD) {
        return;
    }
    let here = book.screws.high.out;
    for full in &mut book.full {
        let slower = full.look.rpm < look.rpm;
        if full.out > here + 0.06 && slower && full.look.skip.is_some_and(|s| s < onset::HEARD) {
            full.look.skip = None;
        }
    }
}

/// Where the burble is looked for again, beyond a place that was silent although its speed says that it is
/// far rich; in turns out.
pub(super) fn beyond_silence(book: &Book, look: &Look) -> Option<f64> {
    let slowest = book.facts.slowest.filter(|_| !book.facts.full_is_typical)?;
    let here = book.screws.high.out;
    if look.rpm > slowest || look.skip.is_none_or(|skip| skip < onset::HEARD) {
        return None;
    }
    let silent = book
        .full
        .iter()
        .filter(|full| here - full.out > 0.02)
        .filter(|full| full.look.skip.is_some_and(|skip| skip < onset::HEARD))
        .min_by(|a, b| a.out.total_cmp(&b.out))?;
    let a_turn = (silent.look.rpm - look.rpm) / (here - silent.out);
    let place = silent.out - BEYOND;
    let room = room(book, look).min(room_by_place(book));
    (a_turn > STEEP * look.rpm && silent.look.rpm < slowest && here - place + ROOM < room)
        .then_some(place)
}

/// A place beyond those at which nothing could be made out, where a move by so much would end among them;
/// in turns out.
pub(super) fn beyond_deaf(book: &Book, lean: f64) -> Option<f64> {
    let here = book.screws.high.out;
    let end = here - lean.min(0.25);
    let leaner = book.deaf.iter().copied().filter(|deaf| *deaf < here);
    let (least, most) = leaner.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), deaf| {
        (a.min(deaf), b.max(deaf))
    });
    (end > least - AMONG && end < most + AMONG && book.deaf.len() > 1).then_some(least - BEYOND)
}
