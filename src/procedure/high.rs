//! High-speed screw: from rich until four-stroking just begins, never over the maximum.
//!
//! The first full throttle is opened half a turn richer than the base. Each look at full throttle is
//! short; the screw moves at idle, in the rest between two looks. The place where four-stroking
//! begins is estimated from all looks together (`onset`), and the screw approaches it from the rich
//! side, in moves that become smaller.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::ear::Look;
use super::limited::{self, Limiter};
use super::looks::{
    FAR_RICH, burbled, fades, fading, far_outside, forget_misheard, heaviest_richer, here,
    is_far_rich, is_odd, outside, returned, richer_by_speed, room, room_by_place, slope,
    under_ceiling,
};
use super::moves::{MOST_AT_ONCE, leaner, steps};
use super::onset::{self, Distance};
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{FULL, LONGER, Report, Task};
use crate::guide::{Direction, Screw, Turn};

/// The goal lies this much rich of just four-stroking, in turns: in doubt richer.
const GOAL: f64 = 0.03;
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
/// What is asked for, so that the first full throttle is `trade::FIRST_FULL_RICHER` richer also where
/// each turn falls a fifth short.
const SURELY_RICHER: Turn = Turn::thirty_seconds(20);
/// No place that it is to be richer than, in turns.
const NOWHERE: f64 = -100.0;
/// More looks than this give no more.
const MOST: u32 = 26;
/// Without a burble so many turns beyond the beginning: the screw has no answer.
const NO_ANSWER: f64 = 1.25;
/// So many times over the maximum, one that was surely heard counted twice: no screw explains it.
const TOO_OFTEN: u32 = 12;
const SURELY: u32 = 2;
/// So many looks in which the speed falls, each counted twice where it does so much: the fuel does not
/// last.
const FADES: u32 = 6;
/// So many looks, one after the other, whose speed is away from the others by a factor are taken for
/// misheard.
const ODD: u32 = 3;
/// With more room than this to the fastest that is allowed, in turns, a leaner place is tried once.
const ROOMY: f64 = 0.2;
/// It became lighter there where less than this share of the skip ratio is left.
const LIGHTER: f64 = 0.75;
/// So many places of the screw at which nothing could be made out are one too many.
const MOST_DEAF: usize = 5;
/// Slower than this share of the slowest full throttle is slow.
const SLOW: f64 = 0.97;
const SLOW_TYPICAL: f64 = 0.88;
/// A setting further than this from the base is a sign; further than that a fault, in turns.
const FAR: f64 = 0.55;
const TOO_FAR: f64 = 0.9;

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct High {
    /// Out to here before the next look, in turns.
    richer_to: f64,
    looks: u32,
    /// Looks in which the firing could not be judged, one after the other.
    unjudged: u32,
    not_opened: u32,
    stalled: u32,
    over: u32,
    /// How often it only seemed to be.
    misheard: u32,
    /// How far it went out for that since the last look, in thirty-seconds.
    drifted: u16,
    /// Looks in which the speed fell, twice where it fell much.
    faded: u32,
    /// Looks that were taken for misheard, one after the other.
    odd: u32,
    /// Turns out at the beginning.
    from: f64,
    /// Whether it is so near that looks are longer.
    near: bool,
    /// Where it was leaned once to see what that does, and the skip ratio there.
    tried: Option<(f64, f64)>,
}

impl High {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        match report {
            Report::Begin => self.begin(book),
            Report::Done => self.go_on(book),
            Report::AtStop | Report::Cannot => {
                self.richer_to = book.screws.high.out;
                Next::Do(FULL)
            }
            Report::OverMaximum { misheard: true, .. } => {
                self.misheard += 1;
                self.drifted += 1;
                if self.misheard > MOST {
                    return Next::Stuck(Symptom::Rounds);
                }
                self.go_on(book)
            }
            Report::OverMaximum { surely, .. } => {
                self.over += if surely { SURELY } else { 1 };
                book.over += 1;
                let stopped = book.at_stop(Screw::High, Direction::Out);
                if self.over >= TOO_OFTEN || (stopped && self.over > SURELY) {
                    return Next::Stuck(if burbled(book) {
                        Symptom::TooFast
                    } else {
                        Symptom::TooFastClean
                    });
                }
                self.go_on(book)
            }
            Report::NotOpened => {
                self.not_opened += 1;
                match self.not_opened {
                    1 | 3 => Next::Do(FULL),
                    2 => Next::Do(Task::turn(Screw::Low, Direction::Out, 4)),
                    _ => Next::Stuck(Symptom::Bog),
                }
            }
            Report::Stalled => {
                self.stalled += 1;
                if self.stalled >= 8 {
                    return Next::Stuck(Symptom::Bog);
                }
                self.go_on(book)
            }
            Report::Heard(look) => self.judge(book, &look),
            Report::Unheard => self.unheard(book),
            _ => self.go_on(book),
        }
    }

    fn begin(&mut self, book: &mut Book) -> Next {
        book.doubted = 0;
        *self = High {
            from: book.screws.high.out,
            ..High::default()
        };
        let richer = if !book.opened && book.screws.high.absolute {
            SURELY_RICHER.turns()
        } else if !book.opened {
            // Nobody knows where it stands.
            SURELY_RICHER.turns() + Turn::QUARTER.turns()
        } else if book.screws.low.out < book.low_at_high - 0.1 {
            // The low-speed screw has been leaned since: what was heard before no longer holds.
            Turn::EIGHTH.turns()
        } else {
            0.0
        };
        self.richer_to = book.screws.high.out + richer;
        self.go_on(book)
    }

    /// The rest of what it is to be richer, or the next look.
    fn go_on(&mut self, book: &Book) -> Next {
        let rest = self.richer_to - book.screws.high.out;
        if rest > 1.0 / 64.0 && !book.at_stop(Screw::High, Direction::Out) {
            return Next::Do(Task::turn(Screw::High, Direction::Out, steps(rest, 8)));
        }
        // Moves from here on are made by ear.
        self.richer_to = NOWHERE;
        self.look()
    }

    fn look(&self) -> Next {
        Next::Do(if self.near { LONGER } else { FULL })
    }

    /// Where the screw stands nothing can be made out: a little richer perhaps.
    fn unheard(&mut self, book: &mut Book) -> Next {
        book.deaf.push(book.screws.high.out);
        if book.deaf.len() > MOST_DEAF || book.at_stop(Screw::High, Direction::Out) {
            return Next::Stuck(Symptom::Rounds);
        }
        self.out(book, 4)
    }

    fn judge(&mut self, book: &mut Book, look: &Look) -> Next {
        if self.odd < ODD && is_odd(book, look) {
            self.odd += 1;
            return Next::Do(FULL);
        }
        self.odd = 0;
        forget_misheard(book, look);
        self.looks += 1;
        book.low_at_high = book.screws.low.out;
        self.faded += fading(book, look);
        if fades(look) {
            book.sign(Symptom::Fades);
        }
        if self.faded >= FADES {
            return Next::Stuck(Symptom::Fades);
        }
        match limited::hear(book, look) {
            Limiter::Off => {}
            Limiter::Doubtful => return Next::Do(FULL),
            Limiter::On => return self.out(book, 4),
        }
        let Some(skip) = look.skip else {
            self.unjudged += 1;
            return match self.unjudged {
                1 | 2 => Next::Do(FULL),
                n if n > 6 => Next::Stuck(Symptom::Rounds),
                _ => self.out(book, 4),
            };
        };
        self.unjudged = 0;
        book.full_look(*look);
        book.slope = slope(book).or(book.slope);
        if !burbled(book) {
            return self.no_burble(book, look);
        }
        let place = book.screws.high;
        let mut distance = onset::distance(&book.full, place.out, place.variance);
        if let Some(least) = richer_by_speed(book, look) {
            distance.mean = distance.mean.max(least);
            distance.at_least = distance.at_least.max(least);
        }
        self.towards(book, look, skip, distance)
    }

    /// Clean from the beginning: richer, and if that does not help there is no answer.
    fn no_burble(&mut self, book: &mut Book, look: &Look) -> Next {
        let gone = book.screws.high.out - self.from;
        let stopped = book.at_stop(Screw::High, Direction::Out);
        if gone > NO_ANSWER || stopped || self.looks > 9 {
            let slow = book.facts.slowest.is_some_and(|low| look.rpm < SLOW * low);
            return Next::Stuck(if slow {
                Symptom::CleanButSlow
            } else {
                Symptom::NoBurble
            });
        }
        self.out(book, 8)
    }

    fn out(&mut self, book: &Book, steps: u16) -> Next {
        if book.at_stop(Screw::High, Direction::Out) {
            return Next::Do(FULL);
        }
        if self.looks > MOST {
            return Next::Stuck(Symptom::Rounds);
        }
        Next::Do(Task::turn(Screw::High, Direction::Out, steps))
    }

    fn towards(&mut self, book: &mut Book, look: &Look, skip: f64, distance: Distance) -> Next {
        let room = room(book, look).min(room_by_place(book));
        let burbles = skip >= onset::HEARD;
        let again = here(book).filter(|look| look.skip.is_some()).count();
        // Where the place is not yet sure, only as far as it likely is.
        let doubt = DOUBT.get(again.max(1) - 1).copied().unwrap_or(0.0);
        let careful = distance.mean - doubt * distance.deviation;
        let by_ear = careful.max(distance.at_least.min(distance.mean)) - GOAL;
        let lean = by_ear.min(room);
        let rich = GOAL - distance.mean;
        self.near = distance.mean < NEARBY;
        let untried = outside(book) && !book.at_stop(Screw::High, Direction::Out);
        if room < NEAR && skip >= onset::HEAVY && untried && heaviest_richer(book).is_none() {
            // Is it as heavy as it gets? Richer once, and back.
            return self.out(book, 3);
        }
        if room < NEAR && is_far_rich(book, look, skip, distance) {
            return if again >= 2 {
                Next::Stuck(Symptom::TooFast)
            } else {
                self.look()
            };
        }
        if self.looks > MOST {
            return self.finish(book, look);
        }
        if room < -1.0 / 32.0 {
            // Faster than it may be, though not over the maximum.
            return self.out(book, steps(-room, 4));
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
            return Next::Do(leaner(book, steps(lean, most)));
        }
        let held_back = room < by_ear && room < NEAR;
        let enough = again >= 3 && (distance.deviation < SURE || held_back) || again >= 5;
        if enough && !held_back {
            match returned(book) {
                Some(true) => {}
                // Out until it has surely returned.
                Some(false) => return self.out(book, 1),
                None => return self.look(),
            }
        }
        if enough && !held_back && room > ROOMY && burbles && self.is_worth_a_try(book) {
            return Next::Do(leaner(book, 2));
        }
        let far_rich = skip >= onset::HEAVY && distance.at_least > FAR_RICH && far_outside(book);
        if enough && held_back && far_rich && !under_ceiling(book) {
            // As fast as it may be, far out, and still heavy: no mixture explains that.
            return Next::Stuck(Symptom::TooFast);
        }
        if enough {
            book.capped = held_back;
            return self.finish(book, look);
        }
        self.look()
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

    fn finish(&mut self, book: &mut Book, look: &Look) -> Next {
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

/// Whether the looks say together that it was left off the goal, after all.
pub(super) fn is_off(book: &Book) -> bool {
    let place = book.screws.high;
    let distance = onset::distance(&book.full, place.out, place.variance);
    !book.capped && (distance.mean - GOAL).abs() > OFF + distance.deviation
}

/// A sixteenth to a quarter richer, by how far it is over the maximum: an eighth changes 2 to 6 % of
/// the speed (`trade::EIGHTH_OF_HIGH`).
pub(super) fn enrichment(rpm: f64, maximum: f64) -> Turn {
    match rpm / maximum {
        over if over > 1.03 => Turn::QUARTER,
        over if over > 1.008 => Turn::EIGHTH,
        _ => Turn::thirty_seconds(2),
    }
}
