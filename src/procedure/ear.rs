//! The last seconds of what was heard, and what a stretch of it comes to.
use serde::{Deserialize, Serialize};

use super::heard::Heard;
use crate::firing::FiringKind;

/// As much is kept, in seconds: the longest look is 20 s.
const KEPT: f64 = 24.0;
/// A base below this confidence is no reading.
const SURE: f64 = 0.6;
/// A stretch of which less can be read says nothing.
const READABLE: f64 = 0.5;
/// A stretch in which the firing was judged less often has no skip ratio.
const JUDGED: f64 = 0.35;

/// One hop.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Sample {
    pub(super) t: f64,
    /// Speed in rpm; none where nothing was readable or the base was in doubt.
    pub(super) rpm: Option<f64>,
    pub(super) skip: Option<f64>,
    pub(super) limiter: bool,
}

/// What a stretch of sound comes to: medians, so that no single frame decides.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Look {
    /// Median speed in rpm.
    pub(super) rpm: f64,
    /// Half the distance between the 10th and the 90th percentile, share of the speed.
    pub(super) spread: f64,
    /// Change from the first to the last third, share of the speed.
    pub(super) drift: f64,
    /// Median skip ratio, 0 to 1.
    pub(super) skip: Option<f64>,
    /// Share of frames on the limiter.
    pub(super) limiter: f64,
    /// Its length in seconds.
    pub(super) seconds: f64,
}

/// The last seconds.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Ear {
    samples: Vec<Sample>,
    /// When a speed was last read.
    last_read: Option<f64>,
}

impl Ear {
    /// Takes in what is new. Implausible speeds (above `most`) are no readings.
    pub(super) fn take(&mut self, heard: &[Heard], most: f64) {
        for one in heard {
            let t = one.frame.t.0;
            let newest = self.samples.last().map_or(f64::MIN, |s| s.t);
            if !t.is_finite() || t <= newest {
                continue;
            }
            let rpm = one.frame.speed.ok().and_then(|speed| {
                let plausible = speed.rpm.0.is_finite() && (300.0..=most).contains(&speed.rpm.0);
                let sure = speed.confidence >= SURE && speed.other.is_none();
                (plausible && sure).then_some(speed.rpm.0)
            });
            if rpm.is_some() {
                self.last_read = Some(t);
            }
            self.samples.push(Sample {
                t,
                rpm,
                skip: one
                    .skip_ratio
                    .filter(|s| s.is_finite() && rpm.is_some())
                    .map(|s| s.clamp(0.0, 1.0)),
                limiter: one.frame.firing.kind == FiringKind::Limiter,
            });
        }
        if let Some(last) = self.samples.last() {
            let from = last.t - KEPT;
            if self.samples.first().is_some_and(|s| s.t < from - 2.0) {
                self.samples.retain(|s| s.t >= from);
            }
        }
    }

    /// Forgets what was heard before the engine stopped.
    pub(super) fn forget(&mut self) {
        self.samples.clear();
        self.last_read = None;
    }

    /// How long no speed was read.
    pub(super) fn lost_for(&self, now: f64) -> f64 {
        now - self.last_read.unwrap_or(f64::MIN / 2.0)
    }

    /// When the newest hop was.
    pub(super) fn newest(&self) -> Option<f64> {
        self.samples.last().map(|s| s.t)
    }

    /// Whether there are hops from before a moment.
    pub(super) fn reaches_back(&self, to: f64) -> bool {
        self.samples.first().is_some_and(|s| s.t <= to + 0.05)
    }

    pub(super) fn since(&self, from: f64) -> &[Sample] {
        let at = self.samples.partition_point(|s| s.t < from);
        &self.samples[at..]
    }

    /// The median speed since a moment, where more than half of it is readable.
    pub(super) fn speed_since(&self, from: f64) -> Option<f64> {
        self.quantile_since(from, 0.5)
    }

    /// A quantile of the speeds since a moment, where more than half of it is readable.
    pub(super) fn quantile_since(&self, from: f64, q: f64) -> Option<f64> {
        let samples = self.since(from);
        let mut speeds: Vec<f64> = samples.iter().filter_map(|s| s.rpm).collect();
        let enough = speeds.len() >= 3 && speeds.len() as f64 >= READABLE * samples.len() as f64;
        enough.then(|| quantile(&mut speeds, q))
    }

    /// Whether the speed kept within a share of itself since a moment.
    pub(super) fn steady_since(&self, from: f64, share: f64) -> bool {
        let mut speeds: Vec<f64> = self.since(from).iter().filter_map(|s| s.rpm).collect();
        if speeds.len() < 3 {
            return false;
        }
        let low = quantile(&mut speeds, 0.15);
        let high = quantile(&mut speeds, 0.85);
        high - low <= share * high
    }

    /// What a stretch comes to; none where too little of it is readable.
    pub(super) fn look(&self, from: f64, to: f64) -> Option<Look> {
        let stretch: Vec<Sample> = self
            .since(from)
            .iter()
            .filter(|s| s.t <= to)
            .copied()
            .collect();
        Look::of(&stretch)
    }
}

impl Look {
    fn of(stretch: &[Sample]) -> Option<Look> {
        let (first, last) = (stretch.first()?, stretch.last()?);
        let mut speeds: Vec<f64> = stretch.iter().filter_map(|s| s.rpm).collect();
        if speeds.len() < 6 || (speeds.len() as f64) < READABLE * stretch.len() as f64 {
            return None;
        }
        let third = speeds.len() / 3;
        let begin = quantile(&mut speeds[..third].to_vec(), 0.5);
        let tail = speeds.len() - third;
        let end = quantile(&mut speeds[tail..].to_vec(), 0.5);
        let rpm = quantile(&mut speeds, 0.5);
        let spread = quantile(&mut speeds, 0.9) - quantile(&mut speeds, 0.1);
        let mut skips: Vec<f64> = stretch.iter().filter_map(|s| s.skip).collect();
        let judged = skips.len() as f64 >= JUDGED * stretch.len() as f64;
        let limited = stretch.iter().filter(|s| s.limiter).count();
        Some(Look {
            rpm,
            spread: 0.5 * spread / rpm,
            drift: (end - begin) / rpm,
            skip: judged.then(|| quantile(&mut skips, 0.5)),
            limiter: limited as f64 / stretch.len() as f64,
            seconds: last.t - first.t,
        })
    }
}

/// A quantile of what is not empty.
pub(super) fn quantile(values: &mut [f64], q: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let at = (q * (values.len() - 1) as f64).round() as usize;
    values[at]
}
