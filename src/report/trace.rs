//! The course of speed and firing in a fixed number of buckets, whatever the length of the clip.
use crate::firing::FiringKind;
use crate::reading::Frame;
use crate::units::Seconds;

/// Most buckets. Where a clip has more frames, each bucket holds two of them, then four, and so on.
const MOST: usize = 2_048;

/// What was heard in a short stretch.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bucket {
    /// Number of frames.
    pub frames: u32,
    /// Number of frames with a speed.
    pub readable: u32,
    /// Sum of the speeds in rpm.
    sum: f64,
    /// Lowest speed in rpm.
    pub lowest: f64,
    /// Highest speed in rpm.
    pub highest: f64,
    /// Number of frames of each kind of firing, in the order of [`KINDS`].
    pub firing: [u32; 5],
}

/// The kinds of firing in the order in which buckets count them.
pub const KINDS: [FiringKind; 5] = [
    FiringKind::Clean,
    FiringKind::FourStroking,
    FiringKind::Limiter,
    FiringKind::Unclear,
    FiringKind::None,
];

impl Bucket {
    fn add(&mut self, frame: &Frame) {
        let mut one = Bucket {
            frames: 1,
            ..Bucket::default()
        };
        if let Some(rpm) = frame
            .speed
            .ok()
            .map(|s| s.rpm.0)
            .filter(|rpm| rpm.is_finite())
        {
            (one.readable, one.sum, one.lowest, one.highest) = (1, rpm, rpm, rpm);
        }
        if let Some(kind) = KINDS.iter().position(|kind| *kind == frame.firing.kind) {
            one.firing[kind] = 1;
        }
        self.merge(&one);
    }

    /// Adds what another bucket holds.
    pub fn merge(&mut self, other: &Bucket) {
        if self.readable == 0 {
            (self.lowest, self.highest) = (other.lowest, other.highest);
        } else if other.readable > 0 {
            self.lowest = self.lowest.min(other.lowest);
            self.highest = self.highest.max(other.highest);
        }
        self.frames += other.frames;
        self.readable += other.readable;
        self.sum += other.sum;
        for (mine, theirs) in self.firing.iter_mut().zip(other.firing) {
            *mine += theirs;
        }
    }

    /// Mean speed in rpm; none where no frame has one.
    pub fn rpm(&self) -> Option<f64> {
        (self.readable > 0).then(|| self.sum / f64::from(self.readable))
    }

    /// The most frequent kind of firing; none where there are no frames.
    pub fn kind(&self) -> Option<FiringKind> {
        let most = self.firing.iter().max().filter(|count| **count > 0)?;
        self.firing
            .iter()
            .position(|count| count == most)
            .map(|at| KINDS[at])
    }
}

/// The course of a clip. Memory does not grow with its length.
#[derive(Clone, Debug)]
pub struct Trace {
    buckets: Vec<Bucket>,
    each: u32,
    /// Time of the first frame and of the last one.
    ends: Option<(Seconds, Seconds)>,
    frames: u64,
}

impl Default for Trace {
    fn default() -> Self {
        Trace {
            buckets: Vec::new(),
            each: 1,
            ends: None,
            frames: 0,
        }
    }
}

impl Trace {
    /// Takes the next frame.
    pub fn push(&mut self, frame: &Frame) {
        let first = self.ends.map_or(frame.t, |(first, _)| first);
        self.ends = Some((first, frame.t));
        self.frames += 1;
        if self
            .buckets
            .last()
            .is_none_or(|bucket| bucket.frames >= self.each)
        {
            if self.buckets.len() == MOST {
                self.halve();
            }
            self.buckets.push(Bucket::default());
        }
        if let Some(bucket) = self.buckets.last_mut() {
            bucket.add(frame);
        }
    }

    fn halve(&mut self) {
        let pairs = self.buckets.chunks(2).map(|pair| {
            let mut both = pair[0];
            pair[1..].iter().for_each(|other| both.merge(other));
            both
        });
        self.buckets = pairs.collect();
        self.each *= 2;
    }

    /// Where the trace begins and ends: half a hop before the first frame and after the last one.
    pub fn extent(&self) -> Option<(Seconds, Seconds)> {
        let (first, last) = self.ends?;
        let hop = if self.frames > 1 {
            (last.0 - first.0) / (self.frames - 1) as f64
        } else {
            0.0
        };
        Some((Seconds(first.0 - hop / 2.0), Seconds(last.0 + hop / 2.0)))
    }

    /// The clip in `count` columns of equal length.
    pub fn columns(&self, count: usize) -> Vec<Bucket> {
        let mut columns = vec![Bucket::default(); count];
        if count == 0 || self.frames == 0 {
            return columns;
        }
        let scale = count as f64 / self.frames as f64;
        let mut begin = 0u64;
        for bucket in &self.buckets {
            let end = begin + u64::from(bucket.frames);
            // The columns whose middle the bucket covers, or else the one that its own middle lies in.
            let middle = ((begin + end) as f64 / 2.0 * scale) as usize;
            let first = (begin as f64 * scale).round() as usize;
            let last = (end as f64 * scale).round() as usize;
            let range = if first < last {
                first..last
            } else {
                middle..middle + 1
            };
            for column in columns.iter_mut().take(range.end).skip(range.start) {
                column.merge(bucket);
            }
            begin = end;
        }
        columns
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::firing::Firing;
    use crate::tach::{Speed, Unreadable};
    use crate::units::{Decibels, Rpm};

    fn frame(t: f64, rpm: Option<f64>) -> Frame {
        let speed = rpm.ok_or(Unreadable::Silence).map(|rpm| Speed {
            rpm: Rpm(rpm),
            low: Rpm(rpm),
            high: Rpm(rpm),
            confidence: 1.0,
            other: None,
        });
        let kind = if rpm.is_some() {
            FiringKind::Clean
        } else {
            FiringKind::None
        };
        let firing = Firing {
            kind,
            skip_ratio: None,
            pattern: None,
            sub_order: None,
            variation: None,
        };
        Frame {
            t: Seconds(t),
            speed,
            firing,
            level: Decibels(-20.0),
            clipped: 0.0,
        }
    }

    #[test]
    fn a_ramp_stays_a_ramp_whatever_its_length() {
        for frames in [3u64, 50, 2_048, 2_049, 5_000, 100_000] {
            let mut trace = Trace::default();
            for i in 0..frames {
                trace.push(&frame(
                    i as f64 * 0.016,
                    Some(1_000.0 + 9_000.0 * i as f64 / frames as f64),
                ));
            }
            assert!(trace.buckets.len() <= MOST);
            for (at, column) in trace.columns(60).iter().enumerate() {
                let truth = 1_000.0 + 9_000.0 * (at as f64 + 0.5) / 60.0;
                // A column holds no less than one frame, and one bucket more at either side.
                let tolerance = 9_000.0 * (1.0 / 60.0 + 1.0 / frames as f64);
                let rpm = column.rpm().expect("the ramp has no gaps");
                assert!(
                    (rpm - truth).abs() <= tolerance,
                    "{frames} frames, column {at}: {rpm} for {truth}"
                );
            }
        }
    }

    #[test]
    fn gaps_stay_gaps() {
        let mut trace = Trace::default();
        for i in 0..1_000 {
            trace.push(&frame(
                f64::from(i) * 0.016,
                (!(400..600).contains(&i)).then_some(3_000.0),
            ));
        }
        let columns = trace.columns(10);
        let heard: Vec<_> = columns.iter().map(|c| c.rpm().is_some()).collect();
        assert_eq!(
            heard,
            [true, true, true, true, false, false, true, true, true, true]
        );
        assert_eq!(columns[4].kind(), Some(FiringKind::None));
        assert_eq!(columns[0].kind(), Some(FiringKind::Clean));
    }

    #[test]
    fn nothing_pushed_is_nothing_shown() {
        assert!(
            Trace::default()
                .columns(5)
                .iter()
                .all(|c| c.rpm().is_none() && c.kind().is_none())
        );
        assert_eq!(Trace::default().extent(), None);
    }
}
