//! Scores that bend: two layers of units between the features and the log odds.
//!
//! Each unit is the hyperbolic tangent of a weighted sum, so that no feature, however far out, carries
//! the score away with it (multilayer perceptron: Rumelhart, Hinton and Williams 1986, from memory). The
//! weights are fitted by `examples/fit/fit.py`.
use crate::spectrum::{LANES, exp, greater, lesser, widest};

/// Features beyond so many standard deviations say no more.
const FARTHEST: f32 = 4.0;

/// Weights of a network with so many features, units in its two layers, and scores.
#[derive(Debug)]
pub struct Network<
    const FEATURES: usize,
    const FIRST: usize,
    const SECOND: usize,
    const SCORES: usize,
> {
    /// Mean of each feature and one over its standard deviation.
    pub means: [f32; FEATURES],
    /// See `means`.
    pub scales: [f32; FEATURES],
    /// What each feature gives to each unit of the first layer, and what these have from the beginning.
    pub first: [[f32; FIRST]; FEATURES],
    /// See `first`.
    pub first_rest: [f32; FIRST],
    /// What each unit of the first layer gives to each of the second.
    pub second: [[f32; SECOND]; FIRST],
    /// See `second`.
    pub second_rest: [f32; SECOND],
    /// What each unit of the second layer gives to each score.
    pub last: [[f32; SCORES]; SECOND],
    /// See `last`.
    pub last_rest: [f32; SCORES],
}

impl<const FEATURES: usize, const FIRST: usize, const SECOND: usize, const SCORES: usize>
    Network<FEATURES, FIRST, SECOND, SCORES>
{
    /// The scores, as log odds. A feature that is no number counts as its mean.
    pub fn scores(&self, features: &[f64; FEATURES]) -> [f64; SCORES] {
        widest!({
            let mut near = [0.0f32; FEATURES];
            for i in 0..FEATURES {
                let off = (features[i] as f32 - self.means[i]) * self.scales[i];
                let off = if off.is_nan() { 0.0 } else { off };
                near[i] = off.clamp(-FARTHEST, FARTHEST);
            }
            let first = layer(&near, &self.first, &self.first_rest).map(bent);
            let second = layer(&first, &self.second, &self.second_rest).map(bent);
            layer(&second, &self.last, &self.last_rest).map(f64::from)
        })
    }
}

/// What a layer gives to each of its units: so many of them at a time, whose sums stay in registers.
#[inline(always)]
fn layer<const FROM: usize, const TO: usize>(
    from: &[f32; FROM],
    weights: &[[f32; TO]; FROM],
    rest: &[f32; TO],
) -> [f32; TO] {
    let mut to = *rest;
    let (blocks, last) = to.as_chunks_mut::<LANES>();
    let whole = LANES * blocks.len();
    for (block, sums) in blocks.iter_mut().enumerate() {
        let mut lanes = *sums;
        for (x, row) in from.iter().zip(weights) {
            let row = &row.as_chunks::<LANES>().0[block];
            for i in 0..LANES {
                lanes[i] += x * row[i];
            }
        }
        *sums = lanes;
    }
    for (x, row) in from.iter().zip(weights) {
        for (sum, w) in last.iter_mut().zip(&row[whole..]) {
            *sum += x * w;
        }
    }
    to
}

/// The hyperbolic tangent; beyond 10 it is 1 in 32 bits.
#[inline(always)]
fn bent(x: f32) -> f32 {
    let twice = exp(2.0 * lesser(greater(x, -10.0), 10.0));
    (twice - 1.0) / (twice + 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two features, of which the second is ten times the first, and three units and one.
    const SMALL: Network<2, 3, 1, 2> = Network {
        means: [1.0, 10.0],
        scales: [2.0, 0.2],
        first: [[1.0, 0.0, -0.5], [0.0, 1.0, 0.25]],
        first_rest: [0.0, 0.1, 0.2],
        second: [[0.3], [-0.7], [1.1]],
        second_rest: [0.05],
        last: [[2.0, -1.0]],
        last_rest: [-0.25, 0.5],
    };

    #[test]
    fn the_scores_are_those_of_the_formula() {
        for (a, b) in [(1.0f64, 10.0f64), (1.3, 9.0), (0.2, 14.0)] {
            let (x, y) = (2.0 * (a - 1.0), 0.2 * (b - 10.0));
            let units = [x, y + 0.1, 0.25 * y - 0.5 * x + 0.2].map(f64::tanh);
            let second = 0.3 * units[0] - 0.7 * units[1] + 1.1 * units[2] + 0.05;
            let expected = [2.0 * second.tanh() - 0.25, 0.5 - second.tanh()];
            for (score, expected) in SMALL.scores(&[a, b]).iter().zip(expected) {
                assert!((score - expected).abs() < 1e-5);
            }
        }
    }

    #[test]
    fn what_is_far_out_or_no_number_carries_nothing_away() {
        let at = |x: f64| SMALL.scores(&[x, 10.0]);
        assert_eq!(at(1e30), at(3.0));
        assert_eq!(at(-f64::INFINITY), at(-1.0));
        assert_eq!(at(f64::NAN), at(1.0));
    }

    #[test]
    fn it_bends_like_the_hyperbolic_tangent() {
        for i in -300..=300 {
            let x = f64::from(i) * 0.05;
            assert!((f64::from(bent(x as f32)) - x.tanh()).abs() < 1e-6, "{x}");
        }
    }
}
