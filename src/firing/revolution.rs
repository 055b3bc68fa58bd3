//! The sound cut into single revolutions, and what they say about skipped firings.
//!
//! Two things separate skipping from clean firing on recordings with measured truth: revolutions
//! two, three or four apart that are more alike than neighbours, and revolutions that fall into two
//! kinds along their main direction of difference. Scatter of energy alone separates nothing.
use std::f64::consts::TAU;

use super::swing::{Swing, swing};
use crate::spectrum::{best_cut, greatest, sum, widest};
use crate::tach::angle::Turns;

/// Points of one revolution that are compared, at most; orders up to 16 remain, since the pulse of a
/// firing may be a small and short part of a turn.
pub(super) const POINTS: usize = 32;
/// Turns of a look that have sounded, below which all of it is taken.
const FEW: usize = 12;
/// Steps of the power iteration for the main direction of difference.
const STEPS: usize = 5;

/// What a stretch of revolutions shows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Differences {
    /// Mean squared difference of revolutions 1, 2, 3 and 4 apart over twice their mean square: 0
    /// all alike, 1 nothing in common.
    pub apart: [f64; 4],
    /// Share of the difference between revolutions that two kinds explain along the main direction,
    /// 0 to 1; a single bell-shaped kind gives 2/π = 0.64.
    pub two_kinds: f64,
    /// Share of the power of the difference that lies along the main direction, 0 to 1.
    pub main: f64,
    /// Squared distance between the two kinds over the mean square of a revolution.
    pub distance: f64,
    /// Power of the weaker kind over that of the stronger.
    pub weak_to_strong: f64,
    /// How unevenly the power of the difference lies over the turn: its first two harmonics by crank
    /// angle against its mean, 0 (noise that knows nothing of a crank) to 1.
    pub uneven: [f64; 2],
    /// Share of revolutions of the weaker kind, 0 to 1.
    pub weak_share: f64,
    /// Mean length of an unbroken run of the weaker kind, in revolutions; 0 without one.
    pub weak_run: f64,
    /// Mean length of an unbroken run of the stronger kind, in revolutions; 0 without one.
    pub strong_run: f64,
    /// How the crank swings about its mean speed.
    pub swing: Swing,
}

/// Revolutions of a look, reduced to a few points each.
#[derive(Debug, Default)]
pub struct Revolutions {
    /// Samples while they are reduced, and what they were before the last halving.
    samples: [Vec<f32>; 2],
    /// A row for each point: its value in each revolution, less the mean of the revolution.
    points: Vec<f32>,
    /// How far each revolution lies along the main direction; the same in order; places in it.
    along: Vec<f32>,
    order: Vec<f32>,
    places: Vec<u32>,
    /// For each revolution: is it of the weaker kind? From the last [`Self::differences`].
    weak: Vec<bool>,
    /// Room for [`swing`].
    swing: [Vec<f64>; 2],
}

/// Sine and cosine of the crank angle at each point.
static ANGLES: std::sync::LazyLock<[(f64, f64); POINTS]> = std::sync::LazyLock::new(|| {
    std::array::from_fn(|i| (TAU * i as f64 / POINTS as f64).sin_cos())
});

/// A number for each point of a revolution; the fastest turns have fewer, and 0 beyond them.
type Points = [f32; POINTS];

fn dot(a: &Points, b: &Points) -> f64 {
    a.iter().zip(b).map(|(x, y)| f64::from(x * y)).sum()
}

impl Revolutions {
    /// Nothing cut yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Which revolutions of the last look are of the weaker kind, in order of time.
    pub fn weak(&self) -> &[bool] {
        &self.weak
    }

    /// Cuts a look into revolutions and compares them.
    pub fn differences(&mut self, look: &Turns) -> Differences {
        self.weak.clear();
        let points = look.per_turn.min(POINTS);
        if points == 0 {
            return Differences::default();
        }
        widest!({
            let turns = self.cut(look, points);
            self.compare(turns, points)
        })
    }

    /// Cuts what has sounded of a look into revolutions of so many points, each the mean of as many samples,
    /// which are a power of two; says how many they are.
    #[inline(always)]
    fn cut(&mut self, look: &Turns, points: usize) -> usize {
        let [samples, halves] = &mut self.samples;
        let all = look.samples.len() / look.per_turn;
        let from = look.sounded.start.div_ceil(look.per_turn);
        let to = all.min(look.sounded.end / look.per_turn);
        let sounded = if to < from + FEW { 0..all } else { from..to };
        let turns = sounded.len();
        samples.clear();
        samples.extend_from_slice(
            &look.samples[sounded.start * look.per_turn..sounded.end * look.per_turn],
        );
        for _ in 0..(look.per_turn / points).ilog2() {
            halves.resize(samples.len() / 2, 0.0);
            for (half, [a, b]) in halves.iter_mut().zip(samples.as_chunks::<2>().0) {
                *half = 0.5 * (a + b);
            }
            std::mem::swap(samples, halves);
        }
        for turn in samples.chunks_exact_mut(points) {
            let mean = sum(turn, turn, |x, _| x) / points as f32;
            turn.iter_mut().for_each(|x| *x -= mean);
        }
        turns
    }

    /// Compares `n` revolutions of so many points.
    #[inline(always)]
    fn compare(&mut self, n: usize, points: usize) -> Differences {
        let all = &self.samples[0][..];
        let square = f64::from(sum(all, all, |x, y| x * y)) / n as f64;
        if n < 6 || square <= 0.0 {
            return Differences::default();
        }
        let mut apart = [0.0; 4];
        for (d, apart) in (1..).zip(&mut apart) {
            let differences = sum(&all[d * points..], all, |x, y| (x - y) * (x - y));
            *apart = f64::from(differences) / (n - d) as f64 / (2.0 * square);
        }
        let mean = self.take_away_mean(n, points);
        let axis = self.main_direction(n);
        let all = &self.points[..];
        let spread = f64::from(sum(all, all, |x, y| x * y)) / n as f64;
        let main = f64::from(sum(&self.along, &self.along, |x, y| x * y)) / n as f64;
        let Revolutions {
            along,
            order,
            places,
            ..
        } = self;
        let (best, cut) = best_cut(along, places, order);
        let (mut sums, mut counts) = ([0.0f64; 2], [0usize; 2]);
        for a in &self.along {
            let class = usize::from(*a > cut);
            sums[class] += f64::from(*a);
            counts[class] += 1;
        }
        let centre = |c: usize| {
            if counts[c] > 0 {
                sums[c] / counts[c] as f64
            } else {
                0.0
            }
        };
        let (m, mm) = (dot(&mean, &axis), dot(&mean, &mean));
        let strength = |c: usize| (mm + 2.0 * centre(c) * m + centre(c) * centre(c)).max(0.0);
        let weak = usize::from(strength(1) < strength(0));
        self.weak
            .extend(self.along.iter().map(|a| usize::from(*a > cut) == weak));
        let room = &mut self.swing;
        let swing = swing(&self.points, &mean, points, &axis, &self.weak, room);
        Differences {
            swing,
            apart,
            two_kinds: if main > 0.0 { best / main } else { 0.0 },
            main: if spread > 0.0 { main / spread } else { 0.0 },
            distance: (centre(1) - centre(0)).powi(2) / square,
            uneven: self.uneven(n, points),
            weak_to_strong: strength(weak) / strength(1 - weak).max(f64::MIN_POSITIVE),
            weak_share: counts[weak] as f64 / n as f64,
            weak_run: mean_run(&self.weak, true),
            strong_run: mean_run(&self.weak, false),
        }
    }

    /// Lays the points in rows and takes the mean revolution away from all of them.
    #[inline(always)]
    fn take_away_mean(&mut self, n: usize, points: usize) -> Points {
        self.points.clear();
        self.points.resize(n * POINTS, 0.0);
        let turns = &self.samples[0];
        let mut mean = [0.0; POINTS];
        let rows = self.points.chunks_exact_mut(n);
        for ((i, mean), row) in mean.iter_mut().enumerate().zip(rows).take(points) {
            for (x, turn) in row.iter_mut().zip(turns.chunks_exact(points)) {
                *x = turn[i];
            }
            *mean = sum(row, row, |x, _| x) / n as f32;
            for x in row {
                *x -= *mean;
            }
        }
        mean
    }

    /// Main direction of difference, from the revolution that differs most; leaves how far each
    /// revolution lies along it.
    #[inline(always)]
    fn main_direction(&mut self, n: usize) -> Points {
        let Revolutions { points, along, .. } = self;
        along.clear();
        along.resize(n, 0.0);
        for row in points.chunks_exact(n) {
            for (size, x) in along.iter_mut().zip(row) {
                *size += x * x;
            }
        }
        let most = greatest(along);
        let from = along.iter().rposition(|size| *size == most).unwrap_or(0);
        let mut axis = [0.0; POINTS];
        for (a, row) in axis.iter_mut().zip(points.chunks_exact(n)) {
            *a = row[from];
        }
        for step in 0..=STEPS {
            along.fill(0.0);
            let rows = points.chunks_exact(4 * n);
            for (four, [p, q, r, s]) in rows.zip(axis.as_chunks::<4>().0) {
                let (first, second) = four.split_at(2 * n);
                let (first, second) = (first.split_at(n), second.split_at(n));
                let rows = first.0.iter().zip(first.1).zip(second.0).zip(second.1);
                for (sum, (((a, b), c), d)) in along.iter_mut().zip(rows) {
                    *sum += p * a + q * b + r * c + s * d;
                }
            }
            if step == STEPS {
                break;
            }
            let mut next = [0.0; POINTS];
            for (a, row) in next.iter_mut().zip(points.chunks_exact(n)) {
                *a = sum(row, along, |x, y| x * y);
            }
            let norm = dot(&next, &next).sqrt() as f32;
            if norm <= 0.0 {
                break;
            }
            axis = next.map(|x| x / norm);
        }
        axis
    }

    /// The first two harmonics of the power of the turns, whose mean is taken off, by crank angle.
    #[inline(always)]
    fn uneven(&self, n: usize, points: usize) -> [f64; 2] {
        let (mut all, mut harmonics) = (0.0, [(0.0, 0.0); 2]);
        for (i, row) in self.points.chunks_exact(n).take(points).enumerate() {
            let power = f64::from(sum(row, row, |x, y| x * y));
            all += power;
            let (sin, cos) = ANGLES[i * POINTS / points];
            // Twice the angle by the double-angle formulas.
            let turns = [(cos, sin), (cos * cos - sin * sin, 2.0 * sin * cos)];
            for ((re, im), (cos, sin)) in harmonics.iter_mut().zip(turns) {
                *re += power * cos;
                *im += power * sin;
            }
        }
        harmonics.map(|(re, im): (f64, f64)| if all > 0.0 { re.hypot(im) / all } else { 0.0 })
    }
}

/// Mean length of the runs of `kind` that lie inside the sequence; those cut off by its ends count
/// only when there are no others.
fn mean_run(sequence: &[bool], kind: bool) -> f64 {
    let (mut inside, mut all) = ((0, 0), (0, 0));
    let mut end = 0;
    for run in sequence.chunk_by(|a, b| a == b) {
        let start = end;
        end += run.len();
        if run[0] == kind {
            all = (all.0 + run.len(), all.1 + 1);
            if start > 0 && end < sequence.len() {
                inside = (inside.0 + run.len(), inside.1 + 1);
            }
        }
    }
    let (length, runs) = if inside.1 > 0 { inside } else { all };
    length as f64 / f64::from(runs.max(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 64 turns of which every second one fires, those from `silent` on not yet sounded.
    fn every_second(silent: usize, sounded: usize) -> Differences {
        let per_turn = 32;
        let sample = |i: usize| {
            let (turn, at) = (i / per_turn, i % per_turn);
            let pulse = [1.0, 0.5, -0.5, -1.0].get(at).copied().unwrap_or(0.0);
            let always = if at == 16 { 0.3 } else { 0.0 };
            let fired = if turn % 2 == 0 { pulse } else { 0.0 };
            if turn < silent { fired + always } else { 0.0 }
        };
        Revolutions::new().differences(&Turns {
            samples: (0..64 * per_turn).map(sample).collect(),
            sounded: 0..sounded,
            per_turn,
            ..Turns::default()
        })
    }

    #[test]
    fn turns_that_have_not_sounded_yet_are_no_skips() {
        let all = every_second(64, 2_048);
        assert_eq!(
            (all.weak_share, all.weak_run, all.strong_run),
            (0.5, 1.0, 1.0)
        );
        // The last eight, and a piece of the one before them.
        let live = every_second(56, 1_780);
        assert!((live.weak_share - 27.0 / 55.0).abs() < 1e-9, "{live:?}");
        assert_eq!((live.weak_run, live.strong_run), (1.0, 1.0));
        assert!(
            (live.distance / all.distance - 1.0).abs() < 0.05,
            "{live:?}"
        );
        // Taken for sound they would be.
        assert!(every_second(56, 2_048).weak_share > 0.55);
        assert_eq!(every_second(0, 2_048), Differences::default());
    }
}
