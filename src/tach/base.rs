//! Decides the base: the crank itself, its double, its triple or its half.
//!
//! The chain of `path` follows one set of lines; which of them is the crank it knows only
//! from their levels. The slips of the rhythm (`slip`) are counted here over seconds: a
//! slip at the base taken says that the crank turns twice (three times) as fast; half-order lines
//! that stay in step without a slip for seconds say that it turns at half the speed.
use super::angle::Turns;
use super::slip::{Comparison, Likeness};
use crate::machine::SpeedRange;
use crate::units::Rpm;

/// Memory of the counts: 3 s, per hop.
const MEMORY: f64 = 0.9947;
/// Weight of a hop that shows a slip.
const SLIP: f64 = 1.6;
/// Weight of a hop in step, against a slip.
const IN_STEP: f64 = 0.012;
/// Count from which the base is changed.
const ENOUGH: f64 = 3.0;
/// Count from which half of the speed is taken where both speeds are as likely: 6 s and more in
/// step without a slip. The unlike speeds shift it .
const ENOUGH_HALF: f64 = 4.5;
/// Level alternation at half of the speed, in dB, that is as usual for a clean engine there as for a
/// skipping one at the whole, the step from it that counts one, and the weight of a step. On annotated
/// recordings a clean engine shows -8 to +2 dB at its true base, a skipping one +2.5 to +24 dB at half
/// of it.
const EVEN_LEVELS: f64 = 4.0;
const PER_LEVEL: f64 = 2.5;
const LEVELS: f64 = 1.5;
/// By how much a difference of one in the likelihood of the speeds shifts that count.
const SHIFT: f64 = 2.0;
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
    /// The last comparisons at the path's base and at half of it.
    seen: (Likeness, Likeness),
    last: f64,
}

impl Counter {
    /// Nothing counted.
    pub fn new() -> Self {
        Counter {
            whole: Comparison::new(1),
            halves: Comparison::new(2),
            counts: Counts::default(),
            seen: Default::default(),
            last: 0.0,
        }
    }

    /// Takes one hop of the path: its cut, its speed (revolutions a second) and relative change a
    /// second.
    pub fn push(&mut self, look: &Turns, speed: f64, change: f64) -> Counts {
        self.seen = (self.whole.compare(look), self.halves.compare(look));
        let c = &mut self.counts;
        if self.last > 0.0 && (speed / self.last > JUMP || self.last / speed > JUMP) {
            *c = Counts {
                stretch: c.stretch.wrapping_add(1),
                ..Counts::default()
            };
        }
        self.last = speed;
        self.again(change)
    }

    /// Takes a hop that shares the cut of the one before it.
    pub fn again(&mut self, change: f64) -> Counts {
        let (whole, halves) = self.seen;
        let c = &mut self.counts;
        c.double *= MEMORY;
        c.triple *= MEMORY;
        c.half *= LONG_MEMORY;
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
                c.half -= AGAINST_HALF;
            } else if halves.halves > IN_COMPANY && halves.halves > halves.whole - LAG {
                c.half += HALF;
            } else if halves.whole > halves.halves + ALONE {
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

/// Logarithm of how likely an engine of this class runs at a speed for seconds, roughly: at idle and
/// at full throttle, hardly between them or beyond (ranges over all classes of the common-practice
/// speeds in [`crate::machine`]; common practice, no source).
fn likely(speed: Rpm) -> f64 {
    match speed.0 {
        s if s < 1_900.0 => -3.0,
        s if s < 3_400.0 => 0.0,
        s if s < 5_800.0 => -1.5,
        s if s < 14_800.0 => 0.0,
        _ => -2.0,
    }
}

/// Decides from the counts now and those to come (as far as they are known), for a path at `speed`
/// whose crank must lie in `band`.
pub fn decide<'a>(
    now: &Counts,
    later: impl Iterator<Item = &'a Counts>,
    before: Base,
    speed: Rpm,
    band: SpeedRange,
) -> Base {
    let mut most = *now;
    for c in later.take_while(|c| c.stretch == now.stretch) {
        most.double = most.double.max(c.double);
        most.triple = most.triple.max(c.triple);
        most.half = most.half.max(c.half);
    }
    let times = |base: Base| Rpm(speed.0 * base.factor());
    let levels = ((EVEN_LEVELS - now.halves.alternation) / PER_LEVEL).clamp(-3.0, 2.0);
    let half = ENOUGH_HALF + SHIFT * (likely(speed) - likely(times(Base::Half))) - LEVELS * levels;
    let half = half.max(1.0);
    let enough = |base: Base, count: f64, least: f64| {
        // What was decided stays until most of the count has gone.
        let least = if before == base { 0.5 * least } else { least };
        let crank = times(base);
        count > least && crank.0 >= band.low().0 && crank.0 <= band.high().0
    };
    if most.double >= most.triple && enough(Base::Double, most.double, ENOUGH) {
        Base::Double
    } else if enough(Base::Triple, most.triple, ENOUGH) {
        Base::Triple
    } else if enough(Base::Half, most.half, half) {
        Base::Half
    } else {
        Base::Same
    }
}
