//! Hunting: a slow periodic swing of the idle speed.
//!
//! Every idle wanders; hunting is a wander that one sine explains. To stretches of 6 s (and 15 s
//! for the slowest swings) a level, a trend and one sine are fitted by least squares, over all
//! rates of which the stretch holds two and a half swings or more. A rate is believed when its
//! sine explains most of the variation.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::piece::Piece;
use super::span::SpanKind;
use crate::units::{Hertz, Rpm, Seconds};

/// A slow periodic swing of the idle speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hunting {
    /// Swings per second.
    pub rate_hz: Hertz,
    /// Swing to either side of the mean, in percent of it: 4 means from 4 % below to 4 % above.
    pub depth_pct: f64,
    /// Mean speed of the swing less its depth.
    pub low_rpm: Rpm,
    /// Mean speed of the swing plus its depth.
    pub high_rpm: Rpm,
    /// Seconds of idle in which it was found.
    #[serde(rename = "heard_s")]
    pub heard: Seconds,
    /// Share of the speed's variation that the swing explains, 0 to 1.
    pub explained: f64,
}

/// Slowest and fastest swing that is called hunting, per second.
const RATES: (f64, f64) = (0.2, 4.0);
/// A stretch must hold this many swings.
const SWINGS: f64 = 2.5;
/// Swings below this share to either side are no complaint (common practice, no source).
const SHALLOWEST: f64 = 0.015;
/// Stretches, in seconds.
const STRETCH: f64 = 6.0;
const LONG_STRETCH: f64 = 15.0;
/// Fewer frames do not make a stretch.
const FEWEST: usize = 40;

/// How much of the variation a sine must explain. A random wander of few swings looks periodic
/// more often, so few swings must explain more.
fn must_explain(swings: f64) -> f64 {
    if swings < 4.0 { 0.7 } else { 0.55 }
}

/// One sine in one stretch.
#[derive(Clone, Copy, Debug)]
struct Swing {
    rate: f64,
    /// Amplitude as a share of the speed.
    depth: f64,
    /// Mean of the logarithm of the speed.
    mean: f64,
    explained: f64,
    believed: bool,
    seconds: f64,
}

/// Looks for hunting in the idle pieces.
pub(super) fn find(pieces: &[Piece], kinds: &[SpanKind]) -> Option<Hunting> {
    let mut short = Vec::new();
    let mut long = Vec::new();
    for run in idle_runs(pieces, kinds) {
        // The first and last moments belong to the movement before and after.
        let (Some(first), Some(last)) = (run.first(), run.last()) else {
            continue;
        };
        let (begin, end) = (first.0 + 0.1, last.0 - 0.1);
        let run: Vec<_> = run
            .iter()
            .copied()
            .filter(|(t, _)| *t >= begin && *t <= end)
            .collect();
        stretches(&run, STRETCH, RATES.1, &mut short);
        if end - begin >= 2.0 * STRETCH {
            stretches(&run, LONG_STRETCH, 1.0, &mut long);
        }
    }
    verdict(&short).or_else(|| verdict(&long))
}

/// Time and logarithm of the speed of each run of idle pieces that hang together.
fn idle_runs(pieces: &[Piece], kinds: &[SpanKind]) -> Vec<Vec<(f64, f64)>> {
    let mut runs: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut open = false;
    for (piece, kind) in pieces.iter().zip(kinds) {
        if *kind != SpanKind::Idle {
            open = false;
            continue;
        }
        let path = piece.path.iter().map(|(t, rpm)| (*t, rpm.ln()));
        match runs.last_mut() {
            Some(run) if open && piece.joined => run.extend(path),
            _ => runs.push(path.collect()),
        }
        open = true;
    }
    runs
}

/// Fits every stretch of `length` seconds (or the whole run where it is shorter), half
/// overlapping.
fn stretches(run: &[(f64, f64)], length: f64, fastest: f64, swings: &mut Vec<Swing>) {
    let (Some(first), Some(last)) = (run.first(), run.last()) else {
        return;
    };
    let mut begin = first.0;
    loop {
        let end = begin + length;
        // A remainder shorter than half a stretch belongs to this one.
        let end = if last.0 - end < length / 2.0 {
            last.0
        } else {
            end
        };
        let from = run.partition_point(|(t, _)| *t < begin);
        let to = run.partition_point(|(t, _)| *t <= end);
        swings.extend(best_sine(&run[from..to], fastest));
        if end >= last.0 {
            return;
        }
        begin += length / 2.0;
    }
}

/// The sine that explains most of a stretch.
fn best_sine(stretch: &[(f64, f64)], fastest: f64) -> Option<Swing> {
    let (first, last) = (stretch.first()?.0, stretch.last()?.0);
    let seconds = last - first;
    if stretch.len() < FEWEST || seconds <= 0.0 {
        return None;
    }
    // Half the frames' rate is the fastest that can be told.
    let fastest = fastest.min(0.4 * stretch.len() as f64 / seconds);
    let slowest = RATES.0.max(SWINGS / seconds);
    let trend_left = residual(stretch, first, seconds, None)?.0;
    let step = 0.2 / seconds;
    let count = ((fastest - slowest) / step).floor();
    if !(0.0..10_000.0).contains(&count) {
        return None;
    }
    let fit = |rate: f64| {
        let (left, depth) = residual(stretch, first, seconds, Some(rate))?;
        Some((rate, left, depth))
    };
    let best_of = |rates: &mut dyn Iterator<Item = f64>| {
        rates.filter_map(fit).min_by(|a, b| a.1.total_cmp(&b.1))
    };
    let (coarse, ..) = best_of(&mut (0..=count as usize).map(|i| slowest + step * i as f64))?;
    let (rate, left, depth) = best_of(&mut (-10..=10).map(|i| coarse + 0.1 * step * f64::from(i)))?;
    let explained = if trend_left > 0.0 {
        1.0 - left / trend_left
    } else {
        0.0
    };
    let mean = stretch.iter().map(|(_, x)| x).sum::<f64>() / stretch.len() as f64;
    Some(Swing {
        rate,
        depth,
        mean,
        explained,
        believed: depth >= SHALLOWEST && explained >= must_explain(rate * seconds),
        seconds,
    })
}

/// What a level, a trend and (with a rate) a sine leave of the variation, and the amplitude of
/// the sine: least squares by the normal equations.
fn residual(
    stretch: &[(f64, f64)],
    first: f64,
    seconds: f64,
    rate: Option<f64>,
) -> Option<(f64, f64)> {
    let order = if rate.is_some() { 4 } else { 2 };
    let mean = stretch.iter().map(|(_, x)| x).sum::<f64>() / stretch.len() as f64;
    let basis = |t: f64| {
        let phase = std::f64::consts::TAU * rate.unwrap_or(0.0) * (t - first);
        [
            1.0,
            2.0 * (t - first) / seconds - 1.0,
            phase.cos(),
            phase.sin(),
        ]
    };
    let mut matrix = [[0.0; 5]; 4];
    let mut total = 0.0;
    for (t, x) in stretch {
        let b = basis(*t);
        let y = x - mean;
        total += y * y;
        for i in 0..order {
            for j in 0..order {
                matrix[i][j] += b[i] * b[j];
            }
            matrix[i][4] += b[i] * y;
        }
    }
    let right: Vec<f64> = matrix.iter().map(|row| row[4]).collect();
    let solved = solve(matrix, order)?;
    let explained: f64 = solved
        .iter()
        .zip(&right)
        .map(|(c, r)| c * r)
        .take(order)
        .sum();
    Some(((total - explained).max(0.0), solved[2].hypot(solved[3])))
}

/// Solves a symmetric positive system of up to four equations, its right side in column 4.
fn solve(mut matrix: [[f64; 5]; 4], order: usize) -> Option<[f64; 4]> {
    for pivot in 0..order {
        if matrix[pivot][pivot].abs() < 1e-9 {
            return None;
        }
        for row in pivot + 1..order {
            let factor = matrix[row][pivot] / matrix[pivot][pivot];
            let above = matrix[pivot];
            for (value, above) in matrix[row].iter_mut().zip(above) {
                *value -= factor * above;
            }
        }
    }
    let mut solved = [0.0; 4];
    for row in (0..order).rev() {
        let known: f64 = (row + 1..order)
            .map(|col| matrix[row][col] * solved[col])
            .sum();
        solved[row] = (matrix[row][4] - known) / matrix[row][row];
    }
    Some(solved)
}

/// Hunting where at least half of the stretches have a sine that is believed.
fn verdict(swings: &[Swing]) -> Option<Hunting> {
    let believed: Vec<&Swing> = swings.iter().filter(|s| s.believed).collect();
    if believed.is_empty() || 2 * believed.len() < swings.len() {
        return None;
    }
    let middle = |value: fn(&Swing) -> f64| {
        let mut values: Vec<f64> = believed.iter().map(|s| value(s)).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    let (mean, depth) = (middle(|s| s.mean).exp(), middle(|s| s.depth));
    // Stretches overlap by half.
    let overlap = if swings.len() > 1 { 0.5 } else { 1.0 };
    Some(Hunting {
        rate_hz: Hertz(middle(|s| s.rate)),
        depth_pct: 100.0 * depth,
        low_rpm: Rpm(mean * (1.0 - depth)),
        high_rpm: Rpm(mean * (1.0 + depth)),
        heard: Seconds(overlap * believed.iter().map(|s| s.seconds).sum::<f64>()),
        explained: middle(|s| s.explained),
    })
}
