//! What one frame says for and against each crank speed with each rhythm of firing.
//!
//! For every speed of the grid the lines at its whole orders and at its sub-orders (halves, thirds,
//! quarters, and fifths as a control) are read from the whitened spectrum by shifts along the
//! logarithmic axis, and so is how far every second, third and fourth line stands above its
//! neighbours ("level alternation": at half of the true crank speed every second line stands 12 to
//! 34 dB above the rest). A log-linear model with the weights of `weights` turns them into
//! evidence.
use super::weights::WEIGHTS;
use crate::spectrum::{Lines, LogAxis};
use crate::units::{Hertz, Rpm};

/// Rhythms that a state can have: a full firing every turn, every 2nd, 3rd, 4th.
pub const RHYTHMS: usize = 4;
/// First bin of the speed grid on the logarithmic axis: 20.0 Hz, 1,200 rpm.
pub const FIRST: usize = 148;
/// Speeds of the grid, one bin (0.97 %) apart, up to 267 Hz, 16,000 rpm.
pub const SPEEDS: usize = 271;
/// Features of a speed.
pub const FEATURES: usize = 32;

const WHOLE: usize = 10;

/// Speed of a place on the grid; fractions allowed.
pub fn speed(place: f64) -> Rpm {
    LogAxis::frequency(FIRST as f64 + place).rpm()
}

/// Place of a speed on the grid, as a fraction, not clamped.
pub fn place(speed: Rpm) -> f64 {
    LogAxis::bin(Hertz(speed.hertz().0)) - FIRST as f64
}

/// Evidence of one frame.
pub struct Evidence {
    whole: [isize; WHOLE],
    halves: Vec<isize>,
    thirds: Vec<isize>,
    quarters: Vec<isize>,
    fifths: Vec<isize>,
    features: Vec<[f32; SPEEDS]>,
    spare: [f32; SPEEDS],
    /// Contrast above the lines that stay.
    moving: Vec<f32>,
    logits: [[f32; SPEEDS]; RHYTHMS],
}

/// Adds `axis`, shifted, to `sum`; beyond the ends of the axis a line counts as absent.
fn add(sum: &mut [f32; SPEEDS], axis: &[f32], shift: isize, scale: f32) {
    let from = FIRST as isize + shift;
    let skip = (-from).max(0) as usize;
    let start = from.max(0) as usize;
    if start >= axis.len() {
        return;
    }
    for (s, v) in sum[skip.min(SPEEDS)..].iter_mut().zip(&axis[start..]) {
        *s += scale * v;
    }
}

impl Evidence {
    /// Lays out the lines for an engine with `firings` per revolution (above 0): the lines then lie
    /// at multiples and parts of the firing fundamental, while the grid holds crank speeds.
    pub fn new(firings: f64) -> Self {
        let at = (firings.log2() * LogAxis::PER_OCTAVE as f64).round() as isize;
        let family = |parts: u32, last: u32, keep: &dyn Fn(u32) -> bool| -> Vec<isize> {
            (1..=last)
                .filter(|j| keep(*j))
                .map(|j| at + LogAxis::shift(j, parts))
                .collect()
        };
        Evidence {
            whole: std::array::from_fn(|k| at + LogAxis::shift(k as u32 + 1, 1)),
            halves: family(2, 17, &|j| j % 2 == 1),
            thirds: family(3, 19, &|j| j % 3 != 0),
            quarters: family(4, 23, &|j| j % 2 == 1),
            fifths: family(5, 19, &|j| j % 5 != 0),
            features: vec![[0.0; SPEEDS]; FEATURES],
            spare: [0.0; SPEEDS],
            moving: vec![0.0; LogAxis::BINS],
            logits: [[0.0; SPEEDS]; RHYTHMS],
        }
    }

    /// The features of every speed, [`FEATURES`] rows of [`SPEEDS`], in units of 10 dB: what the
    /// weights were fitted to. `still` is the height of the lines that stay where they are
    /// ([`Still`](crate::spectrum::Still)).
    pub fn features(&mut self, lines: &Lines, still: &[f32]) -> &[[f32; SPEEDS]] {
        let g = &lines.contrast[..];
        for f in &mut self.features {
            f.fill(0.0);
        }
        let f = &mut self.features;
        f[0].fill(1.0);
        for k in 0..4 {
            add(&mut f[1 + k], g, self.whole[k], 1.0);
        }
        for k in 4..7 {
            add(&mut f[5], g, self.whole[k], 1.0 / 3.0);
        }
        for k in 7..10 {
            add(&mut f[6], g, self.whole[k], 1.0 / 3.0);
        }
        let mut mean = |row: usize, shifts: &[isize]| {
            for s in shifts {
                add(&mut f[row], g, *s, 1.0 / shifts.len() as f32);
            }
        };
        mean(7, &self.halves[..2]);
        mean(8, &self.halves[2..5]);
        mean(9, &self.halves[5..]);
        mean(10, &self.thirds[..4]);
        mean(11, &self.thirds[4..]);
        mean(12, &self.quarters[..4]);
        mean(13, &self.quarters[4..]);
        mean(14, &self.fifths);
        for (row, every) in [(15, 2), (17, 3), (19, 4)] {
            self.alternation(row, every, &lines.level);
        }
        let f = &mut self.features;
        for row in [15, 17] {
            for i in 0..SPEEDS {
                f[row + 1][i] = (f[row][i] - 0.3).max(0.0);
            }
        }
        for k in 0..5 {
            self.spare.fill(0.0);
            add(&mut self.spare, g, self.whole[k], 1.0);
            for (m, s) in f[20].iter_mut().zip(&self.spare) {
                *m += 0.2 * s.min(0.6);
            }
        }
        for i in 0..SPEEDS {
            let octaves = (speed(i as f64).0 / 6_000.0).log2() as f32;
            f[21][i] = octaves;
            f[22][i] = octaves * octaves;
        }
        f[23].fill(f32::MAX);
        for s in &self.halves[..4] {
            self.spare.fill(0.0);
            add(&mut self.spare, g, *s, 1.0);
            for (m, s) in f[23].iter_mut().zip(&self.spare) {
                *m = m.min(s.max(-0.1));
            }
        }
        // How far the whole orders stand above the halves and thirds between them: the alternation
        // at a half and a third of the speed; and the alternation at its double.
        let octave = LogAxis::PER_OCTAVE;
        let third = LogAxis::shift(3, 1) as usize;
        for i in 0..SPEEDS {
            f[24][i] = if i >= octave {
                f[15][i - octave]
            } else {
                f[15][0]
            };
            f[25][i] = if i >= third {
                f[17][i - third]
            } else {
                f[17][0]
            };
            f[26][i] = if i + octave < SPEEDS {
                f[15][i + octave]
            } else {
                f[15][SPEEDS - 1]
            };
        }
        let top = lines.level[FIRST..].iter().fold(f32::MIN, |m, v| m.max(*v));
        for k in 0..4 {
            add(&mut f[27], &lines.level, self.whole[k], 0.25);
        }
        for v in f[27].iter_mut() {
            *v = (*v - top).max(-4.0);
        }
        for ((m, s), g) in self.moving.iter_mut().zip(still).zip(g) {
            *m = g - s;
        }
        for k in 0..2 {
            add(&mut f[28], &self.moving, self.whole[k], 0.5);
        }
        for k in 2..7 {
            add(&mut f[29], &self.moving, self.whole[k], 0.2);
        }
        for s in &self.halves[..5] {
            add(&mut f[30], &self.moving, *s, 0.2);
        }
        for s in &self.thirds[..6] {
            add(&mut f[31], &self.moving, *s, 1.0 / 6.0);
        }
        f
    }

    /// How far every `every`-th of the first nine lines stands above its two neighbours.
    fn alternation(&mut self, row: usize, every: usize, level: &[f32]) {
        let out = &mut self.features[row];
        let count = (1..9).filter(|k| k % every == 0).count() as f32;
        for k in (every..9).step_by(every) {
            add(out, level, self.whole[k - 1], 1.0 / count);
            add(out, level, self.whole[k - 2], -0.5 / count);
            add(out, level, self.whole[k], -0.5 / count);
        }
    }

    /// Logarithm of the evidence for each rhythm and speed, up to a constant.
    pub fn logits(&mut self, lines: &Lines, still: &[f32]) -> &[[f32; SPEEDS]; RHYTHMS] {
        self.features(lines, still);
        for (logits, weights) in self.logits.iter_mut().zip(&WEIGHTS) {
            logits.fill(0.0);
            for (f, w) in self.features.iter().zip(weights) {
                for (l, v) in logits.iter_mut().zip(f) {
                    *l += w * v;
                }
            }
        }
        &self.logits
    }
}
