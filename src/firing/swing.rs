//! How the crank swings about its mean speed from turn to turn: a coil that cuts the spark lets it fall
//! until it fires again, many times a second, while skips by chance hardly shake it.
//!
//! A turn that comes late by a share of a turn is the mean turn less so much of its slope. How late each turn
//! of a look comes, less the parabola that an error of the path or the throttle makes, is how far the crank
//! swings; and it must swing as it does by Newton: the turns that fire push it ahead.
use super::revolution::POINTS;
use crate::spectrum::sum;

/// Latest a turn counts, in turns: more is another shape of the turn, not its place.
const LATEST: f64 = 0.15;
/// Share of the slope that must stand across the difference between the kinds, or all of it is taken.
const ACROSS: f64 = 0.2;
/// Lateness that counts for nothing, in turns.
const LEAST: f64 = 1e-4;

/// What the swing of a look shows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Swing {
    /// Effective lateness of the turns about their parabola, three at a time, in turns.
    pub late: f64,
    /// Change of lateness from turn to turn against the lateness: near 0 it swings slowly, 1 by chance.
    pub rough: f64,
    /// Correlation of the lateness with that which turns of the stronger kind would make if only they
    /// pushed the crank, −1 to 1.
    pub pushed: f64,
}

/// Of `n` turns, a row for each point of `rows`, less the `mean` turn of so many `points`; they differ mostly
/// along an `axis`, by which the `weak` ones are told. What it needs to remember it keeps in `room`.
#[inline(always)]
pub(super) fn swing(
    rows: &[f32],
    mean: &[f32; POINTS],
    points: usize,
    axis: &[f32; POINTS],
    weak: &[bool],
    room: &mut [Vec<f64>; 2],
) -> Swing {
    let n = weak.len();
    let mut slope = [0.0f32; POINTS];
    for (i, slope) in slope.iter_mut().enumerate().take(points) {
        let [after, before] = [(i + 1) % points, (i + points - 1) % points];
        *slope = 0.5 * points as f32 * (mean[after] - mean[before]);
    }
    let square = |s: &[f32; POINTS]| sum(s, s, |x, y| x * y);
    let along = sum(&slope, axis, |x, y| x * y);
    let mut across = slope;
    for (s, a) in across.iter_mut().zip(axis) {
        *s -= along * a;
    }
    if f64::from(square(&across)) > ACROSS * f64::from(square(&slope)) {
        slope = across;
    }
    let steep = square(&slope);
    if steep.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
        return Swing::default();
    }
    let [late, expected] = room;
    late.clear();
    late.resize(n, 0.0);
    for (row, s) in rows.chunks_exact(n).zip(slope) {
        for (late, x) in late.iter_mut().zip(row) {
            *late -= f64::from(x * s / steep);
        }
    }
    late.iter_mut()
        .for_each(|late| *late = late.clamp(-LATEST, LATEST));
    take_away_parabola(late);
    pushed(weak, expected);
    let effective = |values: &mut dyn Iterator<Item = f64>| {
        let (mut all, mut count) = (0.0, 0.0f64);
        for value in values {
            all += value * value;
            count += 1.0;
        }
        (all / count.max(1.0)).sqrt()
    };
    let all = effective(&mut late.iter().copied());
    let steps = effective(&mut late.windows(2).map(|w| w[1] - w[0]));
    let three = effective(&mut late.windows(3).map(|w| w.iter().sum::<f64>() / 3.0));
    Swing {
        late: three,
        rough: steps / (2f64.sqrt() * all + LEAST),
        pushed: correlation(late, expected),
    }
}

/// How late each turn comes, but for a scale, if the crank is pushed by the turns that fire and else slows.
#[inline(always)]
fn pushed(weak: &[bool], out: &mut Vec<f64>) {
    let fired = |weak: &bool| if *weak { 0.0 } else { 1.0 };
    let mean = weak.iter().map(fired).sum::<f64>() / weak.len() as f64;
    let (mut speed, mut late) = (0.0, 0.0);
    out.clear();
    out.extend(weak.iter().map(|weak| {
        late -= speed;
        speed += fired(weak) - mean;
        late
    }));
    take_away_parabola(out);
}

#[inline(always)]
fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let size = (product(a, a) * product(b, b)).sqrt();
    if size > 0.0 {
        product(a, b) / size
    } else {
        0.0
    }
}

/// Takes the parabola of least squares away: its three parts by orthogonal polynomials.
#[inline(always)]
fn take_away_parabola(values: &mut [f64]) {
    let n = values.len();
    let middle = 0.5 * (n as f64 - 1.0);
    let flat = (0..n).map(|i| (i as f64 - middle).powi(2)).sum::<f64>() / n as f64;
    let parts: [&dyn Fn(f64) -> f64; 3] = [&|_| 1.0, &|x| x, &|x| x * x - flat];
    for part in parts {
        let (mut along, mut square) = (0.0, 0.0);
        for (i, value) in values.iter().enumerate() {
            let p = part(i as f64 - middle);
            along += p * value;
            square += p * p;
        }
        let scale = along / square.max(1e-9);
        for (i, value) in values.iter_mut().enumerate() {
            *value -= scale * part(i as f64 - middle);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    /// 48 turns of a pulse, each late by so much, of which some do not fire.
    fn look(late: impl Fn(usize) -> f64, fires: impl Fn(usize) -> bool) -> Swing {
        let n = 48;
        let pulse = |angle: f64| (12.0 * ((TAU * angle).cos() - 1.0)).exp();
        let at = |turn: usize, i: usize| {
            let angle = i as f64 / POINTS as f64 - late(turn);
            let fired = if fires(turn) { 1.0 } else { 0.1 };
            (fired * pulse(angle - 0.2) + 0.4 * pulse(angle - 0.7)) as f32
        };
        let mut rows: Vec<f32> = (0..POINTS)
            .flat_map(|i| (0..n).map(move |turn| (turn, i)))
            .map(|(turn, i)| at(turn, i))
            .collect();
        let mut mean = [0.0; POINTS];
        for (row, mean) in rows.chunks_exact_mut(n).zip(&mut mean) {
            *mean = row.iter().sum::<f32>() / n as f32;
            row.iter_mut().for_each(|x| *x -= *mean);
        }
        let norm = (0..POINTS).map(|i| pulse(i as f64 / POINTS as f64 - 0.2).powi(2));
        let norm = norm.sum::<f64>().sqrt();
        let axis = std::array::from_fn(|i| (pulse(i as f64 / POINTS as f64 - 0.2) / norm) as f32);
        let weak: Vec<bool> = (0..n).map(|turn| !fires(turn)).collect();
        swing(&rows, &mean, POINTS, &axis, &weak, &mut Default::default())
    }

    #[test]
    fn a_saw_tooth_swings_slowly_and_as_it_is_pushed() {
        // Twelve turns to a tooth, of which four are cut: lateness by summing the speed twice.
        let fires = |turn: usize| turn % 12 < 8;
        let weak: Vec<bool> = (0..48).map(|turn| !fires(turn)).collect();
        let mut lateness = vec![];
        pushed(&weak, &mut lateness);
        let size = lateness.iter().fold(0.0f64, |m, x| m.max(x.abs()));
        let swing = look(|turn| 0.03 * lateness[turn] / size, fires);
        assert!(swing.pushed > 0.8, "{swing:?}");
        assert!(swing.rough < 0.5, "{swing:?}");
        assert!((0.007..0.03).contains(&swing.late), "{swing:?}");
    }

    #[test]
    fn skips_at_an_even_speed_do_not_swing() {
        let fires = |turn: usize| !(turn * 7).is_multiple_of(5);
        let swing = look(|_| 0.0, fires);
        assert!(swing.late < 0.004, "{swing:?}");
    }

    #[test]
    fn what_a_throttle_does_is_taken_away() {
        let swing = look(|turn| 1e-5 * (turn as f64 - 20.0).powi(2), |_| true);
        assert!(swing.late < 0.002, "{swing:?}");
    }
}
