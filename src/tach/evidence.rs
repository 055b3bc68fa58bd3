//! What one frame says for and against each crank speed with each rhythm of firing.
//!
//! For every speed of the grid the lines at its whole orders and at its sub-orders (halves, thirds,
//! quarters, and fifths as a control) are read from the whitened spectrum by shifts along the
//! logarithmic axis, and so is how far every second, third and fourth line stands above its
//! neighbours ("level alternation": at half of the true crank speed every second line stands 12 to
//! 34 dB above the rest). A log-linear model with the weights of `weights` turns them into
//! evidence.
use super::weights::WEIGHTS;
use crate::spectrum::{Lines, LogAxis, greater, greatest, lesser, widest};
use crate::units::{Hertz, Rpm};

/// Rhythms that a state can have: a full firing every turn, every 2nd, 3rd, 4th.
pub const RHYTHMS: usize = 4;
/// First bin of the speed grid on the logarithmic axis: 20.0 Hz, 1,200 rpm.
pub const FIRST: usize = 148;
/// Speeds of the grid, one bin (0.97 %) apart, up to 267 Hz, 16,000 rpm.
pub const SPEEDS: usize = 271;
/// Length of a row of values over the grid: whole registers, of which the last value has no meaning.
pub const WIDTH: usize = SPEEDS.next_multiple_of(LANES);
/// Features of a speed.
pub const FEATURES: usize = 32;

/// Whole orders.
const WHOLE: u32 = 10;

/// Speed of a place on the grid; fractions allowed.
pub fn speed(place: f64) -> Rpm {
    LogAxis::frequency(FIRST as f64 + place).rpm()
}

/// Place of a speed on the grid, as a fraction, not clamped.
pub fn place(speed: Rpm) -> f64 {
    LogAxis::bin(Hertz(speed.hertz().0)) - FIRST as f64
}

/// Values of a row that are worked on together.
const LANES: usize = 16;

/// A row of values over the logarithmic axis with room on both sides: beyond the ends of the axis a
/// line counts as absent.
struct Axis([f32; WIDTH + LogAxis::BINS + WIDTH]);

impl Axis {
    fn new() -> Self {
        Axis([0.0; WIDTH + LogAxis::BINS + WIDTH])
    }

    /// The part of the row that holds the axis.
    fn bins(&mut self) -> &mut [f32] {
        &mut self.0[WIDTH..WIDTH + LogAxis::BINS]
    }

    /// Where the row begins that a line lies on, `shift` bins above the grid of speeds.
    fn start(shift: isize) -> usize {
        (FIRST as isize + shift + WIDTH as isize).clamp(0, (WIDTH + LogAxis::BINS) as isize)
            as usize
    }

    #[inline(always)]
    fn lanes(&self, start: usize) -> &[f32; LANES] {
        // A start within the row always has a register's length after it.
        self.0[start..].first_chunk().unwrap_or(&[0.0; LANES])
    }
}

type Row = [f32; WIDTH];

/// Fills a row with the sum over lines, each with its weight, of what `of` makes of its height.
#[inline(always)]
fn fill(row: &mut Row, axis: &Axis, lines: &[(usize, f32)], of: impl Fn(f32) -> f32) {
    for (at, out) in row.chunks_exact_mut(LANES).enumerate() {
        let mut sum = [0.0; LANES];
        for (start, weight) in lines {
            let values = axis.lanes(start + at * LANES);
            for i in 0..LANES {
                sum[i] += weight * of(values[i]);
            }
        }
        out.copy_from_slice(&sum);
    }
}

/// Evidence of one frame.
pub struct Evidence {
    /// Where the rows of the lines begin, with the weight of each in its feature.
    families: Vec<(usize, Vec<(usize, f32)>)>,
    /// For every second, third and fourth line.
    alternation: [(usize, Vec<(usize, f32)>); 3],
    first_five: Vec<(usize, f32)>,
    halves: Vec<(usize, f32)>,
    level_of_four: Vec<(usize, f32)>,
    moving_families: [(usize, Vec<(usize, f32)>); 4],
    features: Vec<Row>,
    contrast: Axis,
    level: Axis,
    /// Contrast above the lines that stay.
    moving: Axis,
    /// Weights, a row of rhythms for each feature.
    weights: [[f32; RHYTHMS]; FEATURES],
    /// What each speed loses whatever the frame says.
    loss: Row,
    logits: [Row; RHYTHMS],
}

impl Evidence {
    /// Lays out the lines for an engine with `firings` per revolution (above 0): the lines then lie
    /// at multiples and parts of the firing fundamental, while the grid holds crank speeds.
    pub fn new(firings: f64) -> Self {
        let at = (firings.log2() * LogAxis::PER_OCTAVE as f64).round() as isize;
        let line = |j: u32, parts: u32| Axis::start(at + LogAxis::shift(j, parts));
        let family = |parts: u32, last: u32, keep: &dyn Fn(u32) -> bool| -> Vec<usize> {
            (1..=last)
                .filter(|j| keep(*j))
                .map(|j| line(j, parts))
                .collect()
        };
        let whole = family(1, WHOLE, &|_| true);
        let halves = family(2, 17, &|j| j % 2 == 1);
        let thirds = family(3, 19, &|j| j % 3 != 0);
        let quarters = family(4, 23, &|j| j % 2 == 1);
        let fifths = family(5, 19, &|j| j % 5 != 0);
        let mean = |lines: &[usize]| -> Vec<(usize, f32)> {
            let share = 1.0 / lines.len() as f32;
            lines.iter().map(|start| (*start, share)).collect()
        };
        // How far every `every`-th of the first nine lines stands above its two neighbours.
        let alternation = |every: usize| -> Vec<(usize, f32)> {
            let chosen = (every..9).step_by(every);
            let share = 1.0 / chosen.clone().count() as f32;
            chosen
                .flat_map(|k| {
                    [
                        (whole[k - 1], share),
                        (whole[k - 2], -0.5 * share),
                        (whole[k], -0.5 * share),
                    ]
                })
                .collect()
        };
        let mut features = vec![[0.0; WIDTH]; FEATURES];
        features[0].fill(1.0);
        for i in 0..WIDTH {
            let octaves = (speed(i as f64).0 / 6_000.0).log2() as f32;
            features[21][i] = octaves;
            features[22][i] = octaves * octaves;
        }
        Evidence {
            families: vec![
                (1, mean(&whole[..1])),
                (2, mean(&whole[1..2])),
                (3, mean(&whole[2..3])),
                (4, mean(&whole[3..4])),
                (5, mean(&whole[4..7])),
                (6, mean(&whole[7..10])),
                (7, mean(&halves[..2])),
                (8, mean(&halves[2..5])),
                (9, mean(&halves[5..])),
                (10, mean(&thirds[..4])),
                (11, mean(&thirds[4..])),
                (12, mean(&quarters[..4])),
                (13, mean(&quarters[4..])),
                (14, mean(&fifths)),
            ],
            alternation: [(15, 2), (17, 3), (19, 4)].map(|(row, every)| (row, alternation(every))),
            first_five: mean(&whole[..5]),
            halves: mean(&halves[..4]),
            level_of_four: mean(&whole[..4]),
            moving_families: [
                (28, mean(&whole[..2])),
                (29, mean(&whole[2..7])),
                (30, mean(&halves[..5])),
                (31, mean(&thirds[..6])),
            ],
            features,
            contrast: Axis::new(),
            level: Axis::new(),
            moving: Axis::new(),
            weights: std::array::from_fn(|f| std::array::from_fn(|r| WEIGHTS[r][f])),
            loss: [0.0; WIDTH],
            logits: [[0.0; WIDTH]; RHYTHMS],
        }
    }

    /// The features of every speed, [`FEATURES`] rows whose first [`SPEEDS`] values count, in units
    /// of 10 dB: what the weights were fitted to. `still` is the height of the lines that stay where
    /// they are ([`Still`](crate::spectrum::Still)).
    pub fn features(&mut self, lines: &Lines, still: &[f32]) -> &[[f32; WIDTH]] {
        widest(
            #[inline(always)]
            || self.describe(lines, still),
        );
        &self.features
    }

    #[inline(always)]
    fn describe(&mut self, lines: &Lines, still: &[f32]) {
        self.contrast.bins().copy_from_slice(&lines.contrast);
        self.level.bins().copy_from_slice(&lines.level);
        for ((m, g), s) in (self.moving.bins().iter_mut())
            .zip(&lines.contrast)
            .zip(still)
        {
            *m = g - s;
        }
        let f = &mut self.features[..];
        for (row, lines) in &self.families {
            fill(&mut f[*row], &self.contrast, lines, |v| v);
        }
        for (row, lines) in &self.alternation {
            fill(&mut f[*row], &self.level, lines, |v| v);
        }
        for row in [15, 17] {
            for i in 0..WIDTH {
                f[row + 1][i] = greater(f[row][i] - 0.3, 0.0);
            }
        }
        fill(&mut f[20], &self.contrast, &self.first_five, |v| {
            lesser(v, 0.6)
        });
        f[23].fill(f32::MAX);
        for (start, _) in &self.halves {
            for (m, s) in f[23].iter_mut().zip(&self.contrast.0[*start..]) {
                *m = lesser(*m, greater(*s, -0.1));
            }
        }
        // How far the whole orders stand above the halves and thirds between them: the alternation
        // at a half and a third of the speed; and the alternation at its double.
        let octave = LogAxis::PER_OCTAVE;
        let third = LogAxis::shift(3, 1) as usize;
        for (row, of, down) in [(24, 15, octave), (25, 17, third)] {
            let (first, values) = (f[of][0], f[of]);
            f[row][..down].fill(first);
            f[row][down..].copy_from_slice(&values[..WIDTH - down]);
        }
        let (last, values) = (f[15][SPEEDS - 1], f[15]);
        f[26][..SPEEDS - octave].copy_from_slice(&values[octave..SPEEDS]);
        f[26][SPEEDS - octave..].fill(last);
        let top = greatest(&lines.level[FIRST..]);
        fill(&mut f[27], &self.level, &self.level_of_four, |v| v);
        for v in f[27].iter_mut() {
            *v = greater(*v - top, -4.0);
        }
        for (row, lines) in &self.moving_families {
            fill(&mut f[*row], &self.moving, lines, |v| v);
        }
    }

    /// What each speed loses from now on whatever the frames say; none: nothing.
    pub(super) fn set_loss(&mut self, loss: Option<&Row>) {
        match loss {
            Some(loss) => self.loss.copy_from_slice(loss),
            None => self.loss.fill(0.0),
        }
    }

    /// Logarithm of the evidence for each rhythm and speed, up to a constant; the first [`SPEEDS`]
    /// values count.
    pub fn logits(&mut self, lines: &Lines, still: &[f32]) -> &[[f32; WIDTH]; RHYTHMS] {
        widest(
            #[inline(always)]
            || {
                self.describe(lines, still);
                self.weigh();
            },
        );
        &self.logits
    }

    /// Adds up the weighted features.
    #[inline(always)]
    fn weigh(&mut self) {
        for at in (0..WIDTH).step_by(LANES) {
            let mut sums = [[0.0f32; LANES]; RHYTHMS];
            for (f, weights) in self.features.iter().zip(&self.weights) {
                let Some(values) = f[at..].first_chunk::<LANES>() else {
                    continue;
                };
                for (sum, w) in sums.iter_mut().zip(weights) {
                    for i in 0..LANES {
                        sum[i] += w * values[i];
                    }
                }
            }
            let loss = &self.loss[at..at + LANES];
            for (row, sum) in self.logits.iter_mut().zip(&sums) {
                for ((value, sum), loss) in row[at..at + LANES].iter_mut().zip(sum).zip(loss) {
                    *value = sum - loss;
                }
            }
        }
    }
}
