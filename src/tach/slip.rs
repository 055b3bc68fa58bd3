//! Slips of the rhythm: the test that tells a skipping engine from one at half of its speed.
//!
//! An engine that fires every second turn makes a sound whose period is two turns, and a spectrum
//! alone cannot tell it from a clean engine at half of the speed. But real skips slip: now and then
//! a firing comes a turn early or late, and from there on the sound is shifted by half of its
//! period. Then all odd lines change sign together while the even ones go on. A clean engine never
//! does that. So the lines of the stretch before a moment are compared with those after it, once as
//! they are and once shifted by a half (a third) of the period.
use super::angle::{SAMPLES, Turns};
use super::lines::{Complex, Fold, Waves};
use crate::spectrum::widest;

/// Lines compared.
const LINES: usize = 10;
/// Periods averaged on either side of the moment.
const PERIODS: usize = 4;
/// Likeness from which a comparison counts.
const ALIKE: f64 = 0.55;
/// Likeness that the lines which must not change need at a slip.
const STEADY: f64 = 0.6;
/// Memory of the line levels used for whitening, per hop.
const MEMORY: f64 = 0.05;

/// How the lines before and after a moment compare at one base.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Likeness {
    /// Lines that a shift by half a period turns around (odd ones): likeness without a shift, -1 to 1.
    pub halves: f64,
    /// Likeness of the lines that such a shift leaves as they are (even ones), -1 to 1.
    pub whole: f64,
    /// How far the lines of whole turns stand above those beside them, in dB (at the path's own base:
    /// the even lines).
    pub alternation: f64,
    /// Lines that a shift by a third turns: likeness without a shift, -1 to 1.
    pub thirds: f64,
    /// Likeness of the lines that such a shift leaves as they are (every third), -1 to 1.
    pub whole_thirds: f64,
    /// The odd lines are alike after a shift by half a period, and only so.
    pub half_slip: bool,
    /// The same for a shift by a third or two thirds.
    pub third_slip: bool,
}

/// Compares lines at one base; keeps the levels for whitening.
pub struct Comparison {
    /// Turns a period: 1 for the crank itself, 2 for half of it, 3 for a third.
    turns: usize,
    level: [f64; LINES],
    waves: Waves<LINES>,
    fold: Fold,
}

/// Cosine and sine of no, one and two thirds of a turn.
const THIRDS: [(f64, f64); 3] = {
    let sine = 0.866_025_403_784_438_6;
    [(1.0, 0.0), (-0.5, sine), (-0.5, -sine)]
};

impl Comparison {
    /// Lines of a period of `turns` revolutions.
    pub fn new(turns: usize) -> Self {
        Comparison {
            turns,
            level: [0.0; LINES],
            waves: Waves::default(),
            fold: Fold::default(),
        }
    }

    /// Compares the stretch before the middle of a look with the stretch after it.
    pub fn compare(&mut self, look: &Turns) -> Likeness {
        let period = look.per_turn * self.turns;
        let periods = PERIODS.min(SAMPLES / 2 / period);
        if periods == 0 {
            return Likeness::default();
        }
        let span = periods * period;
        let (before, after) = look.samples.split_at(SAMPLES / 2);
        let (before, after) = (&before[before.len() - span..], &after[..span]);
        let (waves, fold) = (self.waves.of(period), &mut self.fold);
        let (before, after) = widest!({
            let before = fold.lines(before, period, waves);
            (before, fold.lines(after, period, waves))
        });
        for (k, level) in self.level.iter_mut().enumerate() {
            let p = power(before[k]) + power(after[k]);
            *level += (p - *level) * if *level > 0.0 { MEMORY } else { 1.0 };
        }
        let odd = self.likeness(&before, &after, |k| k % 2 == 1, 0);
        let even = self.likeness(&before, &after, |k| k % 2 == 0, 0);
        let third = self.likeness(&before, &after, |k| k % 3 != 0, 0);
        let whole_thirds = self.likeness(&before, &after, |k| k % 3 == 0, 0);
        let by_third = [1, 2]
            .map(|s| self.likeness(&before, &after, |k| k % 3 != 0, s))
            .into_iter()
            .fold(f64::MIN, f64::max);
        let db: [f64; LINES] = self.level.map(|p| 10.0 * (p + f64::MIN_POSITIVE).log10());
        // The lines that a slip leaves as they are, against their neighbours.
        let step = self.turns.max(2);
        let kept = (step - 1..LINES - 1).step_by(step);
        let alternation = kept
            .clone()
            .map(|k| db[k] - 0.5 * (db[k - 1] + db[k + 1]))
            .sum::<f64>()
            / kept.len() as f64;
        Likeness {
            alternation,
            halves: odd,
            whole: even,
            thirds: third,
            whole_thirds,
            half_slip: -odd > ALIKE && even > STEADY,
            third_slip: by_third > ALIKE && by_third > third + 0.5 && whole_thirds > STEADY,
        }
    }

    /// Correlation of the chosen lines, whitened, after a shift by so many thirds of the period.
    fn likeness(
        &self,
        a: &[Complex; LINES],
        b: &[Complex; LINES],
        chosen: impl Fn(usize) -> bool,
        thirds: usize,
    ) -> f64 {
        let (mut cross, mut pa, mut pb) = (0.0, 0.0, 0.0);
        for k in (1..=LINES).filter(|k| chosen(*k)) {
            let w = 1.0 / (self.level[k - 1] + f64::MIN_POSITIVE);
            let (x, y) = (a[k - 1], b[k - 1]);
            let (re, im) = (x.0 * y.0 + x.1 * y.1, x.0 * y.1 - x.1 * y.0);
            let (cosine, sine) = THIRDS[k * thirds % 3];
            cross += w * (re * cosine - im * sine);
            pa += w * power(x);
            pb += w * power(y);
        }
        if pa > 0.0 && pb > 0.0 {
            cross / (pa * pb).sqrt()
        } else {
            0.0
        }
    }
}

fn power(c: Complex) -> f64 {
    c.0 * c.0 + c.1 * c.1
}
