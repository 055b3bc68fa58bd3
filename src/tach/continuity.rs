//! The crank goes on where the path jumps.
//!
//! The path may change over to other lines of the same sound, from idle heard at twice its speed to an
//! acceleration heard at the speed itself: it jumps by an octave from one hop to the next, or dives
//! through speeds at which nothing is heard. No crank does either. So the bases of a clip are
//! looked for together: a chain whose state is the base, in which each hop speaks for the base that
//! `base` decided for it, a jump of the path asks for the base that lets the crank go on, and the base
//! changes without one only for a great deal (A. J. Viterbi 1967, from memory).
use std::collections::VecDeque;

use super::base::Base;
use super::usual::Usual;
use crate::machine::SpeedRange;
use crate::units::Rpm;

/// Bases of the chain: simple ratios.
const BASES: [Base; 11] = [
    Base::new(1, 4),
    Base::new(1, 3),
    Base::new(1, 2),
    Base::new(2, 3),
    Base::new(3, 4),
    Base::new(1, 1),
    Base::new(4, 3),
    Base::new(3, 2),
    Base::new(2, 1),
    Base::new(3, 1),
    Base::new(4, 1),
];
const COUNT: usize = BASES.len();

/// What a hop says for the base that was decided for it, where the speed is steady and where it moves,
/// in natural logarithms. Neighbouring hops share most of their sound, so that it is little. These and the
/// losses that follow are found on drawn engines and hold on two further sets of them.
const STEADY: f64 = 0.1;
const MOVES: f64 = 0.05;
/// Relative change of speed a second that counts as moving.
const MOVING: f64 = 0.5;
/// Weight of how likely an engine runs at a speed.
const LIKELY: f64 = 0.02;
/// What a hop loses at a speed that it cannot have.
const IMPOSSIBLE: f64 = 1.0;
/// Change of the path from hop to hop beyond which it jumps: a snap of 360 % a second, the fastest that
/// was measured on real saws, comes to 0.06. In natural logarithms.
const JUMP: f64 = 0.12;
/// By how much the crank may be off after a jump, in natural logarithms, to go on.
const GOES_ON: f64 = 0.07;
/// Loss for a base that lets the crank go on over a jump, and for one that does not.
const LETS_GO_ON: f64 = 0.5;
const CRANK_JUMPS: f64 = 5.0;
/// Loss for another base without a jump, and where the path changes so fast that it may dive: more than
/// 250 % a second.
const CHANGE: f64 = 10.0;
const DIVE: f64 = 2.5;
const CHANGE_IN_DIVE: f64 = 4.0;

/// A hop whose base is not yet known.
struct Hop {
    decided: Base,
    /// The base before, for each base.
    from: [u8; COUNT],
}

/// The chain.
#[derive(Default)]
pub struct Continuity {
    scores: [f64; COUNT],
    hops: VecDeque<Hop>,
    /// Logarithm of the path's speed at the last hop.
    last: Option<f64>,
}

impl Continuity {
    /// Hops that wait.
    pub fn waiting(&self) -> usize {
        self.hops.len()
    }

    /// Takes the base that was decided for a hop, whose path is at `speed` and changes by `change` (a
    /// ratio) a second, of an engine that lingers at the `usual` speeds in `band`.
    pub fn push(&mut self, decided: Base, speed: Rpm, change: f64, band: SpeedRange, usual: Usual) {
        let path = speed.0.max(f64::MIN_POSITIVE).ln();
        let step = self.last.map_or(0.0, |last| path - last);
        self.last = Some(path);
        let steady = change.abs() < MOVING;
        let loss = |before: usize, after: usize| {
            if step.abs() > JUMP {
                let crank = (BASES[after].factor() / BASES[before].factor()).ln() + step;
                if crank.abs() < GOES_ON {
                    LETS_GO_ON
                } else {
                    CRANK_JUMPS
                }
            } else if before == after {
                0.0
            } else if change.abs() > DIVE {
                CHANGE_IN_DIVE
            } else {
                CHANGE
            }
        };
        let mut from = [0; COUNT];
        let mut scores = [0.0; COUNT];
        for (after, base) in BASES.iter().enumerate() {
            let mut most = (0, f64::MIN);
            for (before, score) in self.scores.iter().enumerate() {
                let score = score - loss(before, after);
                if score > most.1 {
                    most = (before, score);
                }
            }
            from[after] = most.0 as u8;
            let crank = Rpm(speed.0 * base.factor());
            let mut says = LIKELY * usual.likely(crank);
            if usual.excludes(crank) || crank.0 < band.low().0 || crank.0 > band.high().0 {
                says -= IMPOSSIBLE;
            }
            if same(*base, decided) {
                says += if steady { STEADY } else { MOVES };
            }
            scores[after] = most.1 + says;
        }
        let top = scores.iter().copied().fold(f64::MIN, f64::max);
        self.scores = scores.map(|score| score - top);
        self.hops.push_back(Hop { decided, from });
    }

    /// The base that was decided for the oldest hop that waits and the one that it has, as far as can be
    /// told by now; none where none waits.
    pub fn pop(&mut self) -> Option<(Base, Base)> {
        let mut base = (0..COUNT).fold(0, |best, i| {
            if self.scores[i] > self.scores[best] {
                i
            } else {
                best
            }
        });
        for hop in self.hops.iter().skip(1).rev() {
            base = usize::from(hop.from[base]);
        }
        let hop = self.hops.pop_front()?;
        // What was decided knows in how many turns the engine fires once.
        let base = if same(BASES[base], hop.decided) {
            hop.decided
        } else {
            BASES[base]
        };
        Some((hop.decided, base))
    }
}

/// Whether the crank turns as fast at both.
fn same(a: Base, b: Base) -> bool {
    a.turns * b.path == b.turns * a.path
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The crank's speed at each hop of a path, and at each the base that was decided.
    fn cranks(hops: &[(f64, Base)]) -> Vec<f64> {
        let band = SpeedRange(Rpm(1_200.0), Rpm(16_000.0));
        let mut chain = Continuity::default();
        let mut last = hops[0].0;
        for (path, decided) in hops {
            let change = (path / last).ln() / 0.016;
            let change = if change.abs() < 5.0 { change } else { 0.0 };
            chain.push(*decided, Rpm(*path), change, band, Usual::default());
            last = *path;
        }
        hops.iter()
            .map(|(path, _)| path * chain.pop().expect("a hop that waits").1.factor())
            .collect()
    }

    #[test]
    fn the_crank_goes_on_where_the_path_jumps_by_an_octave() {
        // From 2,800 to 11,000 rpm in half a second; heard at twice the speed until 4,000 rpm.
        let crank = |hop: usize| 2_800.0 * (11_000.0f64 / 2_800.0).powf(hop as f64 / 31.0);
        // Half a second at idle says little for a base that was decided there.
        for (before, idle) in [(Base::HALF, 100), (Base::SAME, 31)] {
            let hops: Vec<_> = (0..idle)
                .map(|_| (2.0 * crank(0), before))
                .chain((0..31).map(|hop| {
                    let twice = if crank(hop) < 4_000.0 { 2.0 } else { 1.0 };
                    (twice * crank(hop), Base::SAME)
                }))
                .chain((0..200).map(|_| (crank(31), Base::SAME)))
                .collect();
            for (hop, told) in cranks(&hops).into_iter().enumerate() {
                let truth = crank(hop.saturating_sub(idle).min(31));
                assert!(
                    (told / truth - 1.0).abs() < 1e-9,
                    "{hop}: {told} for {truth}"
                );
            }
        }
    }

    #[test]
    fn a_jump_to_another_sound_leaves_the_bases_as_they_were() {
        // 2,330 to 6,420 rpm: the third of it would be 8 % too slow.
        let hops: Vec<_> = (0..200)
            .map(|hop| (if hop < 100 { 2_330.0 } else { 6_420.0 }, Base::SAME))
            .collect();
        assert!(cranks(&hops).iter().zip(&hops).all(|(a, (b, _))| a == b));
    }

    #[test]
    fn a_base_that_is_decided_for_seconds_is_taken_without_a_jump() {
        let hops: Vec<_> = (0..400)
            .map(|hop| {
                (
                    5_000.0,
                    if hop < 200 {
                        Base::SAME
                    } else {
                        Base::new(2, 1)
                    },
                )
            })
            .collect();
        let told = cranks(&hops);
        assert_eq!((told[0], told[399]), (5_000.0, 10_000.0));
        // Not for a moment.
        let hops: Vec<_> = (0..400)
            .map(|hop| {
                (
                    5_000.0,
                    if hop / 20 == 10 {
                        Base::new(2, 1)
                    } else {
                        Base::SAME
                    },
                )
            })
            .collect();
        assert!(cranks(&hops).iter().all(|rpm| *rpm == 5_000.0));
    }
}
