//! The limited coil: its ceiling, and how far below it the mixture is judged.
//!
//! Heavy four-stroking sounds like a limiter at times. So one look makes no ceiling: it is listened to
//! again; a coil that nobody knows has to be heard at the same speed on another occasion; and a coil
//! cuts no engine short of what its maker allows, unless the speed is seen to be pinned.
use super::book::Book;
use super::ear::Look;
use super::looks::here;
use crate::guide::trade::BELOW_LIMITER;
use crate::machine::Coil;

/// A look with this share of frames on the limiter is on it, where the coil has one; where nobody knows
/// it takes more.
const ON_LIMITER: f64 = 0.3;
const ON_UNKNOWN: f64 = 0.55;
/// It is not leaned nearer to the ceiling than this, in rpm: a little more than half of the least that the
/// trade keeps while it judges (common practice, no source).
const KEEP_BELOW: f64 = 0.6 * BELOW_LIMITER.0;
/// The ceiling of a coil lies above this share of the maker's maximum.
const SHORT: f64 = 0.97;
/// A look whose speed is further below a known ceiling is not on it.
const FAR_BELOW: f64 = 0.95;
/// From this share of a known ceiling on, the saw-tooth's tips included, it runs against it.
const PRESSES: f64 = 0.992;
/// One ceiling is heard at one speed, within this share.
const ONE_SPEED: f64 = 0.01;
/// The speed is pinned where it changes by less than this share over at least so much of a turn.
const PINNED: (f64, f64) = (0.004, 0.055);
/// So many ceilings at different speeds are none.
const MOST_SUSPICIONS: u32 = 3;

/// What a look says of the limiter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Limiter {
    /// It is not on it.
    Off,
    /// It may be: to be listened to again.
    Doubtful,
    /// It is.
    On,
}

/// Share of frames from which a look is on the limiter; none where the coil has none.
fn least(coil: Coil) -> Option<f64> {
    match coil {
        Coil::Plain => None,
        Coil::Limited => Some(ON_LIMITER),
        Coil::Unknown => Some(ON_UNKNOWN),
    }
}

fn sounds_limited(book: &Book, look: &Look) -> bool {
    least(book.facts.coil).is_some_and(|least| look.limiter >= least)
}

/// Whether a look may be one on the limiter, so that no leaner turn follows from it.
pub(super) fn may_be_on(book: &Book, look: &Look) -> bool {
    sounds_limited(book, look) && !is_short(book, look)
}

/// Whether no coil would cut there.
fn is_short(book: &Book, look: &Look) -> bool {
    match (book.facts.limiter, book.facts.maximum) {
        (Some(ceiling), _) => look.rpm < FAR_BELOW * ceiling,
        (None, Some(most)) => ceiling(look) < SHORT * most,
        (None, None) => false,
    }
}

/// The ceiling that a look on the limiter shows: the saw-tooth lies under it.
fn ceiling(look: &Look) -> f64 {
    look.rpm * (1.0 + look.spread)
}

/// Whether it runs against a ceiling that the profile says, however it sounds.
fn presses(book: &Book, look: &Look) -> bool {
    let limiter = book.facts.limiter;
    limiter.is_some_and(|limiter| ceiling(look) > PRESSES * limiter)
}

/// Takes a look at full throttle.
pub(super) fn hear(book: &mut Book, look: &Look) -> Limiter {
    if presses(book, look) {
        return Limiter::On;
    }
    if !sounds_limited(book, look) {
        return Limiter::Off;
    }
    let short = is_short(book, look);
    if book.facts.limiter.is_some() {
        return if short { Limiter::Off } else { Limiter::On };
    }
    let pinned = is_pinned(book, look);
    if (short || book.suspicions >= MOST_SUSPICIONS) && !pinned {
        return Limiter::Off;
    }
    if !here(book).any(|before| sounds_limited(book, before)) {
        // What is cut is not skipped.
        book.full_look(Look {
            skip: None,
            ..*look
        });
        return Limiter::Doubtful;
    }
    let heard = ceiling(look);
    let same = |known: f64| (known / heard - 1.0).abs() < ONE_SPEED;
    if pinned || book.suspected.is_some_and(same) {
        let known = book.ceiling.unwrap_or(heard);
        book.ceiling = Some(known.max(heard));
    } else {
        book.suspicions += 1;
    }
    book.suspected = Some(heard);
    Limiter::On
}

/// Whether a place that is richer was as fast, and sounded so too.
fn is_pinned(book: &Book, look: &Look) -> bool {
    let place = book.screws.high.out;
    book.full.iter().any(|full| {
        full.out - place > PINNED.1
            && sounds_limited(book, &full.look)
            && (look.rpm / full.look.rpm - 1.0).abs() < PINNED.0
    })
}

/// The fastest full throttle that a leaner turn may lead to.
pub(super) fn cap(book: &Book) -> Option<f64> {
    let below_ceiling = book.ceiling.map(|ceiling| ceiling - KEEP_BELOW);
    match (book.facts.maximum, below_ceiling) {
        (Some(most), Some(ceiling)) => Some(most.min(ceiling)),
        (most, ceiling) => most.or(ceiling),
    }
}
