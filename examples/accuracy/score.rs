//! What one clip scores.
use engine_note::firing::FiringKind;
use engine_note::reading::Frame;
use engine_note::synth::{Label, Row};
use engine_note::units::Rpm;

use crate::Clip;

/// A frame counts as an octave error within this of a multiple, as a ratio.
const NEAR_MULTIPLE: f64 = 0.05;
/// Change of speed from which a frame counts as moving, as a ratio a second.
const MOVING: f64 = 0.5;

/// Shares and errors of frames of one sort.
#[derive(Clone, Default)]
pub struct Frames {
    /// Frames in which an engine runs.
    pub all: usize,
    /// Those with a speed.
    pub read: usize,
    /// Those within 1 % of the truth.
    pub within_1: usize,
    /// Those within 3 %.
    pub within_3: usize,
    /// Those near a half, a third, a quarter, twice or three times the truth.
    pub octave: usize,
    /// Those whose interval holds the truth.
    pub held: usize,
    /// Size of the error of each frame with a speed that is no octave error, as a ratio.
    pub errors: Vec<f64>,
    /// Frames of the right firing kind.
    pub firing: usize,
    /// Frames with a skip ratio, and the sum of its errors.
    pub skip: (usize, f64),
    /// Frames by truth (rows: clean, four-stroking, limiter) and reading (columns: these, unclear,
    /// no speed).
    pub kinds: [[usize; 5]; 3],
}

/// What a clip scores.
#[derive(Clone, Default)]
pub struct Score {
    /// Frames whose speed holds (the truth's own mark) and keeps one firing label.
    pub steady: Frames,
    /// Frames whose speed changes by more than half a second.
    pub moving: Frames,
    /// Frames without an engine, and those of them with a speed.
    pub none: (usize, usize),
}

impl Frames {
    fn take(&mut self, frame: &Frame, row: &Row, truth: f64) {
        self.all += 1;
        let label = match row.firing {
            Label::Clean | Label::None => 0,
            Label::FourStroking => 1,
            Label::Limiter => 2,
        };
        let kind = match frame.firing.kind {
            FiringKind::Clean => 0,
            FiringKind::FourStroking => 1,
            FiringKind::Limiter => 2,
            FiringKind::Unclear => 3,
            FiringKind::None => 4,
        };
        self.kinds[label][kind] += 1;
        self.firing += usize::from(label == kind);
        let Ok(speed) = &frame.speed else { return };
        self.read += 1;
        let ratio = speed.rpm.0 / truth;
        let off = (ratio - 1.0).abs();
        self.within_1 += usize::from(off <= 0.01);
        self.within_3 += usize::from(off <= 0.03);
        let multiples = [1.0 / 4.0, 1.0 / 3.0, 0.5, 2.0, 3.0];
        if multiples
            .iter()
            .any(|m| (ratio / m - 1.0).abs() < NEAR_MULTIPLE)
        {
            self.octave += 1;
        } else {
            self.errors.push(off);
            self.held += usize::from(speed.low.0 <= truth && truth <= speed.high.0);
        }
        if let (Some(read), Some(true_ratio)) = (frame.firing.skip_ratio, row.skip_ratio) {
            self.skip.0 += 1;
            self.skip.1 += (read - true_ratio).abs();
        }
    }

    /// Adds the frames of another clip.
    pub fn add(&mut self, other: &Frames) {
        self.all += other.all;
        self.read += other.read;
        self.within_1 += other.within_1;
        self.within_3 += other.within_3;
        self.octave += other.octave;
        self.held += other.held;
        self.errors.extend_from_slice(&other.errors);
        self.firing += other.firing;
        self.skip.0 += other.skip.0;
        self.skip.1 += other.skip.1;
        for (mine, theirs) in self
            .kinds
            .iter_mut()
            .flatten()
            .zip(other.kinds.iter().flatten())
        {
            *mine += theirs;
        }
    }
}

impl Score {
    /// Scores the frames of a clip against its truth.
    pub fn of(clip: &Clip) -> Self {
        let rows = &clip.truth.rows;
        let mut score = Score::default();
        for frame in &clip.frames {
            // Rows are 10 ms apart, their centres half of that from the start.
            let at = (frame.t.0 / 0.01 - 0.5).round().max(0.0) as usize;
            let Some(row) = rows.get(at) else { continue };
            if !clip.truth.engine {
                score.none.0 += 1;
                score.none.1 += usize::from(frame.speed.is_ok());
            }
            let Some(Rpm(truth)) = row.rpm else { continue };
            let steady = row.steady && at >= 25 && at + 25 < rows.len();
            if steady {
                score.steady.take(frame, row, truth);
            } else if change(rows, at).is_some_and(|c| c > MOVING) {
                score
                    .moving
                    .take(frame, row, between(rows, at, frame.t.0).unwrap_or(truth));
            }
        }
        score
    }
}

/// Size of the change of speed around a row, as a ratio a second.
fn change(rows: &[Row], at: usize) -> Option<f64> {
    let (a, b) = (at.checked_sub(5)?, at + 5);
    let (Rpm(from), Rpm(to)) = (rows[a].rpm?, rows.get(b)?.rpm?);
    Some((to / from).ln().abs() / (rows[b].t_s - rows[a].t_s))
}

/// The true speed at a moment between two rows.
fn between(rows: &[Row], at: usize, t: f64) -> Option<f64> {
    let a = if rows[at].t_s <= t {
        at
    } else {
        at.checked_sub(1)?
    };
    let (before, after) = (&rows[a], rows.get(a + 1)?);
    let x = (t - before.t_s) / (after.t_s - before.t_s);
    let (Rpm(from), Rpm(to)) = (before.rpm?, after.rpm?);
    Some(from + (to - from) * x)
}
