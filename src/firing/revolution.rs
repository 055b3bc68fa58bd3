//! The sound cut into single revolutions, and what they say about skipped firings.
//!
//! Two things separate skipping from clean firing on recordings with measured truth: revolutions
//! two, three or four apart that are more alike than neighbours, and revolutions that fall into two
//! kinds along their main direction of difference. Scatter of energy alone separates nothing.
use std::f64::consts::TAU;

use crate::spectrum::sum;
use crate::tach::angle::Turns;

/// Points of one revolution that are compared, at most; orders up to 16 remain, since the pulse of a
/// firing may be a small and short part of a turn.
const POINTS: usize = 32;
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
}

/// Revolutions of a look, reduced to a few points each.
#[derive(Debug, Default)]
pub struct Revolutions {
    turns: Vec<[f32; POINTS]>,
    along: Vec<f32>,
    order: Vec<f32>,
    /// For each revolution: is it of the weaker kind? From the last [`Self::differences`].
    weak: Vec<bool>,
}

fn dot(a: &[f32; POINTS], b: &[f32; POINTS]) -> f32 {
    sum(a, b, |x, y| x * y)
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
        self.turns.clear();
        self.weak.clear();
        // The fastest turns have fewer samples; the points beyond them stay 0.
        let points = look.per_turn.min(POINTS);
        let group = look.per_turn / points.max(1);
        for turn in look.samples.chunks_exact(look.per_turn.max(1)) {
            let mut v = [0.0f32; POINTS];
            for (x, samples) in v.iter_mut().zip(turn.chunks_exact(group)) {
                *x = samples.iter().sum::<f32>() / group as f32;
            }
            let mean = v.iter().sum::<f32>() / points as f32;
            v[..points].iter_mut().for_each(|x| *x -= mean);
            self.turns.push(v);
        }
        let n = self.turns.len();
        let square: f64 = self.turns.iter().map(|v| f64::from(dot(v, v))).sum::<f64>() / n as f64;
        if square <= 0.0 || n < 6 {
            return Differences::default();
        }
        let apart = std::array::from_fn(|d| {
            let d = d + 1;
            let differences: f64 = self
                .turns
                .windows(d + 1)
                .map(|w| {
                    let (a, b) = (&w[0], &w[d]);
                    f64::from(sum(a, b, |x, y| (x - y) * (x - y)))
                })
                .sum();
            differences / (n - d) as f64 / (2.0 * square)
        });
        let mut mean = [0.0f32; POINTS];
        let share = 1.0 / n as f32;
        for v in &self.turns {
            for (m, x) in mean.iter_mut().zip(v) {
                *m += x * share;
            }
        }
        for v in &mut self.turns {
            for (x, m) in v.iter_mut().zip(&mean) {
                *x -= m;
            }
        }
        // Main direction of difference, from the revolution that differs most.
        let mut axis = self
            .turns
            .iter()
            .max_by(|a, b| dot(a, a).total_cmp(&dot(b, b)))
            .copied()
            .unwrap_or_default();
        for _ in 0..STEPS {
            let mut next = [0.0f32; POINTS];
            for v in &self.turns {
                let p = dot(v, &axis);
                for (o, x) in next.iter_mut().zip(v) {
                    *o += p * x;
                }
            }
            let norm = dot(&next, &next).sqrt();
            if norm <= 0.0 {
                break;
            }
            axis = next.map(|x| x / norm);
        }
        self.along.clear();
        self.along.extend(self.turns.iter().map(|v| dot(v, &axis)));
        let spread: f64 = self.turns.iter().map(|v| f64::from(dot(v, v))).sum::<f64>() / n as f64;
        let main: f64 = self.along.iter().map(|a| f64::from(a * a)).sum::<f64>() / n as f64;
        // Best cut in two (Otsu 1979, from memory: the largest variance between the classes).
        self.order.clone_from(&self.along);
        self.order.sort_unstable_by(f32::total_cmp);
        let (mut low, mut best, mut cut) = (0.0f64, 0.0f64, f32::MIN);
        for i in 0..n - 1 {
            // The projections have zero mean, so the sum below the cut gives both class means.
            low += f64::from(self.order[i]);
            let (a, b) = ((i + 1) as f64, (n - 1 - i) as f64);
            let between = low * low * n as f64 / (a * b) / n as f64;
            if between > best {
                best = between;
                cut = 0.5 * (self.order[i] + self.order[i + 1]);
            }
        }
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
        let (m, mm) = (f64::from(dot(&mean, &axis)), f64::from(dot(&mean, &mean)));
        let strength = |c: usize| (mm + 2.0 * centre(c) * m + centre(c) * centre(c)).max(0.0);
        let weak = usize::from(strength(1) < strength(0));
        self.weak
            .extend(self.along.iter().map(|a| usize::from(*a > cut) == weak));
        Differences {
            apart,
            two_kinds: if main > 0.0 { best / main } else { 0.0 },
            main: if spread > 0.0 { main / spread } else { 0.0 },
            distance: (centre(1) - centre(0)).powi(2) / square,
            uneven: self.uneven(points),
            weak_to_strong: strength(weak) / strength(1 - weak).max(f64::MIN_POSITIVE),
            weak_share: counts[weak] as f64 / n as f64,
            weak_run: mean_run(&self.weak, true),
            strong_run: mean_run(&self.weak, false),
        }
    }
}

impl Revolutions {
    /// The first two harmonics of the power of the turns, whose mean is taken off, by crank angle.
    fn uneven(&self, points: usize) -> [f64; 2] {
        let mut power = [0.0f32; POINTS];
        for v in &self.turns {
            for (p, x) in power.iter_mut().zip(v) {
                *p += x * x;
            }
        }
        let power = &power[..points];
        let sum: f32 = power.iter().sum();
        [1, 2].map(|harmonic| {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, p) in power.iter().enumerate() {
                let (sin, cos) = (TAU * (harmonic * i) as f64 / points as f64).sin_cos();
                re += f64::from(*p) * cos;
                im += f64::from(*p) * sin;
            }
            if sum > 0.0 {
                re.hypot(im) / f64::from(sum)
            } else {
                0.0
            }
        })
    }
}

/// Mean length of the runs of `kind` that lie inside the sequence; those cut off by its ends count
/// only when there are no others.
fn mean_run(sequence: &[bool], kind: bool) -> f64 {
    let runs: Vec<(bool, usize)> = sequence
        .chunk_by(|a, b| a == b)
        .map(|r| (r[0], r.len()))
        .collect();
    let mean = |runs: &[(bool, usize)]| {
        let lengths: Vec<usize> = runs.iter().filter(|r| r.0 == kind).map(|r| r.1).collect();
        if lengths.is_empty() {
            0.0
        } else {
            lengths.iter().sum::<usize>() as f64 / lengths.len() as f64
        }
    };
    let inside = if runs.len() > 2 {
        mean(&runs[1..runs.len() - 1])
    } else {
        0.0
    };
    if inside > 0.0 { inside } else { mean(&runs) }
}
