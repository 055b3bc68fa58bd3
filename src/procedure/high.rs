//! High-speed screw: from rich until four-stroking just begins, never over the maximum.
//!
//! The first full throttle is opened half a turn richer than the base. Each look at full throttle is
//! short; the screw moves at idle, in the rest between two looks. The place where four-stroking
//! begins is estimated from all looks together (`onset`), and the screw approaches it from the rich
//! side, in moves that become smaller.
use serde::{Deserialize, Serialize};

use super::approach::{GOAL, SLOW};
use super::book::Book;
use super::ear::Look;
use super::limited::{self, Limiter};
use super::looks::{
    burbled, changing, fading, forget_misheard, is_odd, richer_by_speed, room, room_by_place, slope,
};
use super::moves::{MOST_AT_ONCE, leaner, steps};
use super::onset;
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{FULL, LONGER, Report, SHORT, Task};
use super::unheard;
use crate::guide::{Direction, Screw, Turn};

/// What is asked for, so that the first full throttle is `trade::FIRST_FULL_RICHER` richer also where
/// each turn falls a fifth short.
const SURELY_RICHER: Turn = Turn::thirty_seconds(20);
/// No place that it is to be richer than, in turns.
const NOWHERE: f64 = -100.0;
/// More looks than this give no more.
pub(super) const MOST: u32 = 26;
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
/// So many places of the screw at which nothing could be made out are one too many.
const MOST_DEAF: usize = 5;

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct High {
    /// Out to here before the next look, in turns.
    richer_to: f64,
    pub(super) looks: u32,
    /// Looks in which the firing could not be judged, one after the other.
    unjudged: u32,
    not_opened: u32,
    stalled: u32,
    over: u32,
    /// How often it only seemed to be.
    misheard: u32,
    /// How far it went out for that since the last look, in thirty-seconds.
    pub(super) drifted: u16,
    /// Looks in which the speed fell, twice where it fell much.
    faded: u32,
    /// Looks that were taken for misheard, one after the other.
    odd: u32,
    /// Turns out at the beginning.
    from: f64,
    /// Whether it is so near that looks are longer.
    pub(super) near: bool,
    /// In to here before the next look, in so many thirty-seconds at a time.
    #[serde(default)]
    pub(super) leaner_to: Option<(f64, u16)>,
    /// How often it was leaned past a place that was silent.
    #[serde(default)]
    pub(super) jumps: u32,
    /// Leaner than this it was heard to be clean, too often to go back there, in turns out.
    #[serde(default)]
    pub(super) cleaned: Option<f64>,
    /// Where it was leaned once to see what that does, and the skip ratio there.
    pub(super) tried: Option<(f64, f64)>,
}

impl High {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        if report != Report::Done {
            self.leaner_to = None;
        }
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
                if let Some(symptom) = book.too_fast_for_screws() {
                    return Next::Stuck(symptom);
                }
                if self.misheard > MOST {
                    return Next::Stuck(Symptom::Rounds);
                }
                let far = book.is_far_over();
                match book.rather_look() {
                    Some(look) if far && book.answers() => self.rather(book, &look),
                    _ => self.go_on(book),
                }
            }
            Report::OverMaximum { surely, .. } => {
                self.over += if surely { SURELY } else { 1 };
                book.over += 1;
                if let Some(symptom) = book.too_fast_for_screws() {
                    return Next::Stuck(symptom);
                }
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
    pub(super) fn go_on(&mut self, book: &Book) -> Next {
        let rest = self.richer_to - book.screws.high.out;
        if rest > 1.0 / 64.0 && !book.at_stop(Screw::High, Direction::Out) {
            return Next::Do(Task::turn(Screw::High, Direction::Out, steps(rest, 8)));
        }
        // Moves from here on are made by ear.
        self.richer_to = NOWHERE;
        if let Some((to, most)) = self.leaner_to.take() {
            let rest = book.screws.high.out - to;
            if rest > 1.0 / 64.0 && !book.at_stop(Screw::High, Direction::In) {
                self.leaner_to = Some((to, most));
                return Next::Do(Task::turn(Screw::High, Direction::In, steps(rest, most)));
            }
        }
        self.look(book)
    }

    pub(super) fn look(&self, book: &Book) -> Next {
        Next::Do(match (book.is_hasty(), self.near) {
            (true, _) => SHORT,
            (_, true) => LONGER,
            _ => FULL,
        })
    }

    /// A look that was misheard as one over the maximum, as what it is.
    fn rather(&mut self, book: &mut Book, look: &Look) -> Next {
        let place = book.screws.high;
        let distance = onset::distance(&book.full, place.out, place.variance);
        let room = room(book, look).min(room_by_place(book));
        let lean = (distance.at_least - GOAL).min(room - 0.1).min(0.25);
        if lean < 1.5 / 32.0 || book.at_stop(Screw::High, Direction::In) {
            return self.go_on(book);
        }
        Next::Do(leaner(book, steps(lean, MOST_AT_ONCE), room))
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
        if book.is_part_of_over(look) && !book.at_stop(Screw::High, Direction::Out) {
            // Not a slow one, but the too fast one once more.
            self.looks += 1;
            return self.out(book, 8);
        }
        forget_misheard(book, look);
        self.looks += 1;
        book.low_at_high = book.screws.low.out;
        self.faded += fading(book, look);
        let symptom = changing(look);
        if let Some(symptom) = symptom {
            book.sign(symptom);
        }
        if self.faded >= FADES {
            return Next::Stuck(symptom.unwrap_or(Symptom::Fades));
        }
        if let Some(symptom) = book.runs_pinned(look) {
            return Next::Stuck(symptom);
        }
        match limited::hear(book, look) {
            Limiter::Off => {}
            Limiter::Doubtful => return Next::Do(FULL),
            Limiter::On => return self.on_ceiling(book, look),
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
        unheard::forget_silence(book, look);
        book.slope = slope(book).or(book.slope);
        if !burbled(book) && skip < onset::SILENT {
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
        if unheard::is_rich_by_speed(book) && !book.at_stop(Screw::High, Direction::In) {
            if self.looks > MOST {
                return Next::Stuck(Symptom::NoBurble);
            }
            // By the speed alone, as far as that is safe.
            return match unheard::lean_by_speed(book, look) {
                Some(lean) => Next::Do(leaner(book, steps(lean, 4), 0.0)),
                None => {
                    book.capped = true;
                    self.finish(book, look)
                }
            };
        }
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

    /// Against the ceiling of its coil: richer, if it can be.
    fn on_ceiling(&mut self, book: &mut Book, look: &Look) -> Next {
        book.pressed(look);
        if book.at_stop(Screw::High, Direction::Out) && self.looks > 3 {
            return Next::Stuck(Symptom::TooFast);
        }
        self.out(book, 4)
    }

    pub(super) fn out(&mut self, book: &Book, steps: u16) -> Next {
        if book.at_stop(Screw::High, Direction::Out) {
            return Next::Do(FULL);
        }
        if self.looks > MOST {
            return Next::Stuck(Symptom::Rounds);
        }
        Next::Do(Task::turn(Screw::High, Direction::Out, steps))
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::machine::Profile;
    use crate::procedure::facts::Facts;

    /// A look at full throttle.
    fn look(skip: f64) -> Look {
        Look {
            rpm: 9_000.0,
            spread: 0.0,
            drift: 0.0,
            skip: Some(skip),
            limiter: 0.0,
            seconds: 4.0,
            fallen: 0.0,
            cleaned: 0.0,
        }
    }

    /// What follows the first look with the low-speed screw as it stands.
    fn after_a_look(skip: f64) -> Next {
        let mut book = Book::new(Facts::of(&Profile::default()));
        High::default().next(&mut book, Report::Heard(look(skip)))
    }

    #[test]
    fn a_burble_that_goes_while_the_throttle_is_held_stops_at_the_second_look() {
        let mut book = Book::new(Facts::of(&Profile::default()));
        let mut high = High::default();
        let cleaned = Report::Heard(Look {
            cleaned: 0.1,
            ..look(0.3)
        });
        let first = high.next(&mut book, cleaned);
        assert!(!matches!(first, Next::Stuck(_)), "{first:?}");
        assert_eq!(
            high.next(&mut book, cleaned),
            Next::Stuck(Symptom::CleansUp)
        );
    }

    #[test]
    fn a_light_burble_at_the_first_look_is_one() {
        let far_out = Next::Do(Task::turn(Screw::High, Direction::Out, 8));
        assert_eq!(after_a_look(0.0), far_out);
        assert_ne!(after_a_look(0.08), far_out);
    }
}
