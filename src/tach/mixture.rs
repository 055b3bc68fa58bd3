//! Two kinds of turns, told apart without being told which is which.
//!
//! The turns are taken for a mixture of two normal distributions whose means differ and whose scatter
//! is the same, fitted by expectation and maximization (Dempster, Laird and Rubin 1977, from memory):
//! one step every few looks, since most of the turns are those of the step before. With one scatter for both,
//! the best line between them needs only the scatter of all turns together (Fisher's linear
//! discriminant 1936, and the formula of Sherman and Morrison 1950 for the part that the two means
//! add, both from memory). What varies in every turn anyway, like knocks, a fan or noise, counts the
//! less the more it varies.
//!
//! Such a fit can settle on a wrong split. So a second one is begun again and again elsewhere, and
//! takes the place of the first where it explains the turns better.
use super::fit::{Fit, TwoKinds};
use super::memory::{POINTS, Points};
use crate::spectrum::{add, best_cut, exp, greater, sum};

/// Scatter added in every direction, against the mean over all: the fewer turns there are, the more
/// any fit finds by chance.
const ROUND: f32 = 0.1;
/// Steps until a second fit is compared with the first.
const TRIED: u32 = 6;
/// Ways to begin a second fit, without the one that goes by what was found before.
const WAYS: u32 = 4;
/// Largest share of all scatter between the means, so that the rest never vanishes.
const BETWEEN: f64 = 0.995;
/// Turns of a kind without which it has died out.
const FEWEST: f64 = 0.8;
/// What a first guess says of each turn.
const GUESS: [f32; 2] = [0.05, 0.95];
/// Steps until the sums are made anew from the turns, since adding and taking away lose a little.
const ANEW: u32 = 256;

/// Fits two kinds to turns that come and go.
#[derive(Debug, Default)]
pub struct Mixture {
    count: usize,
    total: [f64; POINTS],
    /// Sums of products, row by row.
    square: [[f64; POINTS]; POINTS],
    age: u32,
    best: Option<Fit>,
    other: Option<Fit>,
    way: u32,
    /// The mean turn and the difference between the kinds when they were last told apart well: at the
    /// next opening of the throttle the engine fires as it did at this one.
    before: Option<[Points; 2]>,
    /// Upper triangle of the factor of the scatter, and one over its diagonal.
    factor: [Points; POINTS],
    inverse: Points,
    /// The scatter's mean over all directions, by which it is divided before.
    scale: f64,
    values: Vec<f32>,
    order: Vec<f32>,
    places: Vec<u32>,
}

impl Mixture {
    #[inline(always)]
    pub(super) fn add(&mut self, turn: &Points) {
        self.sums(turn, 1.0);
        self.count += 1;
    }

    /// Takes away the oldest turn.
    #[inline(always)]
    pub(super) fn remove(&mut self, turn: &Points) {
        self.sums(turn, -1.0);
        self.count -= 1;
        for fit in self.best.iter_mut().chain(&mut self.other) {
            if !fit.first.is_empty() {
                fit.first.remove(0);
            }
        }
    }

    #[inline(always)]
    fn sums(&mut self, turn: &Points, sign: f64) {
        let turn = turn.map(f64::from);
        for (i, row) in self.square.iter_mut().enumerate() {
            let x = sign * turn[i];
            self.total[i] += x;
            for j in 0..POINTS {
                row[j] += x * turn[j];
            }
        }
    }

    pub(super) fn reset(&mut self) {
        self.count = 0;
        self.total = Default::default();
        self.square = Default::default();
        self.best = None;
        self.other = None;
    }

    /// The mean turn.
    #[inline(always)]
    pub(super) fn mean(&self) -> Points {
        let scale = 1.0 / self.count.max(1) as f64;
        self.total.map(|t| (t * scale) as f32)
    }

    /// One step of the fits to these turns, which are those added and not removed; `recent` of the
    /// last ones count for [`TwoKinds::recent`].
    #[inline(always)]
    pub(super) fn tell(&mut self, turns: &[Points], recent: usize) -> TwoKinds {
        self.age += 1;
        if self.age >= ANEW {
            self.age = 0;
            self.count = 0;
            self.total = Default::default();
            self.square = Default::default();
            for turn in turns {
                self.sums(turn, 1.0);
                self.count += 1;
            }
        }
        if !self.factorize() {
            return TwoKinds::default();
        }
        let mut best = self.best.take();
        if let Some(best) = &mut best {
            self.step(best, turns, true);
        }
        let mut other = self.other.take().unwrap_or_else(|| {
            self.way = (self.way + 1) % (WAYS + u32::from(self.before.is_some()));
            self.begin(turns, self.way)
        });
        let tried = best.is_none() || other.steps + 1 >= TRIED;
        self.step(&mut other, turns, tried);
        let mut best = best.filter(Fit::holds);
        if !tried {
            self.other = Some(other).filter(|fit| fit.steps > 0);
        } else if other.holds()
            && best
                .as_ref()
                .is_none_or(|best| other.worth() > best.worth())
        {
            best = Some(other);
        }
        if let Some(best) = best.as_ref().filter(|best| best.is_worth_keeping()) {
            self.before = Some([self.mean(), minus(&best.means[0], &best.means[1])]);
        }
        let told = best.as_ref().map(|best| best.told(recent));
        self.best = best;
        told.unwrap_or(TwoKinds {
            turns: turns.len(),
            ..TwoKinds::default()
        })
    }

    /// The scatter of all turns, factorized (Cholesky); false where there is none.
    #[inline(always)]
    fn factorize(&mut self) -> bool {
        let n = 1.0 / self.count as f64;
        let mean = self.total.map(|total| total * n);
        let trace: f64 = (0..POINTS)
            .map(|i| self.square[i][i] * n - mean[i] * mean[i])
            .sum();
        self.scale = trace / POINTS as f64;
        if self.scale.partial_cmp(&1e-30) != Some(std::cmp::Ordering::Greater) {
            return false;
        }
        let scale = 1.0 / self.scale;
        let rows = &mut self.factor;
        for (i, (row, sums)) in rows.iter_mut().zip(&self.square).enumerate() {
            for j in 0..POINTS {
                row[j] = (scale * (sums[j] * n - mean[i] * mean[j])) as f32;
            }
        }
        // Row by row from above, each taken off all that follow. Halves of rows are quicker than parts,
        // and what stands on the diagonal and left of it counts no more.
        const HALF: usize = POINTS / 2;
        for j in 0..POINTS {
            let (above, below) = rows.split_at_mut(j + 1);
            let row = &mut above[j];
            let inverse = greater(row[j] + ROUND, 0.1 * ROUND).sqrt().recip();
            row[..j].fill(0.0);
            row.iter_mut().for_each(|x| *x *= inverse);
            for (other, i) in below.iter_mut().zip(j + 1..) {
                let from = if i < HALF { 0 } else { HALF };
                add(&mut other[from..], &row[from..], -row[i]);
            }
            row[j] = 0.0;
            self.inverse[j] = inverse;
        }
        true
    }

    /// The scatter's inverse times a vector.
    #[inline(always)]
    fn solve(&self, v: &Points) -> Points {
        let rows = &self.factor;
        let mut x = *v;
        for (j, row) in rows.iter().enumerate() {
            let known = x[j] * self.inverse[j];
            add(&mut x, row, -known);
            x[j] = known;
        }
        for (j, row) in rows.iter().enumerate().rev() {
            let rest = sum(row, &x, |x, y| x * y);
            x[j] = (x[j] - rest) * self.inverse[j];
        }
        let scale = (1.0 / self.scale) as f32;
        x.map(|x| x * scale)
    }

    /// One step of expectation and maximization; `weigh` says that the gain is asked for.
    #[inline(always)]
    fn step(&self, fit: &mut Fit, turns: &[Points], weigh: bool) {
        let n = turns.len();
        for turn in &turns[fit.first.len().min(n)..] {
            let odds = sum(turn, &fit.line, |x, y| x * y) + fit.offset as f32;
            let likely = if fit.steps > 0 { chance(odds) } else { 0.5 };
            fit.first.push(likely);
        }
        // Two running sums, so that one need not wait for the other.
        let mut sums = [[0.0f32; POINTS]; 2];
        for (turns, r) in turns.chunks(2).zip(fit.first.chunks(2)) {
            for ((sums, turn), r) in sums.iter_mut().zip(turns).zip(r) {
                add(sums, turn, *r);
            }
        }
        let weight = sum(&fit.first, &fit.first, |x, _| x);
        let (first, all) = (f64::from(weight), n as f64);
        if !(FEWEST..=all - FEWEST).contains(&first) {
            // One of the kinds has died out.
            fit.steps = 0;
            return;
        }
        let each = [first, all - first].map(|n| (1.0 / n) as f32);
        let (mut a, mut b) = ([0.0; POINTS], [0.0; POINTS]);
        for i in 0..POINTS {
            let sum = sums[0][i] + sums[1][i];
            a[i] = each[0] * sum;
            b[i] = each[1] * (self.total[i] as f32 - sum);
        }
        let apart = minus(&a, &b);
        let line = self.solve(&apart);
        let k = f64::from(sum(&line, &apart, |x, y| x * y));
        let share = first / all;
        let rest = 1.0 - (share * (1.0 - share) * k).min(BETWEEN);
        let square = (k / rest).max(1e-12);
        let middle: f64 = [&a, &b]
            .map(|m| 0.5 * f64::from(sum(m, &line, |x, y| x * y)))
            .iter()
            .sum();
        let scale = (1.0 / rest) as f32;
        fit.line = line.map(|x| x * scale);
        fit.offset = (share / (1.0 - share)).ln() - middle / rest;
        fit.share = share;
        fit.distance = square.sqrt();
        fit.means = [a, b];
        for (turn, r) in turns.iter().zip(&mut fit.first) {
            *r = sum(turn, &fit.line, |x, y| x * y) + fit.offset as f32;
        }
        if weigh {
            fit.weigh();
        }
        for r in &mut fit.first {
            *r = chance(*r);
        }
        fit.steps += 1;
    }

    /// A first guess: the turns in two along some direction.
    #[inline(always)]
    fn begin(&mut self, turns: &[Points], way: u32) -> Fit {
        let mean = self.mean();
        let farthest = || {
            let off = |turn: &Points| sum(turn, &mean, |x, m| (x - m) * (x - m));
            let mut most = (-1.0, &mean);
            for turn in turns {
                let off = off(turn);
                if off > most.0 {
                    most = (off, turn);
                }
            }
            minus(most.1, &mean)
        };
        let along = |line: &Points, out: &mut Vec<f32>| {
            let middle = sum(&mean, line, |x, y| x * y);
            out.clear();
            for turn in turns {
                out.push(sum(turn, line, |x, y| x * y) - middle);
            }
        };
        let values = &mut std::mem::take(&mut self.values);
        let weighed = |values: &[f32], power: i32| {
            let (mut sums, mut all) = ([0.0; POINTS], 0.0);
            for (turn, v) in turns.iter().zip(values) {
                let v = v.powi(power);
                all += v;
                add(&mut sums, turn, v);
            }
            add(&mut sums, &mean, -all);
            sums
        };
        match way {
            // The direction of the turn that is farthest off, against the scatter, and from there
            // the most lopsided one.
            0 => {
                along(&self.solve(&farthest()), values);
                for _ in 0..2 {
                    let next = self.solve(&weighed(values, 2));
                    along(&next, values);
                }
            }
            // The main direction.
            1 => {
                along(&farthest(), values);
                for _ in 0..4 {
                    let mut next = weighed(values, 1);
                    let square = sum(&next, &next, |x, _| x * x);
                    let scale = greater(square, f32::MIN_POSITIVE).sqrt().recip();
                    next.iter_mut().for_each(|x| *x *= scale);
                    along(&next, values);
                }
            }
            // The greatest step from a turn to the next, against the scatter.
            2 => {
                let mut most = (-1.0, [0.0; POINTS]);
                for pair in turns.windows(2) {
                    let step = minus(&pair[1], &pair[0]);
                    let square = sum(&step, &step, |x, _| x * x);
                    if square > most.0 {
                        most = (square, step);
                    }
                }
                along(&self.solve(&most.1), values);
            }
            // As they were told apart before, wherever the turns were cut then.
            WAYS => {
                let [turn, apart] = self.before.unwrap_or_default();
                let shifted = |row: &Points, by: usize| -> Points {
                    std::array::from_fn(|i| row[(i + by) % POINTS])
                };
                let mut most = (f32::MIN, 0);
                for by in 0..POINTS {
                    let alike = sum(&shifted(&turn, by), &mean, |x, y| x * y);
                    if alike > most.0 {
                        most = (alike, by);
                    }
                }
                along(&self.solve(&shifted(&apart, most.1)), values);
            }
            // How much of the mean turn each has, against the scatter: a turn without a firing lacks it.
            _ => along(&self.solve(&mean), values),
        }
        if values.iter().any(|v| !v.is_finite()) {
            values.fill(0.0);
        }
        let (_, cut) = best_cut(values, &mut self.places, &mut self.order);
        let first = values
            .iter()
            .map(|v| GUESS[usize::from(*v > cut)])
            .collect();
        self.values = std::mem::take(values);
        Fit {
            first,
            ..Fit::default()
        }
    }
}

/// Log odds as a probability.
#[inline(always)]
fn chance(odds: f32) -> f32 {
    1.0 / (1.0 + exp(-odds))
}

/// The difference of two turns.
#[inline(always)]
fn minus(a: &Points, b: &Points) -> Points {
    let mut difference = *a;
    add(&mut difference, b, -1.0);
    difference
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers between -1 and 1 that look random (Knuth's linear congruence, from memory).
    struct Numbers(u64);

    impl Numbers {
        fn next(&mut self) -> f32 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (self.0 >> 40) as f32 / (1u64 << 23) as f32 - 1.0
        }

        /// Variance 1: the sum of three of variance 1/3.
        fn normal(&mut self) -> f32 {
            self.next() + self.next() + self.next()
        }
    }

    /// What is told of 160 turns after 40 looks: `skips` of them lack a pulse, all have noise of that
    /// deviation in each point.
    fn told_of(noise: f32, skips: impl Fn(usize) -> bool) -> TwoKinds {
        let mut numbers = Numbers(7);
        let turns: Vec<Points> = (0..160)
            .map(|turn| {
                std::array::from_fn(|i| {
                    let pulse = if i < 4 && !skips(turn) { 1.0 } else { 0.0 };
                    let other = if (12..20).contains(&i) { 3.0 } else { 0.0 };
                    pulse + other + noise * numbers.normal()
                })
            })
            .collect();
        let mut mixture = Mixture::default();
        for turn in &turns {
            mixture.add(turn);
        }
        let mut told = TwoKinds::default();
        for _ in 0..40 {
            told = mixture.tell(&turns, 40);
        }
        told
    }

    #[test]
    fn the_distance_is_that_of_the_means_over_the_scatter() {
        // Four points that differ by 1 with a deviation of 0.25 are 2 / 0.25 = 8 deviations apart; the
        // scatter that is added in every direction takes a little.
        let told = told_of(0.25, |turn| turn % 8 == 0);
        assert!((told.share - 0.125).abs() < 0.01, "{told:?}");
        assert!((6.0..8.6).contains(&told.distance), "{told:?}");
        assert!(told.again < -0.05, "{told:?}");
    }

    #[test]
    fn one_kind_explains_what_is_one_kind() {
        let told = told_of(0.25, |_| false);
        // Less than what counts for two kinds: chance alone finds some split of so few turns.
        assert!(told.gain < 0.4 && told.distance < 5.0, "{told:?}");
    }

    #[test]
    fn silence_says_nothing() {
        let turns = [[0.0; POINTS]; 40];
        let mut mixture = Mixture::default();
        turns.iter().for_each(|turn| mixture.add(turn));
        assert_eq!(mixture.tell(&turns, 8), TwoKinds::default());
    }

    #[test]
    fn kinds_that_were_told_apart_are_found_again_wherever_the_turns_are_cut() {
        let skips = |turn: usize| turn % 3 == 1;
        let turns = |numbers: &mut Numbers, shift: usize| -> Vec<Points> {
            (0..160)
                .map(|turn| {
                    let whole: Points = std::array::from_fn(|i| {
                        let pulse = if i < 4 && !skips(turn) { 1.0 } else { 0.0 };
                        let other = if (12..20).contains(&i) { 3.0 } else { 0.0 };
                        pulse + other + 0.25 * numbers.normal()
                    });
                    std::array::from_fn(|i| whole[(i + shift) % POINTS])
                })
                .collect()
        };
        let mut numbers = Numbers(5);
        let mut mixture = Mixture::default();
        let first = turns(&mut numbers, 0);
        first.iter().for_each(|turn| mixture.add(turn));
        for _ in 0..40 {
            mixture.tell(&first, 40);
        }
        mixture.reset();
        let again = turns(&mut numbers, 11);
        again.iter().for_each(|turn| mixture.add(turn));
        assert!(mixture.factorize());
        // Nothing but where to begin, and one step from there.
        let mut fit = mixture.begin(&again, WAYS);
        mixture.step(&mut fit, &again, true);
        let first_skips = fit.first[1] > 0.5;
        let right = (0..160)
            .filter(|i| (fit.first[*i] > 0.5) == (skips(*i) == first_skips))
            .count();
        assert!(right > 152, "{right}");
    }
}
