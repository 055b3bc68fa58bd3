//! What the looks at full throttle say together: whether it burbles, whether the fuel lasts, how much
//! room is left to the fastest that is allowed.
use super::book::{Book, FullLook};
use super::ear::{Look, by_factor, quantile};
use super::limited;
use super::onset::{self, Distance};
use super::stuck::Symptom;
use crate::machine::Coil;

/// What an eighth of a turn richer changes at most, `trade::EIGHTH_OF_HIGH`, for a whole turn.
const STEEPEST: f64 = 4_800.0;
const FLATTEST: f64 = 1_000.0;
/// No engine changes more than this, in rpm a turn.
const NEVER_STEEPER: f64 = 8_000.0;
/// It is kept so many turns away from the fastest that is allowed, which is at least and at most these
/// shares of the speed.
const CLEAR: f64 = 0.03;
const MARGIN: (f64, f64) = (0.003, 0.008);
const CLEAR_UNKNOWN: f64 = 0.036;
const MARGIN_UNKNOWN: (f64, f64) = (0.004, 0.01);
/// Error of a look's speed, standard deviation as a share.
const SPEED_ERROR: f64 = 0.002;
/// Looks so far from the place of the screw lie on a straight line, in turns.
const LINE: std::ops::Range<f64> = -0.05..0.2;
/// Before it is left it must have been heard to skip so much there, on the average of its looks.
const RETURNED: f64 = 0.1;
/// So many silent looks, or so many with one that heard something, are enough to say that it has not.
const ALL_SILENT: usize = 4;
const ONCE_HEARD: usize = 7;
/// A speed that differs by more than this at one place of the screw is fuel that comes and goes.
const UNLIKE: f64 = 0.035;
/// Below this share of the slowest full throttle no engine runs that is still rich.
const NO_FULL: f64 = 0.66;
/// A fall by this share within a look is one; by more than the other it is a wrong base.
const FADE: (f64, f64) = (0.025, 0.28);
/// It rises out of a burble by this share at least, or it may be the mixture that was left of the idle.
const CLEANED: f64 = 0.05;
/// Beyond this share of the speed for a turn the screw still changes much.
const STEEP: f64 = 0.2;
/// So far from the onset nothing should be as fast as it may be, in turns.
pub(super) const FAR_RICH: f64 = 0.2;
/// As heavy as it gets: more than this share of the heaviest.
const SATURATED: f64 = 0.88;
/// Further out than its base, and than the right place of most engines, in turns.
const OUTSIDE: f64 = 0.1;
const FAR_OUTSIDE: f64 = 0.5;
/// A weaker fall counts half.
const WEAKLY: f64 = 0.015;

/// The heaviest four-stroking heard at least a sixteenth of a turn richer.
pub(super) fn heaviest_richer(book: &Book) -> Option<f64> {
    book.full
        .iter()
        .filter(|full| full.out - book.screws.high.out > 0.055)
        .filter_map(|full| full.look.skip)
        .reduce(f64::max)
}

/// Whether the screw stands so much further out than its base.
fn is_beyond(book: &Book, turns: f64) -> bool {
    let place = book.screws.high;
    !place.absolute || place.out > turns
}

/// Whether the screw stands further out than its base.
pub(super) fn outside(book: &Book) -> bool {
    is_beyond(book, OUTSIDE)
}

/// Whether it stands further out than the right place of most engines.
pub(super) fn far_outside(book: &Book) -> bool {
    is_beyond(book, FAR_OUTSIDE)
}

/// At the fastest that is allowed and yet far rich: the engine is faster than its screws make it.
pub(super) fn is_far_rich(book: &Book, look: &Look, skip: f64, distance: Distance) -> bool {
    // As heavy as it gets, further out than the base, and a turn still changes much: the onset is
    // nowhere near. Near it the speed is flat.
    let saturated = skip >= onset::HEAVY
        && heaviest_richer(book).is_some_and(|richer| skip > SATURATED * richer);
    let steep = book.slope.is_some_and(|slope| slope > STEEP * look.rpm);
    let far = distance.at_least > 0.5 * FAR_RICH;
    far_outside(book)
        && (saturated && steep && far || distance.mean > 0.3 && distance.deviation < 0.12)
}

/// How much richer than right it is at least, in turns, since it burbles and is slower than the maker's
/// slowest full throttle.
pub(super) fn richer_by_speed(book: &Book, look: &Look) -> Option<f64> {
    let slowest = book.facts.slowest.filter(|_| !book.facts.full_is_typical)?;
    let least = (slowest - look.rpm) / STEEPEST;
    (least > 0.0 && look.skip.is_some_and(|skip| skip >= onset::HEARD)).then_some(least)
}

/// Whether the speed falls while the throttle is held open.
fn fades(look: &Look) -> bool {
    look.fallen > FADE.0 && look.fallen < FADE.1
}

/// Whether a look is rather a misheard one: away by a factor from the one before, or slower than any
/// full throttle.
pub(super) fn is_odd(book: &Book, look: &Look) -> bool {
    let Some(last) = book.full.last() else {
        return book
            .facts
            .slowest
            .is_some_and(|slowest| look.rpm < NO_FULL * slowest);
    };
    by_factor(look.rpm, last.look.rpm)
}

/// Looks at the place where the screw stands.
pub(super) fn here(book: &Book) -> impl Iterator<Item = &Look> {
    let place = book.screws.high.out;
    book.full
        .iter()
        .filter(move |full| (full.out - place).abs() < 1.0 / 64.0)
        .map(|full| &full.look)
}

/// Whether the looks nearby say that no engine runs so fast where the screw stands: the speed is
/// misheard.
pub(super) fn cannot_be(book: &Book, rpm: f64) -> bool {
    let place = book.screws.high.out;
    let near = |full: &&FullLook| (full.out - place).abs() < FAR_RICH;
    let most = |full: &FullLook| {
        let leaner = (full.out - place).max(0.0);
        (1.0 + UNLIKE) * full.look.rpm + NEVER_STEEPER * leaner
    };
    let (can, cannot) = book
        .full
        .iter()
        .filter(near)
        .fold((0, 0), |(can, cannot), full| {
            if most(full) < rpm {
                (can, cannot + 1)
            } else {
                (can + 1, cannot)
            }
        });
    cannot > can
}

/// Whether a look differs much from those before it since the screw was last turned.
pub(super) fn unlike(book: &Book, look: &Look) -> bool {
    let place = book.screws.high;
    let mut speeds: Vec<f64> = book
        .full
        .iter()
        .filter(|full| full.out == place.out && full.variance == place.variance)
        .map(|full| full.look.rpm)
        .collect();
    !speeds.is_empty() && {
        let off = look.rpm / quantile(&mut speeds, 0.5) - 1.0;
        off.abs() > UNLIKE && off.abs() < FADE.1
    }
}

/// Whether four-stroking is surely back at this place, on the average of the looks that heard any.
/// Light skipping is now and then not heard at all: none as long as that may be.
pub(super) fn returned(book: &Book) -> Option<bool> {
    let skips: Vec<f64> = here(book).filter_map(|look| look.skip).collect();
    let heard: Vec<f64> = skips
        .iter()
        .copied()
        .filter(|skip| *skip >= onset::SILENT)
        .collect();
    let mean = heard.iter().sum::<f64>() / heard.len().max(1) as f64;
    match heard.len() {
        0 if skips.len() < ALL_SILENT => None,
        1 if skips.len() < ONCE_HEARD => None,
        0 | 1 => Some(false),
        _ => Some(mean >= RETURNED),
    }
}

/// Whether it is the coil's ceiling that keeps it back, not the maximum.
pub(super) fn under_ceiling(book: &Book) -> bool {
    let cap = limited::cap(book);
    book.ceiling.is_some() && cap < book.facts.maximum.or(cap)
}

/// Whether four-stroking was heard at any place of the screw.
pub(super) fn burbled(book: &Book) -> bool {
    book.full
        .iter()
        .any(|full| full.look.skip.is_some_and(|s| s >= onset::HEARD))
}

/// How far it may be leaned before it is as fast as it may be, in turns; negative where it is faster.
pub(super) fn room(book: &Book, look: &Look) -> f64 {
    let Some(cap) = limited::cap(book) else {
        return 1.0;
    };
    let line = Line::through(book, look);
    let slope = (line.slope + 0.5 * line.deviation).clamp(FLATTEST, STEEPEST);
    // A coil that nobody knows may have a ceiling a little above the maximum.
    let (clear, margin) = if book.facts.coil == Coil::Unknown && book.ceiling.is_none() {
        (CLEAR_UNKNOWN, MARGIN_UNKNOWN)
    } else {
        (CLEAR, MARGIN)
    };
    let clear = clear * line.slope.clamp(FLATTEST, STEEPEST);
    let margin = clear.clamp(margin.0 * cap, margin.1 * cap);
    // Under a ceiling it is far enough below the limiter as it is.
    let margin = if under_ceiling(book) {
        0.5 * margin
    } else {
        margin
    };
    (cap - margin - line.speed) / slope
}

/// Speed over the place of the high-speed screw: a straight line through the looks nearby, each as good
/// as its speed and its place are known, with what such screws usually change as a first guess.
struct Line {
    /// Where the screw stands, in rpm.
    speed: f64,
    /// What a turn changes, in rpm, and how well that is known.
    slope: f64,
    deviation: f64,
}

impl Line {
    fn through(book: &Book, look: &Look) -> Line {
        let place = book.screws.high;
        let guess = (0.5 * (STEEPEST + FLATTEST), 0.5 * STEEPEST);
        let mut looks: Vec<(f64, f64, f64)> = book
            .full
            .iter()
            .filter(|full| LINE.contains(&(full.out - place.out)))
            .map(|full| {
                let moved = (place.variance - full.variance).abs();
                let variance = (SPEED_ERROR * full.look.rpm).powi(2) + guess.0.powi(2) * moved;
                (place.out - full.out, full.look.rpm, 1.0 / variance)
            })
            .collect();
        if looks.is_empty() {
            looks.push((0.0, look.rpm, (SPEED_ERROR * look.rpm).powi(-2)));
        }
        let sum = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
            looks.iter().map(|(x, y, w)| w * of(*x, *y)).sum()
        };
        let prior = guess.1.powi(-2);
        let (n, x, y) = (sum(&|_, _| 1.0), sum(&|x, _| x), sum(&|_, y| y));
        let (xx, xy) = (
            sum(&|x, _| x * x) + prior,
            sum(&|x, y| x * y) + prior * guess.0,
        );
        let determinant = n * xx - x * x;
        Line {
            speed: (xx * y - x * xy) / determinant,
            slope: (n * xy - x * y) / determinant,
            deviation: (n / determinant).sqrt(),
        }
    }
}

/// How far it may be leaned towards where it was over the maximum, in turns: also where it was heard to be
/// for a moment, as long as no look says that it cannot have been.
pub(super) fn room_by_place(book: &Book) -> f64 {
    let cannot = |there: f64| {
        book.facts.maximum.is_some_and(|most| {
            book.full.iter().any(|full| {
                let leaner = (full.out - there).max(0.0) + CLEAR;
                full.look.rpm + NEVER_STEEPER * leaner < most
            })
        })
    };
    let there = book
        .overs
        .iter()
        .filter(|over| over.surely && !cannot(over.out))
        .map(|over| over.out)
        .chain(book.too_fast)
        .fold(f64::NEG_INFINITY, f64::max);
    0.8 * (book.screws.high.out - there) - CLEAR
}

/// A place at which it was over the maximum is forgotten when a look shows that no engine would be.
pub(super) fn forget_misheard(book: &mut Book, look: &Look) {
    if let (Some(there), Some(most)) = (book.too_fast, book.facts.maximum) {
        let leaner = (book.screws.high.out - there).max(0.0) + CLEAR;
        if look.rpm + NEVER_STEEPER * leaner < most {
            book.too_fast = None;
        }
    }
}

/// What the looks near the last one say a turn changes, in rpm; none where there are too few.
pub(super) fn slope(book: &Book) -> Option<f64> {
    let last = book.full.last()?;
    let near = |from: f64, to: f64| {
        let mut speeds: Vec<f64> = book
            .full
            .iter()
            .filter(|full| (from..to).contains(&(full.out - last.out)))
            .map(|full| full.look.rpm)
            .collect();
        (!speeds.is_empty()).then(|| quantile(&mut speeds, 0.5))
    };
    let here = near(-1.0 / 64.0, 1.0 / 64.0)?;
    let (place, there) = book
        .full
        .iter()
        .filter(|full| full.out - last.out > 1.5 / 32.0)
        .min_by(|a, b| a.out.total_cmp(&b.out))
        .map(|full| (full.out, full.look.rpm))?;
    Some((here - there) / (place - last.out))
}

/// Whether the burble goes and the speed rises while the throttle is held open and no screw is turned.
fn cleans_up(look: &Look) -> bool {
    look.cleaned > CLEANED && look.cleaned < FADE.1
}

/// What says that full throttle does not stay what it is while it is held.
pub(super) fn changing(look: &Look) -> Option<Symptom> {
    if fades(look) {
        Some(Symptom::Fades)
    } else {
        cleans_up(look).then_some(Symptom::CleansUp)
    }
}

/// How much a look speaks for fuel that does not last: 3 where the speed rises out of a burble, 2 where
/// it falls or differs much, 1 where it falls weakly.
pub(super) fn fading(book: &Book, look: &Look) -> u32 {
    if cleans_up(look) {
        3
    } else if fades(look) || unlike(book, look) {
        2
    } else {
        u32::from(look.fallen > WEAKLY && look.fallen < FADE.1)
    }
}
