//! Decides the base: the crank itself, its double, its triple or its half.
//!
//! The chain of [`super::path`] follows one set of lines; which of them is the crank it knows only
//! from their levels. The slips of the rhythm ([`super::slip`]) are counted here over seconds: a
//! slip at the base taken says that the crank turns twice (three times) as fast; half-order lines
//! that stay in step without a slip for seconds say that it turns at half the speed.
use super::angle::Turns;
use super::slip::{Comparison, Likeness};

/// Memory of the counts: 3 s, per hop.
const MEMORY: f64 = 0.9947;
/// Weight of a hop that shows a slip.
const SLIP: f64 = 1.6;
/// Weight of a hop in step, against a slip.
const IN_STEP: f64 = 0.012;
/// Count from which the base is changed.
const ENOUGH: f64 = 3.0;
/// Count from which half of the speed is taken: steady skipping without a slip reaches 3.4 in
/// simulation, a doubled clean engine 4.5 and more.
const ENOUGH_HALF: f64 = 4.0;
/// Relative change of speed a second above which nothing is counted: a cut along a moving path is
/// not exact enough.
const MOVING: f64 = 0.5;
/// Likeness of half-order lines that counts as in step.
const COHERENT: f64 = 0.6;
/// Weight of a hop whose half-order lines are in step, for half of the speed.
const HALF: f64 = 0.035;
/// A jump of the path, as a ratio from hop to hop, that starts the count anew.
const JUMP: f64 = 1.15;

/// How the crank stands to the path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Base {
    /// Half as fast.
    Half,
    /// The same.
    Same,
    /// Twice as fast: fires every second turn.
    Double,
    /// Three times as fast: fires every third turn.
    Triple,
}

impl Base {
    /// Crank speed over path speed.
    pub fn factor(self) -> f64 {
        match self {
            Base::Half => 0.5,
            Base::Same => 1.0,
            Base::Double => 2.0,
            Base::Triple => 3.0,
        }
    }
}

/// The evidence after one hop.
#[derive(Clone, Copy, Debug, Default)]
pub struct Counts {
    /// Number of the unbroken stretch of path that the hop belongs to.
    pub stretch: u32,
    /// For twice the speed.
    pub double: f64,
    /// For three times the speed.
    pub triple: f64,
    /// For half of the speed.
    pub half: f64,
    /// The comparison at the path's base.
    pub whole: Likeness,
    /// The comparison at half of it.
    pub halves: Likeness,
}

/// Counts slips along a path.
pub struct Counter {
    whole: Comparison,
    halves: Comparison,
    counts: Counts,
    last: f64,
}

impl Counter {
    /// Nothing counted.
    pub fn new() -> Self {
        Counter {
            whole: Comparison::new(1),
            halves: Comparison::new(2),
            counts: Counts::default(),
            last: 0.0,
        }
    }

    /// Takes one hop of the path: its cut, its speed (revolutions a second) and relative change a
    /// second.
    pub fn push(&mut self, look: &Turns, speed: f64, change: f64) -> Counts {
        let whole = self.whole.compare(look);
        let halves = self.halves.compare(look);
        let c = &mut self.counts;
        if self.last > 0.0 && (speed / self.last > JUMP || self.last / speed > JUMP) {
            *c = Counts {
                stretch: c.stretch.wrapping_add(1),
                ..Counts::default()
            };
        }
        self.last = speed;
        c.double *= MEMORY;
        c.triple *= MEMORY;
        c.half *= MEMORY;
        if change.abs() < MOVING {
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
                c.half -= 2.0 * SLIP;
            } else if halves.halves > COHERENT {
                c.half += HALF;
            } else {
                c.half -= HALF;
            }
        }
        c.double = c.double.clamp(-2.0, 8.0);
        c.triple = c.triple.clamp(-2.0, 8.0);
        c.half = c.half.clamp(-6.0, 6.0);
        c.whole = whole;
        c.halves = halves;
        *c
    }
}

impl Default for Counter {
    fn default() -> Self {
        Self::new()
    }
}

/// Decides from the counts now and those to come (as far as they are known).
pub fn decide<'a>(now: &Counts, later: impl Iterator<Item = &'a Counts>, before: Base) -> Base {
    let mut most = *now;
    for c in later.take_while(|c| c.stretch == now.stretch) {
        most.double = most.double.max(c.double);
        most.triple = most.triple.max(c.triple);
        most.half = most.half.max(c.half);
    }
    // What was decided stays until the count has gone.
    let stays = |base: Base| if before == base { 0.6 * ENOUGH } else { ENOUGH };
    if most.double > stays(Base::Double) && most.double >= most.triple {
        Base::Double
    } else if most.triple > stays(Base::Triple) {
        Base::Triple
    } else if most.half > stays(Base::Half) * ENOUGH_HALF / ENOUGH {
        Base::Half
    } else {
        Base::Same
    }
}
