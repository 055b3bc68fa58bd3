//! One path over crank speed and rhythm of firing together.
//!
//! A hidden Markov chain whose states are (rhythm, speed): the speed can change by a bounded ratio
//! a hop, the rhythm at any time. Forward and backward passes give, for each hop, the probability
//! of every speed given the sound before it and as much after it as the look-ahead allows (L. R.
//! Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77(2), 1989, from memory). The
//! evidence of neighbouring hops comes from overlapping windows and is far from independent, so it
//! is scaled down by [`SCALE`].
use std::collections::VecDeque;

use super::evidence::{RHYTHMS, SPEEDS, WIDTH};
use crate::spectrum::{exp, greater, greatest, sum, widest};

/// Weight of one hop's evidence.
const SCALE: f32 = 0.5;
/// Most bins that the speed moves in a hop: 8 bins in 16 ms are 480 % a second; measured snaps of
/// real saws reach 357 % a second.
const REACH: usize = 8;
/// Loss of log probability for each bin moved in a hop.
const STIFFNESS: f32 = 0.2;
/// Probability that the rhythm changes in a hop.
const CHANGE: f32 = 0.03;
/// Bins on either side that count as the same speed when probabilities are added up.
const NEAR: usize = 3;

const PADDED: usize = WIDTH + 2 * REACH;
/// Speeds worked on together.
const LANES: usize = 16;
/// A value for each rhythm and speed; beyond [`SPEEDS`] the evidence is 0.
type State = [[f32; WIDTH]; RHYTHMS];

/// The chain's verdict on one hop.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// Most probable place on the speed grid, as a fraction.
    pub place: f64,
    /// Probability of that speed, 0 to 1.
    pub probability: f64,
    /// Probability of each rhythm at that speed, adding up to 1.
    pub rhythm: [f32; RHYTHMS],
    /// The next most probable speed that is not a neighbour, with its probability.
    pub runner_up: (f64, f64),
}

/// A chain with a fixed look-ahead.
pub struct Chain {
    kernel: [f32; REACH + 1],
    /// Hops that a verdict looks ahead.
    ahead: usize,
    /// Hops decided at a time.
    batch: usize,
    /// Hops beyond those that get a verdict as well.
    beyond: usize,
    /// Places of the grid that the search band allows.
    band: std::ops::Range<usize>,
    evidence: VecDeque<Box<State>>,
    forward: VecDeque<Box<State>>,
    pool: Vec<Box<State>>,
    /// Hops at the front of the queues that are decided already: one, kept as the start of the
    /// next forward step, or none.
    backward: Box<State>,
    message: Box<State>,
    verdicts: Vec<Place>,
}

impl Chain {
    /// A chain that decides `batch` hops at a time, each with at least `ahead` hops after it, and
    /// says what it thinks by then of up to `beyond` of those.
    pub fn new(ahead: usize, batch: usize, beyond: usize, band: std::ops::Range<usize>) -> Self {
        let blank = || Box::new([[0.0; WIDTH]; RHYTHMS]);
        Chain {
            kernel: kernel(),
            ahead,
            batch,
            beyond,
            band: band.start.min(SPEEDS - 1)..band.end.min(SPEEDS),
            evidence: VecDeque::new(),
            forward: VecDeque::new(),
            pool: Vec::new(),
            backward: blank(),
            message: blank(),
            verdicts: Vec::new(),
        }
    }

    /// Takes one hop's evidence (logarithms). When a batch is complete, returns the verdicts on
    /// the hops from the first undecided one on; the first `batch` of them are final.
    pub fn push(&mut self, logits: &State) -> Option<(&[Place], usize)> {
        let (mut e, mut a) = (self.blank(), self.blank());
        likelihood(logits, &self.band, &mut e);
        match self.forward.back() {
            Some(last) => step(&self.kernel, last, &mut a),
            None => a.iter_mut().for_each(|row| row.fill(1.0)),
        }
        multiply(&mut a, &e);
        self.evidence.push_back(e);
        self.forward.push_back(a);
        if self.forward.len() >= self.ahead + self.batch {
            let batch = self.batch;
            Some((self.decide(batch), batch))
        } else {
            None
        }
    }

    /// A state with whatever is in it.
    fn blank(&mut self) -> Box<State> {
        self.pool
            .pop()
            .unwrap_or_else(|| Box::new([[0.0; WIDTH]; RHYTHMS]))
    }

    /// Ends the sound: verdicts on all hops that are left, all final.
    pub fn finish(&mut self) -> &[Place] {
        let n = self.forward.len();
        self.decide(n)
    }

    /// Runs backward over all undecided hops and forgets the first `final_hops`.
    fn decide(&mut self, final_hops: usize) -> &[Place] {
        self.verdicts.clear();
        if self.forward.is_empty() {
            return &self.verdicts;
        }
        self.backward.iter_mut().for_each(|row| row.fill(1.0));
        for t in (0..self.forward.len()).rev() {
            if t + 1 < self.forward.len() {
                multiply(&mut self.backward, &self.evidence[t + 1]);
                step(&self.kernel, &self.backward, &mut self.message);
                std::mem::swap(&mut self.backward, &mut self.message);
            }
            if t < final_hops + self.beyond {
                self.verdicts
                    .push(verdict(&self.forward[t], &self.backward));
            }
        }
        self.verdicts.reverse();
        // The last decided hop stays as the start of the next forward step; it is in `forward`'s
        // successor already, so all decided hops can go.
        for _ in 0..final_hops.min(self.forward.len()) {
            self.pool.extend(self.forward.pop_front());
            self.pool.extend(self.evidence.pop_front());
        }
        &self.verdicts
    }
}

/// Logarithms of evidence to evidence, the greatest 1, nothing beyond the band.
fn likelihood(logits: &State, band: &std::ops::Range<usize>, evidence: &mut State) {
    widest!({
        let tops = logits.iter().map(|row| greatest(&row[band.clone()]));
        let top = tops.fold(f32::MIN, greater);
        for (out, row) in evidence.iter_mut().zip(logits) {
            for (o, v) in out.iter_mut().zip(row) {
                *o = exp(SCALE * (v - top));
            }
            out[..band.start].fill(0.0);
            out[band.end..].fill(0.0);
        }
    });
}

/// What a move by 0, 1, … bins leaves of a probability, before the whole is scaled to 1.
fn kernel() -> [f32; REACH + 1] {
    std::array::from_fn(|i| (-STIFFNESS * i as f32).exp())
}

/// One step of the chain: change of rhythm, then of speed. The kernel is even, so that the same
/// step serves forward and backward.
///
/// The kernel falls by the same factor with each bin, so that its nine terms on either side are
/// three sums of three.
fn step(q: &[f32; REACH + 1], from: &State, to: &mut State) {
    const { assert!(REACH == 8, "three sums of three terms reach eight bins") };
    widest!({
        let scale = 1.0 / (2.0 * q.iter().sum::<f32>() - 1.0);
        let mut mean = [0.0f32; WIDTH];
        for row in from {
            for (m, v) in mean.iter_mut().zip(row) {
                *m += v * (CHANGE / RHYTHMS as f32);
            }
        }
        let mut padded = [0.0f32; PADDED];
        // Sums of three terms downwards and upwards from each place.
        let (mut below, mut above) = ([0.0f32; PADDED], [0.0f32; PADDED]);
        for (row, out) in from.iter().zip(to.iter_mut()) {
            for ((p, v), m) in padded[REACH..].iter_mut().zip(row).zip(&mean) {
                *p = v * (1.0 - CHANGE) + m;
            }
            for (i, (b, a)) in below[2..].iter_mut().zip(&mut above).enumerate() {
                let (low, middle, high) = (padded[i], padded[i + 1], padded[i + 2]);
                *b = high + q[1] * middle + q[2] * low;
                *a = low + q[1] * middle + q[2] * high;
            }
            for (i, o) in out.iter_mut().enumerate() {
                let down = below[i + 8] + q[3] * below[i + 5] + q[6] * below[i + 2];
                let up = above[i + 8] + q[3] * above[i + 11] + q[6] * above[i + 14];
                *o = scale * (down + up - padded[i + 8]);
            }
        }
    });
}

/// Multiplies in evidence and scales the sum to 1. A trace of every state stays, so that no
/// evidence can lock the chain for ever.
fn multiply(state: &mut State, evidence: &State) {
    widest!({
        let mut lanes = [0.0f32; LANES];
        for (s, e) in (state.as_flattened_mut().chunks_exact_mut(LANES))
            .zip(evidence.as_flattened().chunks_exact(LANES))
        {
            for i in 0..LANES {
                s[i] *= e[i];
                lanes[i] += s[i];
            }
        }
        let all: f32 = lanes.iter().sum();
        if all > 0.0 {
            let scale = 1.0 / all;
            for s in state.as_flattened_mut() {
                *s = *s * scale + 1e-12;
            }
        } else {
            let even = 1.0 / (RHYTHMS * SPEEDS) as f32;
            state.as_flattened_mut().fill(even);
        }
    });
}

/// Reads the most probable speed from a forward and a backward state.
fn verdict(forward: &State, backward: &State) -> Place {
    widest!(most_probable(forward, backward))
}

#[inline(always)]
fn most_probable(forward: &State, backward: &State) -> Place {
    // Probability of each speed, and of it with its neighbours.
    let mut margin = [0.0f32; WIDTH + 2 * NEAR];
    for (f, b) in forward.iter().zip(backward) {
        for ((m, f), b) in margin[NEAR..].iter_mut().zip(f).zip(b) {
            *m += f * b;
        }
    }
    margin[NEAR + SPEEDS..].fill(0.0);
    let mut mass = [0.0f32; WIDTH];
    for shift in 0..=2 * NEAR {
        for (m, v) in mass.iter_mut().zip(&margin[shift..]) {
            *m += v;
        }
    }
    let mass = &mass[..SPEEDS];
    let margin = &margin[NEAR..NEAR + SPEEDS];
    let total = sum(margin, margin, |m, _| m).max(f32::MIN_POSITIVE);
    let best = |from: usize, to: usize| {
        let row = &mass[from..to];
        let most = greatest(row);
        row.iter().rposition(|m| *m == most).map(|i| from + i)
    };
    let top = best(0, SPEEDS).unwrap_or(0);
    let near = |i: usize| i.saturating_sub(NEAR)..(i + NEAR + 1).min(SPEEDS);
    let centre = |i: usize| -> f64 {
        let m: f64 = near(i).map(|k| f64::from(margin[k])).sum();
        if m > 0.0 {
            near(i)
                .map(|k| k as f64 * f64::from(margin[k]))
                .sum::<f64>()
                / m
        } else {
            i as f64
        }
    };
    let mut rhythm: [f32; RHYTHMS] =
        std::array::from_fn(|p| near(top).map(|i| forward[p][i] * backward[p][i]).sum());
    let all: f32 = rhythm.iter().sum::<f32>().max(f32::MIN_POSITIVE);
    rhythm.iter_mut().for_each(|r| *r /= all);
    let other = [
        best(0, top.saturating_sub(3 * NEAR)),
        best((top + 3 * NEAR + 1).min(SPEEDS), SPEEDS),
    ]
    .into_iter()
    .flatten()
    .max_by(|a, b| mass[*a].total_cmp(&mass[*b]))
    .unwrap_or(top);
    Place {
        place: centre(top),
        probability: f64::from(mass[top] / total).min(1.0),
        rhythm,
        runner_up: (centre(other), f64::from(mass[other] / total)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A single state spreads by the kernel, cut at the ends of the grid, and by the change of rhythm.
    #[test]
    fn a_step_spreads_by_the_kernel() {
        for at in [0, 1, 5, 100, SPEEDS - 1] {
            let mut from = [[0.0; WIDTH]; RHYTHMS];
            from[1][at] = 1.0;
            let mut to = from;
            step(&kernel(), &from, &mut to);
            let share = |apart: usize| (-f64::from(STIFFNESS) * apart as f64).exp();
            let whole = 2.0 * (0..=REACH).map(share).sum::<f64>() - 1.0;
            for (r, row) in to.iter().enumerate() {
                for (i, value) in row.iter().enumerate() {
                    let moved = if i.abs_diff(at) <= REACH {
                        share(i.abs_diff(at)) / whole
                    } else {
                        0.0
                    };
                    let change = f64::from(CHANGE) / RHYTHMS as f64;
                    let stays = if r == 1 { 1.0 - f64::from(CHANGE) } else { 0.0 };
                    let expected = moved * (stays + change);
                    assert!(
                        (f64::from(*value) - expected).abs() < 1e-6,
                        "{at}, rhythm {r}, place {i}: {value} for {expected}"
                    );
                }
            }
        }
    }
}
