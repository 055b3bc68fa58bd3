//! Where it just four-strokes: how far the high-speed screw stands from there, from all looks together.
//!
//! How fast the share of skipped turns grows differs from engine to engine: with a hard onset it is a
//! straight line from nothing, with a soft one the odds grow by a factor. Turns of a hand are
//! inexact, light skipping is often read as clean, and heavy skipping says only that it is heavy. So
//! no look decides: the likelihood of every distance, growth and kind of hearing is laid out on a
//! grid, and the distance is read from the sum.
use super::book::FullLook;

/// From this skip ratio on four-stroking is heard.
pub(super) const HEARD: f64 = 0.1;
/// From this one on it says only that it is heavy.
pub(super) const HEAVY: f64 = 0.48;
/// Error of a skip ratio, standard deviation, where the hearing is good and where it is not. How the
/// looks at one place scatter tells which.
const ERROR: f64 = 0.06;
const FINE: f64 = 0.03;
/// Below this nothing is heard. A hearing that misses light skipping does so in many looks, and never
/// from this ratio on; one that does not, hardly ever. Which of the two it is the looks tell.
pub(super) const SILENT: f64 = 0.04;
const MISSED_BELOW: f64 = 0.36;
const HARDLY_MISSED: f64 = 0.03;
/// A hearing that errs as much one way as the other is as likely as this.
const EVEN: f64 = 0.15;
/// A hearing that is lost where the skipping is heavier than the first, as often as the second; heard is
/// then any ratio alike.
const LOST_FROM: f64 = 0.42;
const LOST: f64 = 0.03;
const ANY: f64 = 0.3;
/// One that hears more than there is, by so much, is as likely as this.
const FLOOR: f64 = 0.09;
const RAISED: f64 = 0.15;
/// A look is quite wrong as often as this.
const WRONG: f64 = 0.004;
/// Skip ratio where it just four-strokes: with a soft onset, which has no beginning, the first that
/// can be heard; with a hard one a little beyond its beginning.
const JUST: f64 = 0.09;
const JUST_BEYOND: f64 = 0.06;
/// Distances on the grid, in turns rich of that.
const NEAREST: f64 = -0.5;
const STEP: f64 = 1.0 / 64.0;
const DISTANCES: usize = 112;
/// Hard onsets on the grid: skip ratio in a turn.
const SLOPES: [f64; 7] = [1.1, 1.5, 2.0, 2.8, 3.8, 5.2, 7.2];
/// Soft onsets on the grid: turns in which the odds of a skip grow by e.
const WIDTHS: [f64; 7] = [0.02, 0.027, 0.035, 0.045, 0.06, 0.08, 0.11];

/// How likely the outermost of these are, those beside them, and the others.
const SELDOM: [f64; 3] = [0.3, 0.6, 1.0];

/// How the skip ratio grows with richness.
#[derive(Clone, Copy, Debug)]
enum Growth {
    Hard(f64),
    Soft(f64),
}

impl Growth {
    fn all() -> impl Iterator<Item = Growth> {
        let soft = WIDTHS.into_iter().map(Growth::Soft);
        SLOPES.into_iter().map(Growth::Hard).chain(soft)
    }

    /// How likely it is: the outermost of the grid are seldom, and those beside them.
    fn share(self) -> f64 {
        let of = |grid: &[f64; 7], value: f64| {
            let from_end = |at: usize| at.min(grid.len() - 1 - at);
            let at = grid.iter().position(|other| *other == value);
            SELDOM[at.map_or(2, from_end).min(2)]
        };
        match self {
            Growth::Hard(slope) => of(&SLOPES, slope),
            Growth::Soft(width) => of(&WIDTHS, width),
        }
    }

    /// Skip ratio so many turns rich of just four-stroking; below 0 lean of a hard onset.
    fn at(self, distance: f64) -> f64 {
        match self {
            Growth::Hard(slope) => JUST_BEYOND + slope * distance,
            Growth::Soft(width) => {
                // After a firing the next turn is skipped with the odds that grow; after a skip
                // it fires.
                let just = JUST / (1.0 - 2.0 * JUST);
                let odds = just * (distance / width).exp();
                let skips = odds / (1.0 + odds);
                skips / (1.0 + skips)
            }
        }
    }

    /// How much it changes in a turn there.
    fn slope(self, distance: f64) -> f64 {
        match self {
            Growth::Hard(slope) => slope,
            Growth::Soft(_) => 50.0 * (self.at(distance + 0.01) - self.at(distance - 0.01)),
        }
    }
}

/// How skipping is heard.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Hearing {
    /// As it is, and the same at each look.
    Fine,
    /// As it is, but for an error.
    Even,
    /// Often not at all where it is light.
    Missing,
    /// Too light where it is light, the more the higher this power; right where every second turn is
    /// skipped.
    Dull(f64),
    /// Heavy skipping as anything: such looks say nothing.
    Lost,
    /// A little more than there is: even a clean engine seems to skip now and then.
    Raised,
}

impl Hearing {
    const ALL: [Hearing; 8] = [
        Hearing::Fine,
        Hearing::Even,
        Hearing::Missing,
        Hearing::Dull(0.5),
        Hearing::Dull(1.0),
        Hearing::Dull(2.0),
        Hearing::Lost,
        Hearing::Raised,
    ];

    /// How often it is so.
    fn share(self) -> f64 {
        match self {
            Hearing::Fine | Hearing::Missing | Hearing::Dull(_) => 1.0,
            Hearing::Even => EVEN,
            Hearing::Lost => LOST,
            Hearing::Raised => RAISED,
        }
    }

    /// How much it errs, standard deviation.
    fn error(self) -> f64 {
        match self {
            Hearing::Fine => FINE,
            _ => ERROR,
        }
    }

    /// What is heard of a ratio.
    fn of(self, truth: f64) -> f64 {
        let truth = truth.max(0.0);
        match self {
            Hearing::Raised => FLOOR + (1.0 - FLOOR) * truth,
            Hearing::Dull(power) => truth * (2.0 * truth).min(1.0).powf(power),
            _ => truth,
        }
    }

    /// How often a ratio is not heard.
    fn missed(self, truth: f64) -> f64 {
        match self {
            Hearing::Missing => (1.0 - (truth - 0.02) / MISSED_BELOW).clamp(0.02, 0.97),
            _ => HARDLY_MISSED,
        }
    }

    /// Whether it hears less than there is.
    fn is_dull(self) -> bool {
        matches!(self, Hearing::Missing | Hearing::Dull(_))
    }
}

/// How far rich of just four-stroking the screw stands, in turns.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Distance {
    pub(super) mean: f64,
    pub(super) deviation: f64,
    /// It is further away than this with a probability of 85 %.
    pub(super) at_least: f64,
    /// Probability that skipping is heard lighter than it is.
    pub(super) dull: f64,
}

/// From the looks, the latest last; `variance` is that of the screw's place now.
pub(super) fn distance(looks: &[FullLook], out: f64, variance: f64) -> Distance {
    let mut weights = [0.0; DISTANCES];
    let (mut dull, mut all) = (0.0, 0.0);
    for hearing in Hearing::ALL {
        for growth in Growth::all() {
            for (i, weight) in weights.iter_mut().enumerate() {
                let d = NEAREST + STEP * i as f64;
                let likely = hearing.share()
                    * growth.share()
                    * looks
                        .iter()
                        .map(|look| {
                            let there = d + look.out - out;
                            let doubt =
                                growth.slope(there).powi(2) * (variance - look.variance).max(0.0);
                            look.look.skip.map_or(1.0, |skip| {
                                likelihood(hearing, skip, growth.at(there), doubt)
                            })
                        })
                        .product::<f64>();
                *weight += likely;
                all += likely;
                dull += if hearing.is_dull() { likely } else { 0.0 };
            }
        }
    }
    Distance {
        dull: if all > 0.0 { dull / all } else { 0.0 },
        ..summary(&weights)
    }
}

fn summary(weights: &[f64; DISTANCES]) -> Distance {
    let total: f64 = weights.iter().sum();
    if total.is_nan() || total <= 0.0 {
        return Distance {
            mean: 0.0,
            deviation: 1.0,
            at_least: 0.0,
            dull: 0.0,
        };
    }
    let at = |i: usize| NEAREST + STEP * i as f64;
    let mean = (0..DISTANCES).map(|i| weights[i] * at(i)).sum::<f64>() / total;
    let square = (0..DISTANCES)
        .map(|i| weights[i] * (at(i) - mean).powi(2))
        .sum::<f64>()
        / total;
    let mut below = 0.0;
    let mut at_least = at(0);
    for (i, weight) in weights.iter().enumerate() {
        below += weight / total;
        if below >= 0.15 {
            at_least = at(i);
            break;
        }
    }
    Distance {
        mean,
        deviation: square.sqrt(),
        at_least,
        dull: 0.0,
    }
}

/// How likely a heard ratio is where the engine skips `truth` (below 0: lean of the onset).
fn likelihood(hearing: Hearing, heard: f64, truth: f64, doubt: f64) -> f64 {
    if hearing == Hearing::Lost && truth > LOST_FROM {
        return ANY;
    }
    let there = hearing.of(truth);
    let error = (hearing.error().powi(2) + doubt).sqrt();
    let below = |limit: f64, mean: f64| 1.0 / (1.0 + (-1.7 * (limit - mean) / error).exp());
    // Where light skipping is often not heard, silence says little, and to hear some says much.
    let missed = hearing.missed(there);
    let bell = |z: f64| (-0.5 * z * z).exp();
    let right = if heard < SILENT {
        missed + (1.0 - missed) * below(SILENT, there)
    } else if heard < HEAVY {
        let heard_right = bell((heard - there) / error) * ERROR / error;
        (1.0 - missed) * heard_right + missed * 0.5 * bell(heard / SILENT)
    } else {
        1.0 - below(HEAVY, truth)
    };
    (1.0 - WRONG) * right + WRONG * 0.3
}
