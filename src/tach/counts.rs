//! Counts over seconds what speaks for other bases than the path's own.
//!
//! A slip (`slip`) at the base taken says that the crank turns twice (three times) as fast; lines of half (a
//! third of) the order that stay in step without a slip for seconds say that it turns at half (a
//! third) of the speed. Where the path skips in a rhythm itself, its period is several turns, and a
//! slip by another part of it says that the same period holds another number of turns.
//!
//! What tells most is the memory of turns (`memory`): two kinds of them that are the same but for a
//! shift by a part of a turn are one firing at two places, so that what was taken for one turn, or for
//! one period of the rhythm, holds as many turns as the shift has parts.
use super::angle::Turns;
use super::evidence::RHYTHMS;
use super::fit::TwoKinds;
use super::memory::Memory;
use super::slip::{Comparison, Likeness};

/// Memory of the counts: 3 s, per hop.
const MEMORY: f64 = 0.9947;
/// Weight of a hop that shows a slip.
const SLIP: f64 = 1.6;
/// Weight of a hop in step, against a slip.
const IN_STEP: f64 = 0.012;
/// Relative change of speed a second above which nothing is counted: a cut along a moving path is
/// not exact enough.
const MOVING: f64 = 0.5;
/// Likeness of the odd lines from which they count as in step.
const COHERENT: f64 = 0.6;
/// Likeness that half-order lines need, and by how much it may fall short of that of the whole
/// orders, to count as in step with them; a shortfall beyond which they are not.
const IN_COMPANY: f64 = 0.35;
const LAG: f64 = 0.25;
const ALONE: f64 = 0.4;
/// Weight of a hop whose half-order lines are in step, for half of the speed.
const HALF: f64 = 0.05;
/// Weight of a slip of the half-order lines, against half of the speed: in simulation no engine at
/// half of the path's speed showed one, while steady skipping shows at least one in 50 hops.
const AGAINST_HALF: f64 = 3.0;
/// Memory of the count for half of the speed: 8 s, per hop.
const LONG_MEMORY: f64 = 0.998;
/// A jump of the path, as a ratio from hop to hop, that starts the count anew.
const JUMP: f64 = 1.15;

/// Two kinds of turns that are the same but for a shift: how far apart they stand and how much they
/// explain at least; how unlike they may be in the lines that the shift leaves as they are and have
/// to be in the others; the least power of one against the other.
const APART: f64 = 5.0;
const EXPLAINED: f64 = 0.4;
const SHIFTED: [f64; 2] = [0.1, 0.6];
const AS_LOUD: f64 = 0.4;
/// Share of either kind among the turns, at least.
const BOTH: f64 = 0.04;
/// Turns that have to come in turn, one kind and the other, to count as in step at half of the speed.
const IN_TURN: usize = 100;
/// Weight of a hop that shows them: 0.1 s decide, since a second of turns speaks.
const SHIFT_SEEN: f64 = 0.6;

/// Share of a rhythm, in the running mean, from which it is the path's.
pub(super) const RHYTHM: f32 = 0.5;
/// Largest counts in favour of another base: 2 s at a slip in ten hops, 6 s in step.
const MOST: f64 = 8.0;
pub(super) const MOST_HALF: f64 = 12.0;

/// The evidence after one hop.
#[derive(Clone, Copy, Debug, Default)]
pub struct Counts {
    /// Number of the unbroken stretch of path that the hop belongs to.
    pub stretch: u32,
    /// For twice the speed.
    pub double: f64,
    /// For three times the speed.
    pub triple: f64,
    /// For a period of 2, 3, 4 turns, where the path has one of [`Counts::period`].
    pub shifts: [f64; 3],
    /// Turns of the path from one firing to the next, 1 to 4.
    pub period: u8,
    /// For half of the speed.
    pub half: f64,
    /// For a third of the speed.
    pub third: f64,
    /// Running mean of the path's rhythm: every turn, every 2nd, 3rd, 4th.
    pub rhythm: [f32; RHYTHMS],
    /// Hops in a row in which the speed is steady, up to this one.
    pub steady: u32,
    /// How alike the lines of successive looks are at the path's base, -1 to 1: a running mean.
    pub coherence: f64,
    /// The comparison at the path's base.
    pub whole: Likeness,
    /// The comparison at half of it.
    pub halves: Likeness,
    /// The comparison at a third of it.
    pub thirds: Likeness,
}

/// Counts slips along a path.
pub struct Counter {
    whole: Comparison,
    halves: Comparison,
    thirds: Comparison,
    counts: Counts,
    /// The last comparisons at the path's base, at half and at a third of it.
    seen: [Likeness; 3],
    /// The turns of the path by periods, where one has several.
    periods: Memory,
    /// Every second turn is of the other kind, without a slip.
    in_turn: bool,
    /// The shift that the kinds of turns differ by, as parts of a turn.
    shift: Option<usize>,
    last: f64,
}

impl Counter {
    /// Nothing counted.
    pub fn new() -> Self {
        Counter {
            whole: Comparison::new(1),
            halves: Comparison::new(2),
            thirds: Comparison::new(3),
            counts: Counts::default(),
            seen: Default::default(),
            periods: Memory::default(),
            in_turn: false,
            shift: None,
            last: 0.0,
        }
    }

    /// Takes one hop of the path: its cut and what its turns show, its speed (revolutions a second),
    /// relative change a second and rhythm.
    pub fn push(
        &mut self,
        hop: usize,
        look: &Turns,
        kinds: &TwoKinds,
        speed: f64,
        change: f64,
        rhythm: &[f32; RHYTHMS],
    ) -> Counts {
        self.seen = [&mut self.whole, &mut self.halves, &mut self.thirds].map(|c| c.compare(look));
        let c = &mut self.counts;
        if self.last > 0.0 && (speed / self.last > JUMP || self.last / speed > JUMP) {
            *c = Counts {
                stretch: c.stretch.wrapping_add(1),
                rhythm: *rhythm,
                ..Counts::default()
            };
        }
        if self.last == 0.0 {
            c.rhythm = *rhythm;
        }
        self.last = speed;
        let most = c.rhythm.iter().position(|share| *share > RHYTHM);
        let mut period = most.unwrap_or(0) as u8 + 1;
        // Distinct turns without a rhythm may be every second one of a period that slips by less.
        if period == 1 && distinct(kinds) && shift(kinds).is_none() {
            period = 2;
        }
        if period != c.period {
            c.period = period;
            c.shifts = [0.0; 3];
        }
        let by_periods = if period == 1 {
            *kinds
        } else {
            self.periods.look(hop, speed, period, look)
        };
        self.shift = shift(&by_periods);
        self.in_turn = distinct(kinds) && kinds.turns >= IN_TURN && kinds.repeats < 0.7;
        self.again(change, rhythm)
    }

    /// Takes a hop that shares the cut of the one before it.
    pub fn again(&mut self, change: f64, rhythm: &[f32; RHYTHMS]) -> Counts {
        let [whole, halves, thirds] = self.seen;
        let c = &mut self.counts;
        c.double *= MEMORY;
        c.triple *= MEMORY;
        c.shifts = c.shifts.map(|shift| MEMORY * shift);
        c.half *= LONG_MEMORY;
        c.third *= LONG_MEMORY;
        for (mean, now) in c.rhythm.iter_mut().zip(rhythm) {
            *mean += (1.0 - MEMORY as f32) * (now - *mean);
        }
        c.steady = if change.abs() < MOVING {
            c.steady + 1
        } else {
            0
        };
        if change.abs() < MOVING {
            c.coherence += (1.0 - MEMORY) * (whole.halves - c.coherence);
            if let Some(shift) = self.shift {
                let count = &mut c.shifts[shift - 2];
                *count = (*count + SHIFT_SEEN).min(MOST);
            }
            if whole.half_slip {
                c.double += SLIP;
            } else if whole.halves > COHERENT {
                c.double -= IN_STEP;
            }
            if whole.third_slip && !whole.half_slip {
                c.triple += SLIP;
            } else if whole.halves > COHERENT {
                c.triple -= IN_STEP;
            }
            if halves.half_slip {
                c.half -= AGAINST_HALF;
            } else if self.in_turn
                || halves.halves > IN_COMPANY && halves.halves > halves.whole - LAG
            {
                c.half += HALF;
            } else if halves.whole > halves.halves + ALONE {
                c.half -= HALF;
            }
            if thirds.third_slip {
                c.third -= AGAINST_HALF;
            } else if thirds.thirds > IN_COMPANY && thirds.thirds > thirds.whole_thirds - LAG {
                c.third += HALF;
            } else if thirds.whole_thirds > thirds.thirds + ALONE {
                c.third -= HALF;
            }
        }
        c.double = c.double.clamp(-2.0, MOST);
        c.triple = c.triple.clamp(-2.0, MOST);
        c.half = c.half.clamp(-6.0, MOST_HALF);
        c.third = c.third.clamp(-6.0, MOST_HALF);
        c.whole = whole;
        c.halves = halves;
        c.thirds = thirds;
        *c
    }
}

/// The part of a turn (2 is a half) by which two kinds of turns differ, and by nothing else: the sound
/// of one firing in two places, which at the crank's own base it never has.
fn shift(kinds: &TwoKinds) -> Option<usize> {
    let shifted = kinds
        .unlike
        .iter()
        .position(|[stays, turns]| *stays < SHIFTED[0] && *turns > SHIFTED[1]);
    shifted
        .filter(|_| distinct(kinds) && kinds.power > AS_LOUD)
        .map(|i| i + 2)
}

/// Whether there are two kinds of turns beyond doubt.
fn distinct(kinds: &TwoKinds) -> bool {
    kinds.distance > APART && kinds.gain > EXPLAINED && (BOTH..1.0 - BOTH).contains(&kinds.share)
}

impl Default for Counter {
    fn default() -> Self {
        Self::new()
    }
}
