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
/// Light skipping is learned from the first turns that are heard: in the first share of a stretch it is
/// heard too light.
const EARLY: f64 = 0.4;
/// Speeds that lie further than this share from the middle of a stretch are not of one engine that
/// keeps its throttle; where more than this share of them does, the stretch says nothing.
const ASIDE: f64 = 0.2;
const MOST_ASIDE: f64 = 0.3;
/// A jump by one of these is more likely the hearing's than the engine's: no engine gets from the one
/// speed to the other within this time without anything in between.
const FACTORS: [f64; 4] = [2.0, 0.5, 1.5, 2.0 / 3.0];
const FACTOR_ERROR: f64 = 0.04;
const JUMP: f64 = 0.3;
/// A speed that stays away by a factor for so long is believed after all.
const ODD_FOR: f64 = 2.5;
/// So long a speed must have stood before it jumped, in seconds.
const STOOD: f64 = 0.5;
/// Lengths in which a fall of the speed is looked for, in seconds.
const PIECE: f64 = 0.5;
/// Two pieces whose speeds differ by less than this share stand still. A skip ratio from which on such a
/// second burbles, and the most that may be left of it for it to have cleaned up.
const STOOD_STILL: f64 = 0.015;
const BURBLED: f64 = 0.25;
const LEFT_OF_IT: f64 = 0.4;

/// One hop.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Sample {
    pub(super) t: f64,
    /// Speed in rpm; none where nothing was readable, the base was in doubt, or the speed jumped by a
    /// factor.
    pub(super) rpm: Option<f64>,
    /// The same where it jumped: what it warns of counts.
    pub(super) warns: Option<f64>,
    pub(super) skip: Option<f64>,
    /// The skip ratio whatever was believed of the speed.
    #[serde(default)]
    pub(super) heard_skip: Option<f64>,
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
    /// By which share the speed fell within it, and since the throttle opened.
    pub(super) fallen: f64,
    /// By which share it rose from a burbling stretch of it to a clean end, since the throttle opened.
    #[serde(default)]
    pub(super) cleaned: f64,
}

/// The last seconds.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Ear {
    samples: Vec<Sample>,
    /// When a speed was last read.
    last_read: Option<f64>,
    /// When an engine was last heard, whatever its base.
    #[serde(default)]
    last_heard: Option<f64>,
    /// The last speed that was believed, and when.
    believed: Option<(f64, f64)>,
    /// Since when speeds are away from that by a factor.
    odd_since: Option<f64>,
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
            if one.frame.speed.is_ok() {
                self.last_heard = Some(t);
            }
            let warns = one.frame.speed.ok().and_then(|speed| {
                let plausible = speed.rpm.0.is_finite() && (300.0..=most).contains(&speed.rpm.0);
                let sure = speed.confidence >= SURE && speed.other.is_none();
                (plausible && sure).then_some(speed.rpm.0)
            });
            if warns.is_some() {
                self.last_read = Some(t);
            }
            let rpm = warns.filter(|rpm| self.believes(t, *rpm));
            self.samples.push(Sample {
                t,
                rpm,
                warns,
                skip: one
                    .skip_ratio
                    .filter(|s| s.is_finite() && rpm.is_some())
                    .map(|s| s.clamp(0.0, 1.0)),
                heard_skip: one.skip_ratio.filter(|s| s.is_finite()),
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

    fn believes(&mut self, t: f64, rpm: f64) -> bool {
        let jumped = self.believed.is_some_and(|(at, known)| {
            by_factor(rpm, known) && (t - at < JUMP || self.odd_since.is_some())
        });
        if jumped && t - *self.odd_since.get_or_insert(t) < ODD_FOR {
            return false;
        }
        self.odd_since = None;
        self.believed = Some((t, rpm));
        true
    }

    /// Forgets what was heard before the engine stopped.
    pub(super) fn forget(&mut self) {
        *self = Ear::default();
    }

    /// How long no speed was read.
    pub(super) fn lost_for(&self, now: f64) -> f64 {
        now - self.last_read.unwrap_or(f64::MIN / 2.0)
    }

    /// How long no engine was heard at all: where only its base is in doubt it is still there.
    pub(super) fn silent_for(&self, now: f64) -> f64 {
        now - self.last_heard.unwrap_or(f64::MIN / 2.0)
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

    /// A quantile of all speeds since a moment, also of those that jumped, where more than half of it
    /// is readable.
    pub(super) fn warning_since(&self, from: f64, q: f64) -> Option<f64> {
        let samples = self.since(from);
        let mut speeds: Vec<f64> = samples.iter().filter_map(|s| s.warns).collect();
        let enough = speeds.len() >= 3 && speeds.len() as f64 >= READABLE * samples.len() as f64;
        enough.then(|| quantile(&mut speeds, q))
    }

    /// Share of a stretch in which a speed was read.
    pub(super) fn readable_since(&self, from: f64) -> f64 {
        let samples = self.since(from);
        let read = samples.iter().filter(|s| s.rpm.is_some()).count();
        read as f64 / samples.len().max(1) as f64
    }

    /// The longest time between two readings of a stretch, in seconds.
    pub(super) fn longest_gap(&self, from: f64, to: f64) -> f64 {
        let read = self.since(from).iter().filter(|s| s.rpm.is_some());
        let (longest, last) = read.fold((0.0f64, from), |(longest, last), s| {
            (longest.max(s.t - last), s.t)
        });
        // The newest sample is a little older than the moment.
        let newest = self.newest().map_or(to, |newest| newest.min(to));
        longest.max(newest - last)
    }

    /// Medians of each half second since a moment, the newest first: speed, and skip ratio where it was
    /// judged.
    fn pieces(&self, from: f64) -> Vec<(f64, Option<f64>)> {
        let samples = self.since(from);
        let Some(end) = samples.last().map(|s| s.t) else {
            return vec![];
        };
        let pieces = ((end - from) / PIECE).floor() as usize;
        let median = |mut values: Vec<f64>| (values.len() >= 3).then(|| quantile(&mut values, 0.5));
        (0..pieces)
            .filter_map(|n| {
                let to = end - PIECE * n as f64;
                let piece = || samples.iter().filter(|s| s.t > to - PIECE && s.t <= to);
                let speed = median(piece().filter_map(|s| s.rpm).collect())?;
                Some((speed, median(piece().filter_map(|s| s.skip).collect())))
            })
            .collect()
    }

    /// By which share the speed has fallen since the fastest half second since a moment; none where
    /// too little of it is readable.
    pub(super) fn fallen_since(&self, from: f64) -> Option<f64> {
        let pieces = self.pieces(from);
        let last = pieces.first()?.0;
        let fastest = pieces
            .iter()
            .fold(0.0, |most: f64, piece| most.max(piece.0));
        (pieces.len() >= 3).then(|| 1.0 - last / fastest)
    }

    /// By which share the speed has risen since a moment from a second in which it stood and burbled, where
    /// hardly any of that is left: the fuel at hand was richer than what follows.
    pub(super) fn cleaned_since(&self, from: f64) -> f64 {
        let pieces = self.pieces(from);
        let Some((last, Some(left))) = pieces.first().copied() else {
            return 0.0;
        };
        let stood = |a: f64, b: f64| (a / b - 1.0).abs() < STOOD_STILL;
        pieces
            .windows(2)
            .filter_map(|pair| {
                let [(late, Some(skip)), (early, _)] = [pair[0], pair[1]] else {
                    return None;
                };
                let burbled = skip >= BURBLED && left <= LEFT_OF_IT * skip;
                (burbled && stood(late, early)).then(|| last / late - 1.0)
            })
            .fold(0.0, f64::max)
    }

    /// The steady speed from which it has jumped away by a factor and not come back, since a moment;
    /// none where it did not jump.
    pub(super) fn before_jump(&self, from: f64) -> Option<f64> {
        let jumped = self.odd_since?;
        let before = from.max(jumped - STOOD);
        let mut speeds: Vec<f64> = self
            .since(before)
            .iter()
            .filter(|s| s.t < jumped)
            .filter_map(|s| s.rpm)
            .collect();
        if speeds.len() < 3 || jumped - before < 0.6 * STOOD {
            return None;
        }
        let (low, high) = (quantile(&mut speeds, 0.1), quantile(&mut speeds, 0.9));
        (high - low <= 0.03 * high).then(|| quantile(&mut speeds, 0.5))
    }

    /// The median skip ratio since a moment.
    pub(super) fn skip_since(&self, from: f64) -> Option<f64> {
        let mut skips: Vec<f64> = self
            .since(from)
            .iter()
            .filter_map(|s| s.heard_skip)
            .collect();
        (skips.len() >= 3).then(|| quantile(&mut skips, 0.5))
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
        let read: Vec<f64> = stretch.iter().filter_map(|s| s.rpm).collect();
        if read.len() < 6 || (read.len() as f64) < READABLE * stretch.len() as f64 {
            return None;
        }
        let middle = quantile(&mut read.clone(), 0.5);
        let near = |rpm: f64| (rpm / middle - 1.0).abs() <= ASIDE;
        let mut speeds: Vec<f64> = read.iter().copied().filter(|rpm| near(*rpm)).collect();
        if ((read.len() - speeds.len()) as f64) > MOST_ASIDE * read.len() as f64 {
            return None;
        }
        let third = speeds.len() / 3;
        let begin = quantile(&mut speeds[..third].to_vec(), 0.5);
        let tail = speeds.len() - third;
        let end = quantile(&mut speeds[tail..].to_vec(), 0.5);
        let rpm = quantile(&mut speeds, 0.5);
        let spread = quantile(&mut speeds, 0.9) - quantile(&mut speeds, 0.1);
        let late = &stretch[(EARLY * stretch.len() as f64) as usize..];
        let mut skips: Vec<f64> = late
            .iter()
            .filter(|s| s.rpm.is_some_and(near))
            .filter_map(|s| s.skip)
            .collect();
        let judged = skips.len() as f64 >= JUDGED * late.len() as f64;
        let limited = stretch.iter().filter(|s| s.limiter).count();
        Some(Look {
            rpm,
            spread: 0.5 * spread / rpm,
            drift: (end - begin) / rpm,
            skip: judged.then(|| quantile(&mut skips, 0.5)),
            limiter: limited as f64 / stretch.len() as f64,
            seconds: last.t - first.t,
            fallen: 0.0,
            cleaned: 0.0,
        })
    }
}

/// Whether one speed is away from another by a factor that the hearing can err by.
pub(super) fn by_factor(rpm: f64, known: f64) -> bool {
    FACTORS
        .iter()
        .any(|factor| (rpm / known / factor - 1.0).abs() < FACTOR_ERROR)
}

/// A quantile of what is not empty.
pub(super) fn quantile(values: &mut [f64], q: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let at = (q * (values.len() - 1) as f64).round() as usize;
    values[at]
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::firing::Firing;
    use crate::reading::Frame;
    use crate::tach::Speed;
    use crate::units::{Decibels, Rpm, Seconds};

    const HOP: f64 = 0.016;

    fn heard(t: f64, rpm: f64) -> Heard {
        Heard {
            frame: Frame {
                t: Seconds(t),
                speed: Ok(Speed {
                    rpm: Rpm(rpm),
                    low: Rpm(rpm),
                    high: Rpm(rpm),
                    confidence: 0.95,
                    other: None,
                }),
                firing: Firing {
                    kind: FiringKind::Clean,
                    skip_ratio: None,
                    pattern: None,
                    sub_order: None,
                    variation: None,
                },
                level: Decibels(-20.0),
                clipped: 0.0,
            },
            skip_ratio: None,
        }
    }

    /// Speeds by time, heard until `to`.
    pub(crate) fn listen(to: f64, speed: impl Fn(f64) -> f64) -> Ear {
        let mut ear = Ear::default();
        for n in 0..(to / HOP) as usize {
            let t = HOP * n as f64;
            ear.take(&[heard(t, speed(t))], 20_000.0);
        }
        ear
    }

    #[test]
    fn a_jump_by_a_factor_is_doubted_for_a_while_and_still_warns() {
        for factor in [2.0, 0.5, 1.5] {
            let ear = listen(5.0, |t| if t > 3.5 { factor * 2_800.0 } else { 2_800.0 });
            assert_eq!(ear.speed_since(0.5), Some(2_800.0));
            assert_eq!(ear.speed_since(4.0), None);
            assert_eq!(ear.warning_since(4.0, 0.5), Some(factor * 2_800.0));
            let ear = listen(8.0, |t| if t > 3.5 { factor * 2_800.0 } else { 2_800.0 });
            assert_eq!(ear.speed_since(7.0), Some(factor * 2_800.0));
        }
    }

    #[test]
    fn an_engine_that_takes_the_throttle_is_believed_at_once() {
        // From idle to full with a time constant of a tenth of a second.
        let speed = |t: f64| 2_800.0 + 6_200.0 * (1.0 - (-(t - 2.0).max(0.0) / 0.1).exp());
        let ear = listen(3.0, speed);
        assert!(ear.since(0.0).iter().all(|s| s.rpm.is_some()));
    }

    #[test]
    fn a_fall_is_told_from_the_fastest_half_second_on() {
        let ear = listen(5.0, |t| if t > 3.0 { 9_000.0 } else { 10_000.0 });
        let fallen = ear.fallen_since(0.0).unwrap();
        assert!((fallen - 0.1).abs() < 1e-9, "{fallen}");
        assert!(listen(5.0, |t| 8_000.0 + 100.0 * t).fallen_since(0.0) <= Some(0.0));
    }

    #[test]
    fn a_burble_that_goes_while_the_speed_rises_is_told_and_nothing_else_is() {
        let cleaned = |speed: &dyn Fn(f64) -> f64, skips: &dyn Fn(f64) -> f64| {
            let mut ear = Ear::default();
            for n in 0..(5.0 / HOP) as usize {
                let t = HOP * n as f64;
                let skip_ratio = Some(skips(t));
                let heard = Heard {
                    skip_ratio,
                    ..heard(t, speed(t))
                };
                ear.take(&[heard], 20_000.0);
            }
            ear.cleaned_since(0.0)
        };
        let late = |before: f64, after: f64| move |t: f64| if t < 3.0 { before } else { after };
        let burble = late(0.45, 0.05);
        let found = cleaned(&late(8_000.0, 8_800.0), &burble);
        assert!((found - 0.1).abs() < 1e-9, "{found}");
        // It goes on burbling; it rises all the time; it slows down.
        assert_eq!(cleaned(&late(8_000.0, 8_800.0), &|_| 0.45), 0.0);
        assert_eq!(cleaned(&|t| 8_000.0 + 400.0 * t, &burble), 0.0);
        assert!(cleaned(&late(8_800.0, 8_000.0), &burble) <= 0.0);
    }
}
