//! The fastest mixture at full throttle: four-stroking begins on its rich side, so that a place at which
//! leaner is no faster is too lean, however it sounds.
use super::book::Book;
use super::ear::quantile;
use super::looks;

/// Leaner by so much, in turns, it is past the peak where it has become slower by this share.
const LEANED: std::ops::Range<f64> = 0.02..0.2;
const SLOWER: f64 = 0.006;
/// So many standard deviations of the turns between make one place surely richer than another.
const CERTAIN: f64 = 1.5;
/// From this skip ratio on it is not lean, however fast.
const HEAVY: f64 = 0.35;
/// Four-stroking begins at least so much richer than such a place, in turns.
const BEYOND: f64 = 0.13;
/// Leaner by so much it is near the peak where a turn changes less than this share of what it changed
/// further out; a look's speed errs by the other.
const NEAR: std::ops::Range<f64> = 0.04..0.14;
const FLAT: f64 = 0.3;
const ERROR: f64 = 0.002;
/// Further out is so far from there, in turns, and changes at least this share of the speed for a turn.
const OUT: std::ops::Range<f64> = 0.12..0.6;
const STEEP: f64 = 0.1;
/// And so much richer it is at least right.
const A_LITTLE: f64 = 0.03;

/// The leanest place that is right, from the speeds; none where they do not tell.
pub(super) fn leanest(book: &Book) -> Option<f64> {
    let here = book.screws.high.out;
    let speed = median(book, |out| (out - here).abs() < 1.0 / 64.0)?;
    // What skips so much is not lean.
    let mut skips: Vec<f64> = looks::here(book).filter_map(|look| look.skip).collect();
    if skips.is_empty() || quantile(&mut skips, 0.5) > HEAVY {
        return book.peak;
    }
    let surely = if skips.len() > 1 {
        SLOWER
    } else {
        2.0 * SLOWER
    };
    // Hands err: with turns between, what seems richer may be leaner.
    let variance = book.screws.high.variance;
    let past = places(book, here, LEANED).any(|(place, rpm)| {
        let moved = (variance - variance_at(book, place)).max(0.0).sqrt();
        rpm * (1.0 - surely) > speed && place - here > CERTAIN * moved
    });
    let flat = || {
        let (near, rpm) = places(book, here, NEAR).min_by(|a, b| a.0.total_cmp(&b.0))?;
        let (far, slow) = places(book, near, OUT).max_by(|a, b| a.0.total_cmp(&b.0))?;
        let out = (rpm - slow) / (far - near);
        let flattest = (speed - rpm + ERROR * speed) / (near - here);
        (out > STEEP * speed && flattest < FLAT * out).then_some(here + A_LITTLE)
    };
    let found = if past { Some(here + BEYOND) } else { flat() };
    match (found, book.peak) {
        (Some(found), Some(known)) => Some(found.max(known)),
        (found, known) => found.or(known),
    }
}

/// Places of the screw that are so much richer, with their speeds.
fn places(
    book: &Book,
    from: f64,
    richer: std::ops::Range<f64>,
) -> impl Iterator<Item = (f64, f64)> + '_ {
    book.full
        .iter()
        .map(|full| full.out)
        .filter(move |out| richer.contains(&(out - from)))
        .filter_map(|place| {
            median(book, |out| (out - place).abs() < 1.0 / 128.0).map(|rpm| (place, rpm))
        })
}

/// How well the place of the screw was known when it was last listened to there, as a variance.
fn variance_at(book: &Book, place: f64) -> f64 {
    let looks = book.full.iter().rev();
    let mut at = looks.filter(|full| (full.out - place).abs() < 1.0 / 128.0);
    at.next().map_or(f64::NEG_INFINITY, |full| full.variance)
}

fn median(book: &Book, at: impl Fn(f64) -> bool) -> Option<f64> {
    let looks = book.full.iter().filter(|full| at(full.out));
    let mut speeds: Vec<f64> = looks.map(|full| full.look.rpm).collect();
    (!speeds.is_empty()).then(|| quantile(&mut speeds, 0.5))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::machine::Profile;
    use crate::procedure::book::FullLook;
    use crate::procedure::ear::Look;
    use crate::procedure::facts::Facts;

    /// A screw at 1.20 that came from 1.25, where it was faster by a hundredth; turns with so much
    /// variance lie between.
    fn leaner_and_slower(between: f64) -> Option<f64> {
        let mut book = Book::new(Facts::of(&Profile::default()));
        let look = |out: f64, variance: f64, rpm: f64| FullLook {
            out,
            variance,
            look: Look {
                rpm,
                spread: 0.0,
                drift: 0.0,
                skip: Some(0.1),
                limiter: 0.0,
                seconds: 4.0,
                fallen: 0.0,
                cleaned: 0.0,
            },
        };
        book.full = vec![
            look(1.25, 0.0, 8_080.0),
            look(1.20, between, 8_000.0),
            look(1.20, between, 8_000.0),
        ];
        (book.screws.high.out, book.screws.high.variance) = (1.20, between);
        leanest(&book)
    }

    #[test]
    fn leaner_and_slower_is_past_the_peak_only_where_the_place_is_sure() {
        // One turn of a sixteenth with an error of a fifth, and turns of half a turn in all.
        assert_eq!(leaner_and_slower(0.01f64.powi(2)), Some(1.20 + BEYOND));
        assert_eq!(leaner_and_slower(0.05f64.powi(2)), None);
    }
}
