//! One way to tell two kinds of turns apart, and what it says of them.
use super::memory::{POINTS, Points};
use crate::spectrum::{exp, greater, sum};

/// From this distance, gain and share of either kind on, a later fit may begin with this one.
const WORTH_KEEPING: (f64, f64, f64) = (4.0, 0.2, 0.1);
/// Share of the weaker kind above which it is taken for the fired one, if its power is nearly that of
/// the other.
const SELDOM: f64 = 0.7;
const NEARLY: f64 = 0.5;

/// What the turns of the last while say about two kinds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TwoKinds {
    /// Turns that it rests on; 0 says nothing.
    pub turns: usize,
    /// Share of the weaker kind, 0 to 1.
    pub share: f64,
    /// The same over the last 0.3 s.
    pub recent: f64,
    /// Distance between the means, in standard deviations of the turns around them.
    pub distance: f64,
    /// By how much two kinds explain a turn better than one, in natural logarithms of likelihood.
    pub gain: f64,
    /// Power of the weaker kind over that of the stronger, 0 to 1.
    pub power: f64,
    /// Correlation of a turn's kind with the next one's, −1 to 1.
    pub again: f64,
    /// Turns that are of the same kind as the one before them.
    pub repeats: f64,
    /// How unlike the means are, 0 the same to 1 opposite, in the lines that a shift by a half, a
    /// third, a quarter of a turn leaves as they are, and in the others.
    pub unlike: [[f64; 2]; 3],
}

/// Lines of a turn by which two means are compared.
const LINES: usize = 12;

/// Cosine and sine of each line at each point of a turn.
static WAVES: std::sync::LazyLock<[[Points; 2]; LINES]> = std::sync::LazyLock::new(|| {
    std::array::from_fn(|line| {
        let angle = |i: usize| std::f32::consts::TAU * ((line + 1) * i) as f32 / POINTS as f32;
        [
            std::array::from_fn(|i| angle(i).cos()),
            std::array::from_fn(|i| angle(i).sin()),
        ]
    })
});

/// One fit.
#[derive(Clone, Debug, Default)]
pub(super) struct Fit {
    /// Probability of the first kind for each turn.
    pub(super) first: Vec<f32>,
    /// Direction and offset: the log odds of a turn.
    pub(super) line: Points,
    pub(super) offset: f64,
    pub(super) share: f64,
    pub(super) means: [Points; 2],
    pub(super) distance: f64,
    pub(super) gain: f64,
    pub(super) steps: u32,
}

impl Fit {
    /// Whether it says more than nothing.
    pub(super) fn holds(&self) -> bool {
        self.steps > 0 && self.gain > 0.0
    }

    /// By how much it explains a turn better than one kind does, and than kinds that come by chance where
    /// they come by turns, as skips do: a few odd turns may stand further out, but without an order.
    #[inline(always)]
    pub(super) fn worth(&self) -> f64 {
        let pairs = self.first.len().saturating_sub(1).max(1) as f64;
        let both = f64::from(sum(&self.first[1..], &self.first, |x, y| x * y)) / pairs;
        let share = self.share;
        if both >= share * share {
            return self.gain;
        }
        // What one turn's kind says of the next one's (mutual information, Shannon 1948, from memory).
        let told = |p: f64, a: f64, b: f64| p * (p.max(1e-9) / (a * b).max(1e-9)).ln();
        let change = (share - both).max(0.0);
        let rest = (1.0 - share - change).max(0.0);
        self.gain
            + told(both, share, share)
            + 2.0 * told(change, share, 1.0 - share)
            + told(rest, 1.0 - share, 1.0 - share)
    }

    /// Whether a later fit may as well begin with it.
    pub(super) fn is_worth_keeping(&self) -> bool {
        let (distance, gain, share) = WORTH_KEEPING;
        self.distance > distance && self.gain > gain && (share..1.0 - share).contains(&self.share)
    }

    /// How much better two kinds explain the turns than one, along the line between them; `first`
    /// holds the log odds of each.
    #[inline(always)]
    pub(super) fn weigh(&mut self) {
        let [a, b] = self
            .means
            .map(|m| f64::from(sum(&m, &self.line, |x, y| x * y)));
        // Along the line the scatter within a kind is the square of their distance.
        let within = self.distance * self.distance;
        let share = self.share;
        let all = within + share * (1.0 - share) * within * within;
        let mean = share * a + (1.0 - share) * b;
        let (offset, a_or_b) = (self.offset as f32, [b, mean].map(|x| x as f32));
        let scale = [within, all].map(|x| (0.5 / x) as f32);
        let each = |z: f32| {
            let y = z - offset;
            let [kind, one] = a_or_b.map(|x| (y - x) * (y - x));
            greater(z, 0.0) - (scale[0] * kind - scale[1] * one)
        };
        let sum = f64::from(sum(&self.first, &self.first, |z, _| each(z)));
        // The logarithm of a product of numbers up to 2 is taken once; 160 of them fit, and several
        // products at once do not wait for each other.
        let mut products = [1.0f64; 8];
        for odds in self.first.chunks(8) {
            for (product, odds) in products.iter_mut().zip(odds) {
                *product *= f64::from(1.0 + exp(-odds.abs()));
            }
        }
        let sum = sum + products.iter().product::<f64>().ln();
        self.gain = sum / self.first.len() as f64 + (1.0 - share).ln() + 0.5 * (all / within).ln();
    }

    /// What it says, the last `recent` turns by themselves as well.
    #[inline(always)]
    pub(super) fn told(&self, recent: usize) -> TwoKinds {
        let powers = self.means.map(|m| f64::from(sum(&m, &m, |x, y| x * y)));
        let n = self.first.len();
        let share = |row: &[f32]| f64::from(sum(row, row, |x, _| x)) / row.len() as f64;
        let all = share(&self.first);
        let power = powers[0].min(powers[1]) / powers[0].max(powers[1]).max(f64::MIN_POSITIVE);
        // The weaker kind is the one without a firing; but where both are nearly as loud, rather the
        // rarer one, since no engine misses most of its firings by much.
        let first_is_weaker = powers[0] < powers[1];
        let weak = if first_is_weaker { all } else { 1.0 - all };
        let first = first_is_weaker != (weak > SELDOM && power > NEARLY);
        let weaker = |share: f64| if first { share } else { 1.0 - share };
        let last = &self.first[n.saturating_sub(recent)..];
        let mean = all as f32;
        let spread = sum(&self.first, &self.first, |x, _| (x - mean) * (x - mean));
        let step = sum(&self.first[1..], &self.first, |x, y| {
            (x - mean) * (y - mean)
        });
        TwoKinds {
            turns: n,
            share: weaker(all),
            recent: weaker(share(last)),
            distance: self.distance,
            gain: self.gain,
            power,
            again: f64::from(step / spread.max(1e-6)).clamp(-1.0, 1.0),
            repeats: f64::from(sum(&self.first[1..], &self.first, |x, y| {
                x * y + (1.0 - x) * (1.0 - y)
            })),
            unlike: unlike(&self.means),
        }
    }
}

/// How unlike two turns are in the lines that a shift by a half, a third, a quarter of a turn leaves
/// as they are, and in the others.
#[inline(always)]
fn unlike(means: &[Points; 2]) -> [[f64; 2]; 3] {
    let mut lines = [(0.0, 0.0); LINES];
    for (waves, line) in WAVES.iter().zip(&mut lines) {
        let [a, b] = means.each_ref().map(|mean| {
            let [re, im] = waves
                .each_ref()
                .map(|wave| f64::from(sum(mean, wave, |x, y| x * y)));
            (re, im)
        });
        let power = a.0 * a.0 + a.1 * a.1 + b.0 * b.0 + b.1 * b.1;
        let apart = (a.0 - b.0).powi(2) + (a.1 - b.1).powi(2);
        *line = (power, 0.5 * apart / power.max(f64::MIN_POSITIVE));
    }
    [2, 3, 4].map(|shift| {
        [true, false].map(|stays| {
            let (mut sum, mut weight) = (0.0, 1e-30);
            for (k, (power, apart)) in (1usize..).zip(&lines) {
                if k.is_multiple_of(shift) == stays {
                    sum += power.sqrt() * apart;
                    weight += power.sqrt();
                }
            }
            sum / weight
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A fit that takes these turns for the first kind and explains so much.
    fn fit(gain: f64, first: impl Fn(usize) -> bool) -> Fit {
        let first: Vec<f32> = (0..160).map(|i| f32::from(u8::from(first(i)))).collect();
        Fit {
            share: f64::from(first.iter().sum::<f32>()) / 160.0,
            first,
            gain,
            ..Fit::default()
        }
    }

    #[test]
    fn kinds_that_come_by_turns_are_worth_more() {
        // Every second turn tells the next one: a bit for a turn.
        let strict = fit(0.2, |i| i % 2 == 0);
        assert!((strict.worth() - 0.2 - 2f64.ln()).abs() < 0.01);
        // Every third is told by the two before it, of which one turn sees one:
        // h(1/3) - 2/3 h(1/2).
        let third = fit(0.0, |i| i % 3 == 0);
        let expected = 3f64.ln() - 4.0 / 3.0 * 2f64.ln();
        assert!((third.worth() - expected).abs() < 0.02, "{}", third.worth());
        // One kind after the other is no skipping, nor are a few odd turns.
        assert_eq!(fit(0.2, |i| i < 80).worth(), 0.2);
        assert!(fit(0.2, |i| i % 40 == 0).worth() < 0.21);
    }
}
