//! Decides the base: the path's own speed, or a simple ratio of it.
//!
//! The chain of `path` follows one set of lines; which of them is the crank it knows only
//! from their levels. What `counts` has gathered over seconds decides here.
use super::counts::{Counts, RHYTHM};
use super::slip::Likeness;
use super::usual::Usual;
use crate::machine::SpeedRange;
use crate::units::Rpm;

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
    use crate::tach::counts::MOST_HALF;

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
