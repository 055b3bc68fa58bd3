//! One path over crank speed and rhythm of firing together.
//!
//! A hidden Markov chain whose states are (rhythm, speed): the speed can change by a bounded ratio
//! a hop, the rhythm at any time. Forward and backward passes give, for each hop, the probability
//! of every speed given the sound before it and as much after it as the look-ahead allows (L. R.
//! Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77(2), 1989, from memory). The
//! evidence of neighbouring hops comes from overlapping windows and is far from independent, so it
//! is scaled down by [`SCALE`].
use std::collections::VecDeque;

use super::evidence::{RHYTHMS, SPEEDS};

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

const PADDED: usize = SPEEDS + 2 * REACH;
type State = [[f32; SPEEDS]; RHYTHMS];

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
    kernel: [f32; 2 * REACH + 1],
    /// Hops that a verdict looks ahead.
    ahead: usize,
    /// Hops decided at a time.
    batch: usize,
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
    /// A chain that decides `batch` hops at a time, each with at least `ahead` hops after it.
    pub fn new(ahead: usize, batch: usize, band: std::ops::Range<usize>) -> Self {
        let mut kernel: [f32; 2 * REACH + 1] =
            std::array::from_fn(|i| (-STIFFNESS * (i as f32 - REACH as f32).abs()).exp());
        let sum: f32 = kernel.iter().sum();
        kernel.iter_mut().for_each(|k| *k /= sum);
        let blank = || Box::new([[0.0; SPEEDS]; RHYTHMS]);
        Chain {
            kernel,
            ahead,
            batch,
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
    /// every hop from the first undecided one to the newest; the first `batch` of them are final.
    pub fn push(&mut self, logits: &State) -> Option<(&[Place], usize)> {
        let mut e = self
            .pool
            .pop()
            .unwrap_or_else(|| Box::new([[0.0; SPEEDS]; RHYTHMS]));
        let band = self.band.clone();
        let top = logits
            .iter()
            .flat_map(|row| &row[band.clone()])
            .fold(f32::MIN, |m, v| m.max(*v));
        for (out, row) in e.iter_mut().zip(logits) {
            out.fill(0.0);
            for i in band.clone() {
                out[i] = exp(SCALE * (row[i] - top));
            }
        }
        let mut a = self
            .pool
            .pop()
            .unwrap_or_else(|| Box::new([[0.0; SPEEDS]; RHYTHMS]));
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
            self.verdicts
                .push(verdict(&self.forward[t], &self.backward));
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

/// `exp` for arguments up to 0, to 0.1 %: Schraudolph's bit trick with a cubic correction is enough
/// for evidence.
#[inline]
fn exp(x: f32) -> f32 {
    let y = (x * std::f32::consts::LOG2_E).max(-60.0);
    // Truncation of a number made positive: a call to `floor` costs more than the polynomial.
    let whole = ((y + 64.0) as i32 - 64) as f32;
    let m = y - whole;
    let p = 1.0 + m * (0.695_976_1 + m * (0.224_940_6 + m * 0.079_020_3));
    f32::from_bits(((whole + 127.0) as u32) << 23) * p
}

/// One step of the chain: change of rhythm, then of speed. The kernel is even, so that the same
/// step serves forward and backward.
fn step(kernel: &[f32; 2 * REACH + 1], from: &State, to: &mut State) {
    let mut mean = [0.0f32; SPEEDS];
    for row in from {
        for (m, v) in mean.iter_mut().zip(row) {
            *m += v * (CHANGE / RHYTHMS as f32);
        }
    }
    let mut padded = [0.0f32; PADDED];
    for (row, out) in from.iter().zip(to.iter_mut()) {
        for ((p, v), m) in padded[REACH..REACH + SPEEDS].iter_mut().zip(row).zip(&mean) {
            *p = v * (1.0 - CHANGE) + m;
        }
        out.fill(0.0);
        for (i, k) in kernel.iter().enumerate() {
            for (o, p) in out.iter_mut().zip(&padded[i..i + SPEEDS]) {
                *o += k * p;
            }
        }
    }
}

/// Multiplies in evidence and scales the sum to 1. A trace of every state stays, so that no
/// evidence can lock the chain for ever.
fn multiply(state: &mut State, evidence: &State) {
    let mut sum = 0.0f32;
    for (row, e) in state.iter_mut().zip(evidence) {
        for (s, e) in row.iter_mut().zip(e) {
            *s *= e;
            sum += *s;
        }
    }
    if sum > 0.0 {
        let scale = 1.0 / sum;
        for row in state.iter_mut() {
            for s in row.iter_mut() {
                *s = *s * scale + 1e-12;
            }
        }
    } else {
        state
            .iter_mut()
            .for_each(|row| row.fill(1.0 / (RHYTHMS * SPEEDS) as f32));
    }
}

/// Reads the most probable speed from a forward and a backward state.
fn verdict(forward: &State, backward: &State) -> Place {
    let mut joint = [[0.0f32; SPEEDS]; RHYTHMS];
    let mut margin = [0.0f32; SPEEDS];
    for ((j, f), b) in joint.iter_mut().zip(forward).zip(backward) {
        for i in 0..SPEEDS {
            j[i] = f[i] * b[i];
            margin[i] += j[i];
        }
    }
    let mut before = [0.0f32; SPEEDS + 1];
    for i in 0..SPEEDS {
        before[i + 1] = before[i] + margin[i];
    }
    let total = before[SPEEDS].max(f32::MIN_POSITIVE);
    let mass: [f32; SPEEDS] = std::array::from_fn(|i| {
        before[(i + NEAR + 1).min(SPEEDS)] - before[i.saturating_sub(NEAR)]
    });
    let best = |from: usize, to: usize| (from..to).max_by(|a, b| mass[*a].total_cmp(&mass[*b]));
    let top = best(0, SPEEDS).unwrap_or(0);
    let centre = |i: usize| -> f64 {
        let range = i.saturating_sub(NEAR)..(i + NEAR + 1).min(SPEEDS);
        let m: f64 = margin[range.clone()].iter().map(|v| f64::from(*v)).sum();
        if m > 0.0 {
            range.map(|k| k as f64 * f64::from(margin[k])).sum::<f64>() / m
        } else {
            i as f64
        }
    };
    let near = top.saturating_sub(NEAR)..(top + NEAR + 1).min(SPEEDS);
    let mut rhythm: [f32; RHYTHMS] = std::array::from_fn(|p| joint[p][near.clone()].iter().sum());
    let sum: f32 = rhythm.iter().sum::<f32>().max(f32::MIN_POSITIVE);
    rhythm.iter_mut().for_each(|r| *r /= sum);
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

    #[test]
    fn exponential_agrees_with_the_library() {
        for i in 0..4_000 {
            let x = -(i as f32) * 0.01;
            assert!(
                (exp(x) / x.exp() - 1.0).abs() < 2e-3,
                "{x}: {} {}",
                exp(x),
                x.exp()
            );
        }
    }
}
