//! A stretch of frames before it has a name: how the speed moves in it, and its statistics.
use super::Frame;
use super::sample::{Row, Sample};
use crate::firing::FiringKind;
use crate::tach::Unreadable;

/// Frames below this confidence count little.
pub(super) const SURE: f64 = 0.5;
/// Weight of a frame with low confidence or a second base, against a sure one.
const LITTLE: f64 = 0.05;
/// A frame stands for this many seconds at most, whatever time lies around it.
const LONGEST_FRAME: f64 = 0.1;

const KINDS: [FiringKind; 5] = [
    FiringKind::Clean,
    FiringKind::FourStroking,
    FiringKind::Limiter,
    FiringKind::Unclear,
    FiringKind::None,
];
/// A frame with the stretch of time it stands for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    /// Centre, in seconds.
    pub(super) t: f64,
    pub(super) start: f64,
    pub(super) end: f64,
    /// Natural logarithm of the speed in rpm; none where nothing is readable.
    pub(super) x: Option<f64>,
    pub(super) row: Row,
    pub(super) doubtful: bool,
    kind: FiringKind,
    reason: Option<Unreadable>,
    power: f64,
    clipped: f64,
}

impl Point {
    /// A frame at `t` (already in order); its stretch is set when its neighbours are known.
    pub(super) fn new(frame: &Frame, t: f64) -> Self {
        let speed = frame.speed.ok().filter(|s| (1.0..=1e6).contains(&s.rpm.0));
        let nothing = Row {
            rpm: f32::NAN,
            half_width: f32::NAN,
            skip: f32::NAN,
            confidence: 0.0,
            other: f32::NAN,
            weight: 0.0,
        };
        let unit = |share: f64| {
            if share.is_finite() {
                share.clamp(0.0, 1.0)
            } else {
                0.0
            }
        };
        let row = speed.map_or(nothing, |speed| Row {
            rpm: speed.rpm.0 as f32,
            half_width: ((speed.high.0 - speed.low.0) / 2.0).max(0.0) as f32,
            skip: frame
                .firing
                .skip_ratio
                .map_or(f32::NAN, |r| r.clamp(0.0, 1.0) as f32),
            confidence: unit(speed.confidence) as f32,
            other: speed.other.map_or(f32::NAN, |o| o.0 as f32),
            weight: 0.0,
        });
        let level = if frame.level.0.is_finite() {
            frame.level.0.min(60.0)
        } else {
            -400.0
        };
        Point {
            t,
            start: t,
            end: t,
            x: speed.map(|s| s.rpm.0.ln()),
            doubtful: speed.is_some()
                && (row.other.is_finite() || f64::from(row.confidence) < SURE),
            row,
            kind: frame.firing.kind,
            // A speed that is no number is none.
            reason: frame
                .speed
                .err()
                .or_else(|| speed.is_none().then_some(Unreadable::NoEngine)),
            power: 10f64.powf(level / 10.0),
            clipped: unit(frame.clipped),
        }
    }

    pub(super) fn seconds(&self) -> f64 {
        (self.end - self.start).clamp(0.0, LONGEST_FRAME)
    }
}

/// Statistics of a stretch.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    pub(super) sample: Sample,
    /// Weighted seconds of each firing kind, in the order of `KINDS`.
    kinds: [f64; KINDS.len()],
    /// Seconds of each reason, in the order of `Unreadable::ALL`.
    reasons: [f64; Unreadable::ALL.len()],
    pub(super) seconds: f64,
    pub(super) readable: f64,
    pub(super) doubtful: f64,
    power: f64,
    clipped: f64,
}

impl Tally {
    pub(super) fn add(&mut self, point: &Point) {
        let seconds = point.seconds();
        self.seconds += seconds;
        self.power += point.power * seconds;
        self.clipped += point.clipped * seconds;
        if point.x.is_some() {
            let trust = if point.doubtful {
                LITTLE
            } else {
                f64::from(point.row.confidence).max(LITTLE)
            };
            let weight = trust * seconds;
            self.readable += seconds;
            self.doubtful += if point.doubtful { seconds } else { 0.0 };
            self.sample.push(Row {
                weight: weight as f32,
                ..point.row
            });
            if let Some(slot) = KINDS.iter().position(|k| *k == point.kind) {
                self.kinds[slot] += weight;
            }
        } else if point.reason.is_none() {
            // Read, but dropped as impossible.
            self.readable += seconds;
            self.doubtful += seconds;
        } else if let Some(slot) = point
            .reason
            .and_then(|r| Unreadable::ALL.iter().position(|k| *k == r))
        {
            self.reasons[slot] += seconds;
        }
    }

    pub(super) fn merge(&mut self, other: &Tally) {
        self.sample.merge(&other.sample);
        for (mine, theirs) in self.kinds.iter_mut().zip(other.kinds) {
            *mine += theirs;
        }
        for (mine, theirs) in self.reasons.iter_mut().zip(other.reasons) {
            *mine += theirs;
        }
        self.seconds += other.seconds;
        self.readable += other.readable;
        self.doubtful += other.doubtful;
        self.power += other.power;
        self.clipped += other.clipped;
    }

    /// The most frequent firing kind and its share.
    pub(super) fn firing(&self) -> (FiringKind, f64) {
        let total: f64 = self.kinds.iter().sum();
        if total <= 0.0 {
            return (FiringKind::None, 0.0);
        }
        let (kind, weight) = KINDS
            .iter()
            .zip(self.kinds)
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or((FiringKind::None, 0.0), |(kind, weight)| (*kind, weight));
        (kind, weight / total)
    }

    /// Reasons with their seconds, the most frequent first.
    pub(super) fn reasons(&self) -> Vec<(Unreadable, f64)> {
        let mut reasons: Vec<_> = Unreadable::ALL
            .into_iter()
            .zip(self.reasons)
            .filter(|(_, seconds)| *seconds > 0.0)
            .collect();
        reasons.sort_by(|a, b| b.1.total_cmp(&a.1));
        reasons
    }

    /// Root-mean-square level against full scale; none where there is no sound at all.
    pub(super) fn level_db(&self) -> Option<f64> {
        let mean = self.power / self.seconds;
        // 10^-20 is far below the last bit of any recording.
        (mean.is_finite() && mean > 1e-20).then(|| 10.0 * mean.log10())
    }

    /// Share of samples at full scale in percent.
    pub(super) fn clipped_pct(&self) -> f64 {
        if self.seconds > 0.0 {
            100.0 * self.clipped / self.seconds
        } else {
            0.0
        }
    }
}

/// How the speed moves in a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// Stays on one level, or wanders around it.
    Steady,
    /// Rises.
    Up,
    /// Falls.
    Down,
    /// Not readable.
    Gap,
}

/// A stretch of frames before it has a name.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub(super) shape: Shape,
    pub(super) start: f64,
    pub(super) end: f64,
    /// Follows the piece before it without a gap or an impossible jump of the speed.
    pub(super) joined: bool,
    pub(super) tally: Tally,
    /// Time and speed in rpm, in order; thinned evenly when long.
    pub(super) path: Vec<(f64, f64)>,
    /// The last readable frame, which thinning may have taken out of the path.
    pub(super) last: Option<(f64, f64)>,
}

impl Piece {
    const LONGEST_PATH: usize = 512;

    pub(super) fn new(shape: Shape, start: f64, joined: bool) -> Self {
        Piece {
            shape,
            start,
            end: start,
            joined,
            tally: Tally::default(),
            path: Vec::new(),
            last: None,
        }
    }

    pub(super) fn add(&mut self, point: &Point) {
        self.tally.add(point);
        self.end = self.end.max(point.end);
        if let Some(x) = point.x {
            self.last = Some((point.t, x.exp()));
            self.path.extend(self.last);
            if self.path.len() > Self::LONGEST_PATH {
                let mut keep = false;
                self.path.retain(|_| {
                    keep = !keep;
                    keep
                });
            }
        }
    }

    pub(super) fn seconds(&self) -> f64 {
        self.end - self.start
    }

    /// Median speed in rpm; none in a gap.
    pub(super) fn rpm(&self) -> Option<f64> {
        self.tally.sample.median_rpm()
    }

    pub(super) fn first_rpm(&self) -> Option<f64> {
        self.path.first().map(|(_, rpm)| *rpm)
    }

    pub(super) fn last_rpm(&self) -> Option<f64> {
        self.last.map(|(_, rpm)| rpm)
    }

    /// Takes the next piece in; the longer one gives the shape.
    pub(super) fn absorb(&mut self, next: Piece) {
        if next.seconds() > self.seconds() {
            self.shape = next.shape;
            self.path = next.path;
            self.last = next.last;
        }
        self.end = next.end;
        self.tally.merge(&next.tally);
    }
}
