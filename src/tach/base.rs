//! Decides the base: the path's own speed, or a simple ratio of it.
//!
//! The chain of `path` follows one set of lines; which of them is the crank it knows only
//! from their levels. The slips of the rhythm (`slip`) are counted here over seconds: a
//! slip at the base taken says that the crank turns twice (three times) as fast; lines of half (a
//! third of) the order that stay in step without a slip for seconds say that it turns at half (a
//! third) of the speed. Where the path skips in a rhythm itself, its period is several turns, and a
//! slip by another part of it says that the same period holds another number of turns.
use super::angle::Turns;
use super::evidence::RHYTHMS;
use super::slip::{Comparison, Likeness};
use super::usual::Usual;
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

/// Count from which a third of the speed is taken: in simulation engines that fire every third turn
/// stay below it but for one in fifty, whose skips do not slip.
const ENOUGH_THIRD: f64 = 7.0;
/// Share of a rhythm, in the running mean, from which it is the path's.
const RHYTHM: f32 = 0.5;
/// Largest counts in favour of another base: 2 s at a slip in ten hops, 6 s in step.
const MOST: f64 = 8.0;
const MOST_HALF: f64 = 12.0;

/// How the crank stands to the path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Base {
    /// A third as fast.
    Third,
    /// Half as fast.
    Half,
    /// Two thirds as fast: every second turn, where the path has every third.
    TwoThirds,
    /// The same.
    Same,
    /// Half as fast again: every third turn, where the path has every second.
    ThreeHalves,
    /// Twice as fast: fires every second turn.
    Double,
    /// Three times as fast: fires every third turn.
    Triple,
}

impl Base {
    /// Turns from one full firing to the next that the base stands for.
    pub fn every(self) -> usize {
        match self {
            Base::Third | Base::Half | Base::Same => 1,
            Base::TwoThirds | Base::Double => 2,
            Base::ThreeHalves | Base::Triple => 3,
        }
    }

    /// Crank speed over path speed.
    pub fn factor(self) -> f64 {
        match self {
            Base::Third => 1.0 / 3.0,
            Base::Half => 0.5,
            Base::TwoThirds => 2.0 / 3.0,
            Base::Same => 1.0,
            Base::ThreeHalves => 1.5,
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
    /// For a third of the speed.
    pub third: f64,
    /// Running mean of the path's rhythm: every turn, every 2nd, 3rd, 4th.
    pub rhythm: [f32; RHYTHMS],
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
            last: 0.0,
        }
    }

    /// Takes one hop of the path: its cut, its speed (revolutions a second), relative change a
    /// second and rhythm.
    pub fn push(
        &mut self,
        look: &Turns,
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
        self.again(change, rhythm)
    }

    /// Takes a hop that shares the cut of the one before it.
    pub fn again(&mut self, change: f64, rhythm: &[f32; RHYTHMS]) -> Counts {
        let [whole, halves, thirds] = self.seen;
        let c = &mut self.counts;
        c.double *= MEMORY;
        c.triple *= MEMORY;
        c.half *= LONG_MEMORY;
        c.third *= LONG_MEMORY;
        for (mean, now) in c.rhythm.iter_mut().zip(rhythm) {
            *mean += (1.0 - MEMORY as f32) * (now - *mean);
        }
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

impl Default for Counter {
    fn default() -> Self {
        Self::new()
    }
}

/// Decides from the counts now and those to come (as far as they are known), for a path at `speed`
/// whose crank must lie in `band` and whose engine fires `firings` times a revolution and lingers at
/// the `usual` speeds.
pub fn decide<'a>(
    now: &Counts,
    later: impl Iterator<Item = &'a Counts>,
    before: Base,
    speed: Rpm,
    band: SpeedRange,
    firings: f64,
    usual: Usual,
) -> Base {
    let mut most = *now;
    for c in later.take_while(|c| c.stretch == now.stretch) {
        most.double = most.double.max(c.double);
        most.triple = most.triple.max(c.triple);
        most.half = most.half.max(c.half);
        most.third = most.third.max(c.third);
    }
    let times = |base: Base| Rpm(speed.0 * base.factor());
    let levels = ((EVEN_LEVELS - now.halves.alternation) / PER_LEVEL).clamp(-3.0, 2.0);
    let half = ENOUGH_HALF + SHIFT * (usual.likely(speed) - usual.likely(times(Base::Half)))
        - LEVELS * levels;
    let half = half.max(1.0);
    // Two (three) unlike cylinders have lines in step at half (a third) of their firings by nature,
    // but weaker ones.
    let unlike = |cylinders: f64, lines: &Likeness| {
        (firings / cylinders).fract() == 0.0 && lines.alternation > 0.0
    };
    let third = ENOUGH_THIRD + SHIFT * (usual.likely(speed) - usual.likely(times(Base::Third)));
    let third = third.max(1.0);
    // In a rhythm of its own the period holds other turns.
    let twice = if now.rhythm[2] > RHYTHM {
        Base::TwoThirds
    } else {
        Base::Double
    };
    let thrice = if now.rhythm[1] > RHYTHM {
        Base::ThreeHalves
    } else {
        Base::Triple
    };
    let enough = |base: Base, count: f64, least: f64| {
        // What was decided stays until most of the count has gone.
        let least = if before == base { 0.5 * least } else { least };
        let crank = times(base);
        let fits = !usual.excludes(crank);
        count > least && fits && crank.0 >= band.low().0 && crank.0 <= band.high().0
    };
    if most.double >= most.triple && enough(twice, most.double, ENOUGH) {
        twice
    } else if enough(thrice, most.triple, ENOUGH) {
        thrice
    } else if now.rhythm[2] > RHYTHM
        && !unlike(3.0, &now.thirds)
        && enough(Base::Third, most.third, third)
    {
        Base::Third
    } else if !unlike(2.0, &now.halves) && enough(Base::Half, most.half, half) {
        Base::Half
    } else {
        Base::Same
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_idle_is_believed_sooner_than_twice_its_speed() {
        let counts = Counts {
            half: 2.0,
            halves: Likeness {
                alternation: EVEN_LEVELS,
                ..Likeness::default()
            },
            ..Counts::default()
        };
        let band = SpeedRange(Rpm(1_200.0), Rpm(16_000.0));
        let decided = |usual| {
            let speed = Rpm(5_720.0);
            decide(&counts, [].iter(), Base::Same, speed, band, 1.0, usual)
        };
        let trimmer = Usual {
            idle: Some(SpeedRange(Rpm(2_700.0), Rpm(3_000.0))),
            full_throttle: Some(SpeedRange(Rpm(8_800.0), Rpm(10_200.0))),
            throttle: None,
        };
        // An engine that idles so fast hardly lingers at half of it.
        let other = Usual {
            idle: Some(SpeedRange(Rpm(5_400.0), Rpm(6_000.0))),
            ..trimmer
        };
        assert_eq!(decided(trimmer), Base::Half);
        assert_eq!(decided(other), Base::Same);
    }
}
