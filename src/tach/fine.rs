//! The last digits of a steady speed: how the phases of the lines drift over a look.
//!
//! A cut along the path says at which crank angle, by the path, each sample sounded; the phase of line k
//! says by how much the crank was ahead of that, times k. So the look is folded to eight groups of whole
//! turns, in which the lines stand at right angles to each other, and the straight line through the crank
//! angles of the groups is the speed. Each line counts with the weight of the maximum-likelihood estimate
//! for harmonics in white noise (variance bound: Rife and Boorstyn 1974, from memory): a tapered window
//! and a peak between bins would lose half of what the sound knows, and a path that noise bends far more.
use std::f64::consts::TAU;

use super::angle::{EIGHTHS, SAMPLES, Turns};
use super::lines::{Fold, Waves};
use crate::capture::WORKING_RATE;
use crate::spectrum::{HOP, power, widest};

/// Lines that are followed.
const LINES: usize = 12;
/// Samples of a group, and of the longest turn.
const GROUP: usize = SAMPLES / EIGHTHS;
/// Groups that must have sounded: live, the last of a look are still to come.
const FEWEST: usize = 4;
/// Height of a line over the floor from which it counts, and beyond which it counts no more, in units of
/// 10 dB.
const CLEAR: f32 = 0.5;
const CLEAREST: f32 = 6.0;
/// Rounds, each from where the last one ended.
const ROUNDS: usize = 2;
/// Change of speed a second, as a ratio, up to which a path knows of none: within a hop it comes to 0.006 %.
const LEVEL: f64 = 0.004;
/// Widest correction, as a ratio.
const WIDEST: f64 = 0.01;

/// Follows the phases.
#[derive(Debug, Default)]
pub(super) struct Fine {
    waves: Waves<LINES>,
    fold: Fold,
    /// The last hop whose speed was told, and that speed.
    last: Option<(usize, f64)>,
}

impl Fine {
    /// The speed in the middle of a look around a hop, in turns a second, where it changes evenly, by
    /// `trend` a second as a ratio; `near` is what is known of it, and the look was cut at `cut` in the
    /// mean. None where no line stands out.
    pub(super) fn speed(
        &mut self,
        hop: usize,
        look: &Turns,
        near: f64,
        cut: f64,
        trend: f64,
    ) -> Option<f64> {
        let speed = self.by_phases(look, near, cut, trend);
        self.last = speed.map(|speed| (hop, speed));
        speed
    }

    /// The speed at the hop after that.
    pub(super) fn after(&self, hop: usize, trend: f64) -> Option<f64> {
        let (last, speed) = self.last?;
        let trend = if trend.abs() < LEVEL { 0.0 } else { trend };
        let seconds = HOP as f64 / f64::from(WORKING_RATE);
        (last + 1 == hop).then_some(speed * (trend * seconds).exp())
    }

    fn by_phases(&mut self, look: &Turns, near: f64, cut: f64, trend: f64) -> Option<f64> {
        let length = look.per_turn;
        let sounded = (look.sounded.end / GROUP).min(EIGHTHS);
        if length == 0 || sounded < FEWEST {
            return None;
        }
        let weights = weights(look, near / cut);
        let (waves, fold) = (self.waves.of(length), &mut self.fold);
        let mut groups = [[(0.0, 0.0); LINES]; EIGHTHS];
        widest!({
            for (lines, sound) in groups.iter_mut().zip(look.samples.chunks_exact(GROUP)) {
                *lines = fold.lines(sound, length, waves);
            }
        });
        let times = &look.times.map(f64::from)[..sounded];
        let middle = times.iter().sum::<f64>() / sounded as f64;
        let square: f64 = times.iter().map(|t| (t - middle).powi(2)).sum();
        // Turns of the cut from its middle to that of each group.
        let apart = (GROUP / length) as f64;
        let angle = |group: usize| apart * (group as f64 - 0.5 * (EIGHTHS - 1) as f64);
        // The speed changes: the turns made since the middle, at its speed there.
        let even = |t: &f64| t + 0.5 * trend * t * t;
        let mut speed = near;
        for _ in 0..ROUNDS {
            let (mut all, mut weight) = (0.0, 0.0);
            // By how much the first line is ahead of the cut at each group; each further line by that more.
            let mut turned = [(1.0, 0.0); EIGHTHS];
            let mut first = turned;
            for (g, (first, t)) in first.iter_mut().zip(times).enumerate() {
                let (sin, cos) = (TAU * (speed * even(t) - angle(g))).sin_cos();
                *first = (cos, sin);
            }
            for (i, w) in weights.into_iter().enumerate() {
                for ((re, im), (cos, sin)) in turned.iter_mut().zip(&first) {
                    (*re, *im) = (*re * cos - *im * sin, *re * sin + *im * cos);
                }
                if w <= 0.0 {
                    continue;
                }
                let mut ahead = [(0.0, 0.0); EIGHTHS];
                let mut mean = (0.0, 0.0);
                let sounded_lines = groups[..sounded].iter().map(|lines| lines[i]);
                for ((z, (re, im)), (cos, sin)) in ahead.iter_mut().zip(sounded_lines).zip(&turned)
                {
                    *z = (re * cos + im * sin, im * cos - re * sin);
                    mean = (mean.0 + z.0, mean.1 + z.1);
                }
                let power = (mean.0 * mean.0 + mean.1 * mean.1) / sounded as f64;
                if power <= 0.0 {
                    continue;
                }
                let along = times.iter().zip(&ahead);
                let slope: f64 = along
                    .map(|(t, z)| (t - middle) * (z.1 * mean.0 - z.0 * mean.1))
                    .sum();
                all += w * slope / power / square / (TAU * (i + 1) as f64);
                weight += w;
            }
            if weight <= 0.0 {
                return None;
            }
            speed += all / weight;
        }
        ((speed / near - 1.0).abs() < WIDEST).then_some(speed)
    }
}

/// Weight of each line, k² times its power over that of the floor, where it is expected by a speed that
/// is so much faster than the cut.
fn weights(look: &Turns, ratio: f64) -> [f64; LINES] {
    std::array::from_fn(|i| {
        let k = (i + 1) as f64;
        let bin = (k * ratio / look.order_per_bin).round() as usize;
        if 2 * (i + 2) >= look.per_turn || bin < 1 || bin + 1 >= look.orders.len() {
            return 0.0;
        }
        let around = &look.orders[bin - 1..=bin + 1];
        let top = around.iter().copied().fold(f32::MIN, f32::max) - look.floor[i + 1];
        if top < CLEAR {
            return 0.0;
        }
        k * k * (f64::from(power(top.min(CLEAREST))) - 1.0)
    })
}
