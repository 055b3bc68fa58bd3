//! Decides the base: the path's own speed, or a simple ratio of it.
//!
//! The chain of `path` follows one set of lines; which of them is the crank it knows only
//! from their levels. The slips of the rhythm (`slip`) are counted here over seconds: a
//! slip at the base taken says that the crank turns twice (three times) as fast; lines of half (a
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
/// What the count for half of the speed must exceed: a sum of these weights.
struct Asked {
    always: f64,
    /// Of [`Counts::coherence`].
    coherence: f64,
    /// Of the level alternation at half of the speed, in dB.
    alternation: f64,
    /// Of how much likelier the speed itself is than half of it, in natural logarithms.
    likelier: f64,
    /// Of how far half of the speed is from an idle, in octaves.
    from_idle: f64,
}

/// Fitted (logistic) to drawn engines, where the path fires in every turn and where it skips every second
/// one: an idle whose even orders are strong looks like either of them at twice its speed, but its turns
/// are less alike than those of an open throttle.
const HALF_OF_FIRING: Asked = Asked {
    always: -6.4,
    coherence: 3.8,
    alternation: 0.54,
    likelier: 1.0,
    from_idle: 20.0,
};
const HALF_OF_SKIPPING: Asked = Asked {
    always: -1.4,
    coherence: 8.5,
    alternation: 0.17,
    likelier: 0.8,
    from_idle: 4.8,
};
/// The least it must exceed as long as the speed has not been steady for so many hops: half a second.
const LEAST_HALF: f64 = 1.0;
const STEADY: u32 = 31;
/// By how much that count may fall again before it is let go.
const HOLD: f64 = 1.0;
/// Level alternations beyond these say no more, in dB.
const LEVELS: (f64, f64) = (-8.0, 24.0);
/// By how much a difference of one in the likelihood of the speeds shifts the count for a third.
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
/// Level of the even lines over the odd ones, in dB, up to which the even ones are no firings of
/// unlike cylinders, and by how much each further dB lowers the count for twice the speed: drawn
/// engines of two to four cylinders showed -6 to 4 dB at their own base and 4 to 12 dB at half of it.
const UNLIKE: f64 = 2.0;
const PER_DECIBEL: f64 = 1.6;
/// By how much each octave beyond a usual full throttle raises it again.
const PER_OCTAVE: f64 = 10.0;
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
const RHYTHM: f32 = 0.5;
/// Largest counts in favour of another base: 2 s at a slip in ten hops, 6 s in step.
const MOST: f64 = 8.0;
const MOST_HALF: f64 = 12.0;

/// How the crank stands to the path: so many turns of it in as many of the path. It fires once in as
/// many turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Base {
    /// Turns of the crank, 1 to 4.
    pub turns: u8,
    /// Turns of the path, 1 to 4.
    pub path: u8,
}

impl Base {
    /// The path is the crank.
    pub const SAME: Base = Base::new(1, 1);
    pub(super) const HALF: Base = Base::new(1, 2);
    const THIRD: Base = Base::new(1, 3);

    pub(super) const fn new(turns: u8, path: u8) -> Self {
        Base { turns, path }
    }

    /// Turns from one full firing to the next that the base stands for.
    pub fn every(self) -> usize {
        usize::from(self.turns)
    }

    /// Crank speed over path speed.
    pub fn factor(self) -> f64 {
        f64::from(self.turns) / f64::from(self.path)
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
    let mut steady = now.steady > 0;
    for c in later.take_while(|c| c.stretch == now.stretch) {
        steady = steady && c.steady > most.steady;
        if steady {
            most.steady = c.steady;
        }
        most.double = most.double.max(c.double);
        most.triple = most.triple.max(c.triple);
        if c.period == now.period {
            for (most, shift) in most.shifts.iter_mut().zip(c.shifts) {
                *most = most.max(shift);
            }
        }
        most.half = most.half.max(c.half);
        most.third = most.third.max(c.third);
    }
    let times = |base: Base| Rpm(speed.0 * base.factor());
    let asked = if now.rhythm[1] > RHYTHM {
        HALF_OF_SKIPPING
    } else {
        HALF_OF_FIRING
    };
    let half = asked.always
        + asked.coherence * now.coherence
        + asked.alternation * now.halves.alternation.clamp(LEVELS.0, LEVELS.1)
        + asked.likelier * (usual.likely(speed) - usual.likely(times(Base::HALF)))
        + asked.from_idle * usual.octaves_from_idle(times(Base::HALF));
    let half = if before == Base::HALF {
        half - HOLD
    } else if most.steady < STEADY {
        half.max(LEAST_HALF)
    } else {
        half
    };
    // Two (three) unlike cylinders have lines in step at half (a third) of their firings by nature,
    // but weaker ones.
    let unlike = |cylinders: f64, lines: &Likeness| {
        (firings / cylinders).fract() == 0.0 && lines.alternation > 0.0
    };
    let third = ENOUGH_THIRD + SHIFT * (usual.likely(speed) - usual.likely(times(Base::THIRD)));
    let third = third.max(1.0);
    // Several cylinders, half of them heard as one: the lines of the firings stand far above those
    // that only their being unlike makes.
    let double = if firings > 1.5 {
        ENOUGH - PER_DECIBEL * (now.whole.alternation - UNLIKE).max(0.0)
            + PER_OCTAVE * usual.octaves_beyond_full(times(Base::new(2, 1)))
    } else {
        ENOUGH
    };
    // In a rhythm of its own the period holds other turns.
    let twice = if now.rhythm[2] > RHYTHM {
        Base::new(2, 3)
    } else {
        Base::new(2, 1)
    };
    let thrice = if now.rhythm[1] > RHYTHM {
        Base::new(3, 2)
    } else {
        Base::new(3, 1)
    };
    let fits = |base: Base| {
        let crank = times(base);
        !usual.excludes(crank) && crank.0 >= band.low().0 && crank.0 <= band.high().0
    };
    let enough = |base: Base, count: f64, least: f64| {
        // What was decided stays until most of the count has gone.
        let held = if before == base {
            0.5 * least.abs()
        } else {
            0.0
        };
        count > least - held && fits(base)
    };
    // A period that slips by parts of it holds as many turns; where it slips by two of four, nothing is
    // said.
    let shifted = (2u8..)
        .zip(most.shifts)
        .filter(|(turns, _)| *turns == now.period || !now.period.is_multiple_of(*turns))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(turns, count)| (Base::new(turns, now.period), count));
    if let Some((base, _)) = shifted.filter(|(base, count)| enough(*base, *count, ENOUGH)) {
        if base.turns == base.path {
            Base::SAME
        } else {
            base
        }
    } else if most.double >= most.triple && enough(twice, most.double, double) {
        twice
    } else if enough(thrice, most.triple, ENOUGH) {
        thrice
    } else if now.rhythm[2] > RHYTHM
        && !unlike(3.0, &now.thirds)
        && enough(Base::THIRD, most.third, third)
    {
        Base::THIRD
    } else if !unlike(2.0, &now.halves) && most.half > half && fits(Base::HALF) {
        Base::HALF
    } else {
        Base::SAME
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
                alternation: 4.0,
                ..Likeness::default()
            },
            coherence: 0.5,
            ..Counts::default()
        };
        let band = SpeedRange(Rpm(1_200.0), Rpm(16_000.0));
        let decided = |usual| {
            let speed = Rpm(5_720.0);
            decide(&counts, [].iter(), Base::SAME, speed, band, 1.0, usual)
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
        assert_eq!(decided(trimmer), Base::HALF);
        assert_eq!(decided(other), Base::SAME);
    }

    #[test]
    fn an_idle_is_taken_early_only_where_the_speed_is_steady() {
        // Nothing counted yet, half of it an idle, turns that are not alike.
        let hop = |steady| Counts {
            steady,
            ..Counts::default()
        };
        let decided = |now, later: &[Counts]| {
            let (speed, band) = (Rpm(5_600.0), SpeedRange(Rpm(1_200.0), Rpm(16_000.0)));
            let usual = Usual::default();
            decide(&now, later.iter(), Base::SAME, speed, band, 1.0, usual)
        };
        let to = |last| (2..=last).map(hop).collect::<Vec<_>>();
        assert_eq!(decided(hop(STEADY), &[]), Base::HALF);
        assert_eq!(decided(hop(1), &to(STEADY)), Base::HALF);
        assert_eq!(decided(hop(1), &to(STEADY - 1)), Base::SAME);
        // It moves now, and is steady only afterwards.
        assert_eq!(decided(hop(0), &to(STEADY)), Base::SAME);
        let alike = Counts {
            coherence: 0.95,
            halves: Likeness {
                alternation: 10.0,
                ..Likeness::default()
            },
            ..hop(STEADY)
        };
        assert_eq!(decided(alike, &[]), Base::SAME);
    }

    #[test]
    fn several_cylinders_heard_as_half_as_many_are_doubled() {
        let decided = |firings, alternation| {
            let counts = Counts {
                double: -0.5,
                triple: -0.5,
                half: -6.0,
                whole: Likeness {
                    alternation,
                    ..Likeness::default()
                },
                ..Counts::default()
            };
            let (speed, band) = (Rpm(4_000.0), SpeedRange(Rpm(1_200.0), Rpm(16_000.0)));
            let usual = Usual::default();
            decide(&counts, [].iter(), Base::SAME, speed, band, firings, usual)
        };
        // 8 dB: 2.5 times as strong.
        assert_eq!(decided(2.0, 8.0), Base::new(2, 1));
        assert_eq!(decided(2.0, 0.0), Base::SAME);
        // A single cylinder may sound so.
        assert_eq!(decided(1.0, 8.0), Base::SAME);
    }

    /// The base of a path whose periods of so many turns slip by a half, a third, a quarter.
    fn decided_by_slips(period: u8, shifts: [f64; 3], half: f64) -> Base {
        let counts = Counts {
            period,
            shifts,
            half,
            ..Counts::default()
        };
        let (speed, band) = (Rpm(4_000.0), SpeedRange(Rpm(1_200.0), Rpm(16_000.0)));
        let usual = Usual::default();
        decide(&counts, [].iter(), Base::SAME, speed, band, 1.0, usual)
    }

    #[test]
    fn a_period_holds_as_many_turns_as_the_parts_by_which_it_slips() {
        for (period, parts) in [
            (1, 2),
            (1, 3),
            (1, 4),
            (2, 3),
            (2, 4),
            (3, 2),
            (3, 4),
            (4, 3),
        ] {
            let mut shifts = [0.0; 3];
            shifts[usize::from(parts) - 2] = 2.0 * ENOUGH;
            let base = decided_by_slips(period, shifts, 0.0);
            assert_eq!((base.turns, base.path), (parts, period));
        }
    }

    #[test]
    fn a_period_that_slips_by_its_own_turns_is_not_halved() {
        assert_eq!(decided_by_slips(2, [0.0; 3], MOST_HALF), Base::HALF);
        let shifts = [2.0 * ENOUGH, 0.0, 0.0];
        assert_eq!(decided_by_slips(2, shifts, MOST_HALF), Base::SAME);
        // Two turns of four: that is as well a slip of two at once.
        assert_eq!(decided_by_slips(4, shifts, -6.0), Base::SAME);
    }
}
