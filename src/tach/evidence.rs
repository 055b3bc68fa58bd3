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
    fn row(&self, start: usize) -> &Row {
        // A start within the axis always has a row after it.
        self.0[start..].first_chunk().unwrap_or(&[0.0; WIDTH])
    }
}

/// Values of a row that are worked on together.
const LANES: usize = 16;

type Row = [f32; WIDTH];

/// Lines that make one feature: where their rows begin.
struct Family {
    /// Row of the feature.
    row: usize,
    lines: Vec<usize>,
    /// Those beside them, of which half is taken away.
    beside: Vec<usize>,
    /// What a line counts.
    share: f32,
}

impl Family {
    /// The mean of lines.
    fn mean(row: usize, lines: &[usize]) -> Self {
        Family::against(row, lines.to_vec(), Vec::new())
    }

    /// How far lines stand above those beside them, in the mean.
    fn against(row: usize, lines: Vec<usize>, beside: Vec<usize>) -> Self {
        Family {
            row,
            share: 1.0 / lines.len() as f32,
            lines,
            beside,
        }
    }

    /// Fills its row from an axis, with what `of` makes of each height.
    #[inline(always)]
    fn fill(&self, rows: &mut [Row], axis: &Axis, of: impl Fn(f32) -> f32) {
        let row = &mut rows[self.row];
        row.fill(0.0);
        for (lines, share) in [(&self.lines, self.share), (&self.beside, -0.5 * self.share)] {
            // By fours, which spares loads and stores of the sums.
            let (fours, rest) = lines.as_chunks::<4>();
            for four in fours {
                let [a, b, c, d] = four.map(|start| axis.row(start));
                for i in 0..WIDTH {
                    row[i] += share * (of(a[i]) + of(b[i]) + of(c[i]) + of(d[i]));
                }
            }
            for start in rest {
                let line = axis.row(*start);
                for i in 0..WIDTH {
                    row[i] += share * of(line[i]);
                }
            }
        }
    }
}

/// Evidence of one frame.
pub struct Evidence {
    families: Vec<Family>,
    /// Every second, third and fourth line against its neighbours.
    alternation: [Family; 3],
    first_five: Family,
    halves: Vec<usize>,
    level_of_four: Family,
    moving_families: [Family; 4],
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
        // How far every `every`-th of the first nine lines stands above its two neighbours.
        let alternation = |row: usize, every: usize| {
            let chosen = || (every..9).step_by(every);
            let beside = chosen().flat_map(|k| [whole[k - 2], whole[k]]).collect();
            Family::against(row, chosen().map(|k| whole[k - 1]).collect(), beside)
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
                Family::mean(1, &whole[..1]),
                Family::mean(2, &whole[1..2]),
                Family::mean(3, &whole[2..3]),
                Family::mean(4, &whole[3..4]),
                Family::mean(5, &whole[4..7]),
                Family::mean(6, &whole[7..10]),
                Family::mean(7, &halves[..2]),
                Family::mean(8, &halves[2..5]),
                Family::mean(9, &halves[5..]),
                Family::mean(10, &thirds[..4]),
                Family::mean(11, &thirds[4..]),
                Family::mean(12, &quarters[..4]),
                Family::mean(13, &quarters[4..]),
                Family::mean(14, &fifths),
            ],
            alternation: [alternation(15, 2), alternation(17, 3), alternation(19, 4)],
            first_five: Family::mean(20, &whole[..5]),
            halves: halves[..4].to_vec(),
            level_of_four: Family::mean(27, &whole[..4]),
            moving_families: [
                Family::mean(28, &whole[..2]),
                Family::mean(29, &whole[2..7]),
                Family::mean(30, &halves[..5]),
                Family::mean(31, &thirds[..6]),
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
        widest!(self.describe(lines, still));
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
        for family in &self.families {
            family.fill(f, &self.contrast, |v| v);
        }
        for family in &self.alternation {
            family.fill(f, &self.level, |v| v);
        }
        for row in [15, 17] {
            for i in 0..WIDTH {
                f[row + 1][i] = greater(f[row][i] - 0.3, 0.0);
            }
        }
        self.first_five.fill(f, &self.contrast, |v| lesser(v, 0.6));
        f[23].fill(f32::MAX);
        for start in &self.halves {
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
        self.level_of_four.fill(f, &self.level, |v| v);
        for v in f[27].iter_mut() {
            *v = greater(*v - top, -4.0);
        }
        for family in &self.moving_families {
            family.fill(f, &self.moving, |v| v);
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
        widest!({
            self.describe(lines, still);
            self.weigh();
        });
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
