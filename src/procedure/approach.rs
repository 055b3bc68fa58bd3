//! Towards the place where it just four-strokes: how far in or out next, and when it is left.
use super::book::Book;
use super::ear::Look;
use super::high::{High, MOST};
use super::looks::{
    FAR_RICH, far_outside, heaviest_richer, here, is_far_rich, outside, returned, room,
    room_by_place, under_ceiling,
};
use super::moves::{MOST_AT_ONCE, leaner, steps};
use super::onset::{self, Distance};
use super::stage::Next;
use super::stuck::Symptom;
use super::{peak, unheard};
use crate::guide::{Direction, Screw};

/// The goal lies this much rich of just four-stroking, in turns: in doubt richer.
pub(super) const GOAL: f64 = 0.03;
/// Nearer than this it is left alone.
const NEAR: f64 = 0.018;
/// From here on looks are longer.
const NEARBY: f64 = 0.2;
/// Further away than this it is set again, in turns.
const OFF: f64 = 0.03;
/// As sure as this it must be before it is left, in turns.
const SURE: f64 = 0.022;
/// What is not sure counts against a leaner turn, less with each look at a place.
const DOUBT: [f64; 3] = [0.5, 0.3, 0.15];
/// Where it may stand this far lean of that, the burble is looked for again.
const LEAN: f64 = -0.035;
/// A hearing that is dull with this probability need not hear it where it surely is, by so many standard
/// deviations.
const DULL: f64 = 0.5;
const CERTAIN: f64 = 1.5;
/// So much richer than a place that had become clean it stays, in turns.
const CLEANED: f64 = 0.02;
/// With more room than this to the fastest that is allowed, in turns, a leaner place is tried once.
const ROOMY: f64 = 0.2;
/// It became lighter there where less than this share of the skip ratio is left.
const LIGHTER: f64 = 0.75;
/// So often it is leaned past a place that was silent.
const JUMPS: u32 = 3;
/// Slower than this share of the slowest full throttle is slow.
pub(super) const SLOW: f64 = 0.97;
const SLOW_TYPICAL: f64 = 0.88;
/// A setting further than this from the base is a sign; further than that a fault, in turns.
const FAR: f64 = 0.55;
const TOO_FAR: f64 = 0.9;

impl High {
    pub(super) fn towards(
        &mut self,
        book: &mut Book,
        look: &Look,
        skip: f64,
        distance: Distance,
    ) -> Next {
        let room = room(book, look).min(room_by_place(book));
        let burbles = skip >= onset::HEARD;
        let again = here(book).filter(|look| look.skip.is_some()).count();
        // Where the place is not yet sure, only as far as it likely is.
        let doubt = DOUBT.get(again.max(1) - 1).copied().unwrap_or(0.0);
        let careful = distance.mean - doubt * distance.deviation;
        let by_ear = careful.max(distance.at_least.min(distance.mean)) - GOAL;
        book.peak = peak::leanest(book);
        let to_peak = book.peak.map_or(1.0, |peak| book.screws.high.out - peak);
        // It is not leaned again to where it had to come back from.
        let to_cleaned = self
            .cleaned
            .map_or(1.0, |place| book.screws.high.out - place - CLEANED);
        let lean = by_ear.min(room).min(to_peak).min(to_cleaned);
        let rich = GOAL - distance.mean;
        self.near = distance.mean < NEARBY;
        let untried_out = !book.at_stop(Screw::High, Direction::Out);
        let untried = outside(book) && untried_out;
        if room < NEAR && skip >= onset::HEAVY && untried && heaviest_richer(book).is_none() {
            // Is it as heavy as it gets? Richer once, and back.
            return self.out(book, 3);
        }
        if room < NEAR && is_far_rich(book, look, skip, distance) {
            return if again >= 2 {
                Next::Stuck(Symptom::TooFast)
            } else {
                self.look(book)
            };
        }
        if self.looks > MOST {
            return self.finish(book, look);
        }
        if room < -1.0 / 32.0 {
            // Faster than it may be, though not over the maximum.
            return self.out(book, steps(-room, 4));
        }
        if to_peak < -1.0 / 64.0 && untried_out {
            // Leaner was no faster: too lean, however it sounds.
            return self.out(book, steps(-to_peak, 4));
        }
        if self.jumps < JUMPS
            && !book.at_stop(Screw::High, Direction::In)
            && let Some(place) = unheard::beyond_silence(book, look)
        {
            self.jumps += 1;
            self.leaner_to = Some((place, 4));
            return self.go_on(book);
        }
        if rich > NEAR && (distance.deviation < 0.06 || !burbles) {
            let most = if burbles { 2 } else { 4 };
            return self.out(book, steps(rich, most));
        }
        if !burbles && again >= 2 && distance.mean - distance.deviation < LEAN {
            // Cleaned up: out until it just returns.
            return self.out(book, 1);
        }
        if lean > NEAR && burbles && !book.at_stop(Screw::High, Direction::In) {
            let far = skip >= onset::HEAVY && distance.at_least > 0.4 && room > 0.4;
            // What it went out for nothing it comes in again, where that is safe.
            let heavy = skip >= onset::HEAVY && room > 0.4;
            let drifted = std::mem::take(&mut self.drifted);
            let most = match (far, heavy) {
                (true, _) => MOST_AT_ONCE,
                (_, true) => (4 + drifted).min(MOST_AT_ONCE),
                _ => 4,
            };
            let surely = distance.at_least.min(room - 0.1).min(to_peak);
            if most > 3
                && let Some(place) = unheard::beyond_deaf(book, lean)
                && book.screws.high.out - place < surely
            {
                self.leaner_to = Some((place, most));
                return self.go_on(book);
            }
            return Next::Do(leaner(book, steps(lean, most), room));
        }
        let held_back = room < by_ear && room < NEAR;
        let kept = to_peak < by_ear && to_peak < NEAR;
        let sure = distance.deviation < SURE || held_back || kept || to_cleaned < NEAR;
        let enough = again >= 3 && sure || again >= 5;
        if enough && !held_back {
            match returned(book) {
                _ if is_there(&distance) => {}
                Some(true) => {}
                // Out until it has surely returned.
                Some(false) => {
                    self.cleaned = Some(book.screws.high.out);
                    return self.out(book, 1);
                }
                None => return self.look(book),
            }
        }
        if enough && !held_back && room > ROOMY && burbles && self.is_worth_a_try(book) {
            return Next::Do(leaner(book, 2, room));
        }
        let far_rich = skip >= onset::HEAVY && distance.at_least > FAR_RICH && far_outside(book);
        if enough && held_back && far_rich && !under_ceiling(book) {
            // As fast as it may be, far out, and still heavy: no mixture explains that.
            return Next::Stuck(Symptom::TooFast);
        }
        if enough {
            book.capped = held_back || kept;
            return self.finish(book, look);
        }
        self.look(book)
    }

    /// Far slower than it may be, it is perhaps richer than it sounds: a sixteenth leaner tells. Where
    /// the burble does not become lighter there, once more.
    fn is_worth_a_try(&mut self, book: &Book) -> bool {
        let place = book.screws.high.out;
        let skips: Vec<f64> = here(book).filter_map(|look| look.skip).collect();
        let mean = skips.iter().sum::<f64>() / skips.len().max(1) as f64;
        let worth = self
            .tried
            .is_none_or(|(there, before)| place < there - 1.0 / 64.0 && mean > LIGHTER * before);
        if worth {
            self.tried = Some((place, mean));
        }
        worth
    }

    pub(super) fn finish(&mut self, book: &mut Book, look: &Look) -> Next {
        let share = if book.facts.full_is_typical {
            SLOW_TYPICAL
        } else {
            SLOW
        };
        if book.facts.slowest.is_some_and(|low| look.rpm < share * low) {
            return Next::Stuck(Symptom::Slow);
        }
        if book.screws.high.absolute {
            let out = book.screws.high.out;
            if out > TOO_FAR {
                return Next::Stuck(if book.capped {
                    Symptom::TooFast
                } else {
                    Symptom::HighFarFromBase
                });
            }
            if out > FAR {
                book.sign(Symptom::HighFarFromBase);
            }
        }
        Next::Done
    }
}

/// Whether it surely four-strokes where the screw stands, although that is heard too light.
fn is_there(distance: &Distance) -> bool {
    distance.dull > DULL && distance.mean - CERTAIN * distance.deviation > LEAN
}

/// Whether the looks say together that it was left off the goal, after all.
pub(super) fn is_off(book: &Book) -> bool {
    let place = book.screws.high;
    let distance = onset::distance(&book.full, place.out, place.variance);
    !book.capped && (distance.mean - GOAL).abs() > OFF + distance.deviation
}
