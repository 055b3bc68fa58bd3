//! A column of a picture: what was heard in a short stretch of a clip.
use super::trace::KINDS;
use crate::firing::FiringKind;
use crate::reading::Frame;
use crate::tach::Unreadable;
use crate::units::{Decibels, Hertz, Rpm};

/// Rows by frequency, and hertz from one to the next.
pub(super) const HERTZ_ROWS: usize = 401;
/// Hertz from one row to the next.
pub(super) const HERTZ_STEP: f64 = 4.0;
/// Rows by engine order, up to order 5: 24 an order, so that halves, thirds and quarters have their own.
pub(super) const ORDER_ROWS: usize = 121;
/// Rows an order.
pub(super) const ROWS_AN_ORDER: usize = 24;
/// Confidence below which a speed is doubtful.
const SURE: f64 = 0.5;

/// A mean of what was there.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Mean {
    sum: f64,
    count: u32,
}

impl Mean {
    fn of(value: Option<f64>) -> Mean {
        match value.filter(|value| value.is_finite()) {
            Some(sum) => Mean { sum, count: 1 },
            None => Mean::default(),
        }
    }

    fn merge(&mut self, other: Mean) {
        self.sum += other.sum;
        self.count += other.count;
    }

    fn value(self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / f64::from(self.count))
    }
}

/// What was heard in a short stretch of a clip.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Column {
    /// Number of frames.
    pub frames: u32,
    /// Number of frames whose speed is doubtful: of low confidence, or another fits as well.
    pub doubtful: u32,
    speed: Mean,
    other: Mean,
    skip: Mean,
    /// Lowest and highest end of the intervals, in rpm.
    interval: Option<(f64, f64)>,
    firing: [u32; KINDS.len()],
    reasons: [u32; Unreadable::ALL.len()],
    /// Sum over the frames.
    power: f64,
    /// The greatest share of a frame, 0 to 1.
    clipped: f64,
    /// Sum over the frames, in units of 10 dB.
    hertz: Vec<f32>,
    /// Sum over the frames with a speed, in units of 10 dB.
    orders: Vec<f32>,
    ordered: u32,
}

impl Column {
    /// Of one frame, with the heights of its lines by frequency, and by order where there is a speed.
    pub(super) fn of(frame: &Frame, hertz: Vec<f32>, orders: Option<Vec<f32>>) -> Column {
        let speed = frame.speed.ok().filter(|speed| speed.rpm.0.is_finite());
        let mut column = Column {
            frames: 1,
            speed: Mean::of(speed.map(|speed| speed.rpm.0)),
            other: Mean::of(speed.and_then(|speed| speed.other).map(|other| other.0)),
            skip: Mean::of(frame.firing.skip_ratio),
            interval: speed.map(|speed| (speed.low.0, speed.high.0)),
            power: 10f64.powf(frame.level.0.min(60.0) / 10.0),
            clipped: frame.clipped,
            hertz,
            ordered: u32::from(orders.is_some()),
            orders: orders.unwrap_or_default(),
            ..Column::default()
        };
        if let Some(speed) = speed {
            let doubtful = speed.confidence < SURE || speed.other.is_some();
            column.doubtful = u32::from(doubtful);
        }
        if let Some(kind) = KINDS.iter().position(|kind| *kind == frame.firing.kind) {
            column.firing[kind] = 1;
        }
        let reason = frame.speed.err();
        if let Some(at) = Unreadable::ALL
            .iter()
            .position(|known| Some(*known) == reason)
        {
            column.reasons[at] = 1;
        }
        column
    }

    /// Adds what another column holds.
    pub(super) fn merge(&mut self, other: &Column) {
        self.frames += other.frames;
        self.doubtful += other.doubtful;
        self.speed.merge(other.speed);
        self.other.merge(other.other);
        self.skip.merge(other.skip);
        self.interval = match (self.interval, other.interval) {
            (Some(a), Some(b)) => Some((a.0.min(b.0), a.1.max(b.1))),
            (a, b) => a.or(b),
        };
        let counts = self.firing.iter_mut().zip(other.firing);
        counts.for_each(|(mine, theirs)| *mine += theirs);
        let counts = self.reasons.iter_mut().zip(other.reasons);
        counts.for_each(|(mine, theirs)| *mine += theirs);
        self.power += other.power;
        self.clipped = self.clipped.max(other.clipped);
        self.ordered += other.ordered;
        add(&mut self.hertz, &other.hertz);
        add(&mut self.orders, &other.orders);
    }

    /// Number of frames with a speed.
    pub fn readable(&self) -> u32 {
        self.speed.count
    }

    /// Mean speed; none where no frame has one.
    pub fn speed(&self) -> Option<Rpm> {
        self.speed.value().map(Rpm)
    }

    /// From the lowest to the highest end of the 95 % intervals.
    pub fn interval(&self) -> Option<(Rpm, Rpm)> {
        self.interval.map(|(low, high)| (Rpm(low), Rpm(high)))
    }

    /// Mean of the other speeds that fit as well, where frames have one.
    pub fn other(&self) -> Option<Rpm> {
        self.other.value().map(Rpm)
    }

    /// Mean share of turns without a full firing, 0 to 1.
    pub fn skip_ratio(&self) -> Option<f64> {
        self.skip.value()
    }

    /// Share of the frames whose firing is of a kind, 0 to 1.
    pub fn share(&self, kind: FiringKind) -> f64 {
        let at = KINDS.iter().position(|known| *known == kind);
        at.map_or(0.0, |at| {
            f64::from(self.firing[at]) / f64::from(self.frames.max(1))
        })
    }

    /// The most frequent reason, where more than half of the frames have no speed.
    pub fn refused(&self) -> Option<Unreadable> {
        if 2 * self.readable() >= self.frames {
            return None;
        }
        let most = self.reasons.iter().max()?;
        let at = self.reasons.iter().position(|count| count == most)?;
        Some(Unreadable::ALL[at])
    }

    /// Root-mean-square level against full scale; none for silence.
    pub fn level(&self) -> Option<Decibels> {
        let level = Decibels::from_power(self.power / f64::from(self.frames.max(1)));
        (level.0 > -180.0).then_some(level)
    }

    /// The greatest share of samples at full scale in a frame, 0 to 1.
    pub fn clipped(&self) -> f64 {
        self.clipped
    }

    /// Mean height over the floor of the lines at each row of frequency, 4 Hz apart from 0
    /// on, in units of 10 dB.
    pub fn by_frequency(&self) -> impl Iterator<Item = f32> + '_ {
        let count = self.frames.max(1) as f32;
        self.hertz.iter().map(move |sum| sum / count)
    }

    /// Mean height over the floor of the lines at each row of order, 24 an order from
    /// 0 on, in units of 10 dB; empty where there is no speed.
    pub fn by_order(&self) -> impl Iterator<Item = f32> + '_ {
        let count = self.ordered.max(1) as f32;
        self.orders.iter().map(move |sum| sum / count)
    }

    /// Height over the floor at the row nearest to a frequency.
    pub fn height_at(&self, frequency: Hertz) -> Option<Decibels> {
        let row = (frequency.0 / HERTZ_STEP).round() as usize;
        let height = self.by_frequency().nth(row)?;
        Some(Decibels(10.0 * f64::from(height)))
    }

    /// Height over the floor at the row nearest to an engine order; none where there is no speed.
    pub fn height_at_order(&self, order: f64) -> Option<Decibels> {
        let row = (order * ROWS_AN_ORDER as f64).round() as usize;
        let height = self.by_order().nth(row)?;
        Some(Decibels(10.0 * f64::from(height)))
    }
}

/// Adds a row of sums to another, which may be empty.
fn add(sums: &mut Vec<f32>, more: &[f32]) {
    if sums.is_empty() {
        sums.extend_from_slice(more);
    } else {
        sums.iter_mut().zip(more).for_each(|(sum, m)| *sum += m);
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::firing::Firing;
    use crate::tach::Speed;
    use crate::units::Seconds;

    /// Of one frame, the `at`-th, at this speed or without one.
    pub fn column(at: u32, rpm: Option<f64>) -> Column {
        let speed = rpm.ok_or(Unreadable::NoEngine).map(|rpm| Speed {
            rpm: Rpm(rpm),
            low: Rpm(rpm - 10.0),
            high: Rpm(rpm + 10.0),
            confidence: 1.0,
            other: None,
        });
        let frame = Frame {
            t: Seconds(0.0),
            speed,
            firing: Firing {
                kind: rpm.map_or(FiringKind::None, |_| FiringKind::Clean),
                skip_ratio: None,
                pattern: None,
                sub_order: None,
                variation: None,
            },
            level: Decibels(-20.0),
            clipped: f64::from(at % 7) / 7.0,
        };
        Column::of(&frame, vec![at as f32], rpm.map(|_| vec![1.0]))
    }

    #[test]
    fn a_column_is_refused_where_most_of_it_is() {
        let mut both = column(0, None);
        both.merge(&column(1, Some(3_000.0)));
        assert_eq!(both.refused(), None);
        assert_eq!(both.by_order().collect::<Vec<_>>(), [1.0]);
        both.merge(&column(2, None));
        assert_eq!(both.refused(), Some(Unreadable::NoEngine));
        assert!((both.share(FiringKind::Clean) - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(column(0, None).by_order().count(), 0);
    }
}
