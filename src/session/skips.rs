//! The share of skipped firings over the last second.
use std::collections::VecDeque;

use crate::reading::Frame;

/// Seconds over which the share is taken.
const OVER: f64 = 1.0;

/// A hop whose firing was judged.
#[derive(Clone, Copy, Debug)]
struct Judged {
    t: f64,
    /// Revolutions a second, the weight of the hop.
    weight: f64,
    share: f64,
}

/// Share of the judged revolutions of the last second without a full firing.
#[derive(Clone, Debug, Default)]
pub(super) struct Skips {
    judged: VecDeque<Judged>,
}

impl Skips {
    /// Takes the next frame; none where it was not judged itself, so that an old share never stands
    /// for a sound that cannot be read.
    pub(super) fn push(&mut self, frame: &Frame) -> Option<f64> {
        let t = frame.t.0;
        while self.judged.front().is_some_and(|old| old.t <= t - OVER) {
            self.judged.pop_front();
        }
        let (Ok(speed), Some(share)) = (frame.speed, frame.firing.skip_ratio) else {
            return None;
        };
        self.judged.push_back(Judged {
            t,
            weight: speed.rpm.hertz().0,
            share,
        });
        let (sum, weights) = self.judged.iter().fold((0.0, 0.0), |(sum, weights), hop| {
            (sum + hop.weight * hop.share, weights + hop.weight)
        });
        (weights > 0.0).then(|| (sum / weights).clamp(0.0, 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::firing::{Firing, FiringKind};
    use crate::tach::{Speed, Unreadable};
    use crate::units::{Decibels, Rpm, Seconds};

    fn frame(t: f64, rpm: f64, skip_ratio: Option<f64>) -> Frame {
        Frame {
            t: Seconds(t),
            speed: if rpm > 0.0 {
                Ok(Speed {
                    rpm: Rpm(rpm),
                    low: Rpm(rpm),
                    high: Rpm(rpm),
                    confidence: 1.0,
                    other: None,
                })
            } else {
                Err(Unreadable::Silence)
            },
            firing: Firing {
                kind: FiringKind::FourStroking,
                skip_ratio,
                pattern: None,
                sub_order: None,
                variation: None,
            },
            level: Decibels(-20.0),
            clipped: 0.0,
        }
    }

    #[test]
    fn faster_hops_hold_more_revolutions_and_old_ones_leave() {
        let mut skips = Skips::default();
        assert_eq!(skips.push(&frame(0.0, 3_000.0, Some(0.5))), Some(0.5));
        // 50 turns a second at 0.5 and 150 at 0.1: (25 + 15) / 200.
        let share = skips.push(&frame(0.5, 9_000.0, Some(0.1))).unwrap();
        assert!((share - 0.2).abs() < 1e-12);
        // One second on, the first hop counts no more.
        let share = skips.push(&frame(1.0, 9_000.0, Some(0.3))).unwrap();
        assert!((share - 0.2).abs() < 1e-12);
    }

    #[test]
    fn a_hop_that_was_not_judged_has_no_share() {
        let mut skips = Skips::default();
        skips.push(&frame(0.0, 3_000.0, Some(0.5)));
        assert_eq!(skips.push(&frame(0.1, 0.0, Some(0.5))), None);
        assert_eq!(skips.push(&frame(0.2, 3_000.0, None)), None);
        assert_eq!(skips.push(&frame(0.3, 3_000.0, Some(0.1))), Some(0.3));
    }
}
