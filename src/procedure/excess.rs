//! Openings in which it was heard over the maximum: how much richer for each, whether it was rather
//! misheard, and when no screw explains it.
use serde::{Deserialize, Serialize};

use super::book::{Book, FullLook};
use super::ear::{Look, quantile};
use super::guard;
use super::high::enrichment;
use super::onset;
use super::stuck::Symptom;
use crate::guide::{Direction, Screw, Turn};

/// The factors by which a speed is heard too high.
const TOO_HIGH: [f64; 2] = [1.5, 2.0];
/// Looks so far away, in turns, tell what speed there may be; no engine changes more in a turn, in rpm.
const NEARBY: f64 = 0.35;
const NEVER_STEEPER: f64 = 6_000.0;
const LIKE: f64 = 0.03;
/// Over so much of a turn a screw that does anything changes the speed by more than this share.
const PINNED: (f64, f64) = (0.38, 0.013);
/// From this share of the maximum on such a speed is too fast.
const FAST: f64 = 0.97;
/// Over so much of a turn in all, and so often surely, it must not have fallen by less than this share for
/// a turn: a screw that is right makes two to six percent of an eighth (`trade::EIGHTH_OF_HIGH`).
const RICHER: f64 = 0.3;
const SURELY: usize = 3;
const ANSWERS: f64 = 0.13;
/// No engine that is too rich is slower at full throttle than this share of the slowest right speed.
pub(super) const RICHEST: f64 = 0.68;
/// So many believed looks after one are short.
const HASTY: u32 = 2;
/// So many sure ones are enough, whatever the screw does.
const TOO_OFTEN: usize = 6;
/// Over so much of a turn a right screw makes this share of the speed for a turn.
const SHIFTED: f64 = 0.055;
const STEEP: f64 = 0.1;

/// One opening over the maximum.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Over {
    /// Turns out of the high-speed screw.
    pub(super) out: f64,
    /// What was heard, in rpm.
    pub(super) rpm: f64,
    /// Whether it four-stroked with that.
    pub(super) burbled: bool,
    /// Whether it was surely one.
    pub(super) surely: bool,
    /// The speed that it is taken for.
    pub(super) rather: Option<f64>,
}

impl Book {
    /// It was heard over its maximum with the throttle open; how much richer it is to be.
    pub(super) fn heard_over(&mut self, over: Over, maximum: f64) -> Turn {
        let sure = self.overs.iter().filter(|over| over.surely).count();
        self.overs.push(over);
        self.overs_in_row += 1;
        self.hasty = HASTY;
        if over.surely {
            let first = enrichment(over.rpm, maximum);
            return if sure == 0 { first } else { Turn::QUARTER };
        }
        // Rather misheard: again and again at one place it must not go on for ever, and not lead far out.
        Turn::thirty_seconds(match (over.rather, self.overs_in_row) {
            (Some(_), ..=3) | (None, 1) => 1,
            (Some(_), _) | (None, 2) => 2,
            (None, 3) => 4,
            (None, _) => 8,
        })
    }

    /// It was heard against the ceiling of its coil.
    pub(super) fn pressed(&mut self, look: &Look) {
        self.overs.push(Over {
            out: self.screws.high.out,
            rpm: look.rpm,
            burbled: true,
            surely: false,
            rather: None,
        });
    }

    /// Whether the last opening was further over the maximum than engines go: otherwise it is not leaned for
    /// what it rather was.
    pub(super) fn is_far_over(&self) -> bool {
        let over = self.overs.last().zip(self.facts.maximum);
        over.is_some_and(|(over, maximum)| !guard::can_be(over.rpm, maximum))
    }

    /// What the last opening over the maximum was rather, as a look; it counts from now on.
    pub(super) fn rather_look(&mut self) -> Option<Look> {
        let over = *self.overs.last()?;
        let rpm = over.rather?;
        let heavy_near = self
            .full
            .iter()
            .filter(|full| (full.out - over.out).abs() < NEARBY)
            .all(|full| {
                full.look
                    .skip
                    .is_none_or(|skip| skip >= onset::HEAVY - 0.08)
            });
        if !over.burbled || !heavy_near {
            return None;
        }
        let look = Look {
            rpm,
            spread: 0.0,
            drift: 0.0,
            // A speed is heard half as high again where about every second turn is skipped.
            skip: Some(onset::HEAVY),
            limiter: 0.0,
            seconds: 1.0,
            fallen: 0.0,
            cleaned: 0.0,
        };
        let variance = self.screws.high.variance;
        let out = over.out;
        self.full.push(FullLook {
            out,
            variance,
            look,
        });
        Some(look)
    }

    /// Whether the screw was seen to do what it should, so that what was heard over the maximum cannot be:
    /// clearly slower where it stood clearly richer.
    pub(super) fn answers(&self) -> bool {
        let Some(last) = self.full.last() else {
            return false;
        };
        let mut slopes: Vec<f64> = self
            .full
            .iter()
            .map(|full| (full.out - last.out, last.look.rpm - full.look.rpm))
            .filter(|(richer, _)| (SHIFTED..2.0 * NEARBY).contains(&richer.abs()))
            .map(|(richer, slower)| slower / richer)
            .collect();
        !slopes.is_empty() && quantile(&mut slopes, 0.4) > STEEP * last.look.rpm
    }

    /// What is wrong where richer does not bring it under the maximum; none where it still may.
    pub(super) fn too_fast_for_screws(&self) -> Option<Symptom> {
        let maximum = self.facts.maximum?;
        let last = self.overs.last()?;
        let symptom = if self.overs.iter().any(|over| over.burbled) || super::looks::burbled(self) {
            Symptom::TooFast
        } else {
            Symptom::TooFastClean
        };
        let looks = self.full.iter().map(|full| (full.out, full.look.rpm));
        let before = self.overs.iter().map(|over| (over.out, over.rpm));
        let pinned = last.rpm > FAST * maximum
            && before.chain(looks).any(|(out, rpm)| {
                (last.out - out).abs() > PINNED.0 && (rpm / last.rpm - 1.0).abs() < PINNED.1
            });
        let sure: Vec<&Over> = self.overs.iter().filter(|over| over.surely).collect();
        let stopped = self.at_stop(Screw::High, Direction::Out) && sure.len() >= 2;
        let unmoved = sure.first().is_some_and(|first| {
            let richer = last.out - first.out;
            sure.len() >= SURELY
                && last.surely
                && richer > RICHER
                && (1.0 - last.rpm / first.rpm) < ANSWERS * richer
        });
        (pinned || stopped || unmoved || sure.len() >= TOO_OFTEN).then_some(symptom)
    }

    /// Whether it runs as fast as it may, or nearly, four-strokes, and did the same much richer: no screw
    /// does anything. `None` where it may be otherwise.
    pub(super) fn runs_pinned(&self, look: &Look) -> Option<Symptom> {
        let maximum = self.facts.maximum?;
        let heavy = |look: &Look| look.skip.is_none_or(|skip| skip >= 0.25);
        let here = self.screws.high.out;
        let same = |rpm: f64| (rpm / look.rpm - 1.0).abs() < PINNED.1;
        let far = |out: f64| (out - here).abs() > PINNED.0;
        let pinned = look.rpm > FAST * maximum
            && heavy(look)
            && (self
                .full
                .iter()
                .any(|full| far(full.out) && same(full.look.rpm) && heavy(&full.look))
                || self
                    .overs
                    .iter()
                    .any(|o| far(o.out) && same(o.rpm) && o.burbled));
        pinned.then_some(Symptom::TooFast)
    }

    /// Which speed it rather is, where one is heard over the maximum that the looks nearby rule out.
    pub(super) fn fits(&self, heard: f64) -> Option<f64> {
        let here = self.screws.high.out;
        let nearest = self
            .full
            .iter()
            .filter(|full| (full.out - here).abs() < NEARBY)
            .min_by(|a, b| (a.out - here).abs().total_cmp(&(b.out - here).abs()))?;
        let richer = nearest.out - here;
        let change = NEVER_STEEPER * richer;
        let least = (1.0 - LIKE) * nearest.look.rpm + change.min(0.0);
        let most = (1.0 + LIKE) * nearest.look.rpm + change.max(0.0);
        TOO_HIGH
            .iter()
            .map(|factor| heard / factor)
            .find(|rpm| (least..most).contains(rpm))
    }

    /// Whether a look that is slower than any full throttle is one that was heard over the maximum before,
    /// at a part of its speed.
    pub(super) fn is_part_of_over(&self, look: &Look) -> bool {
        let slow = self
            .facts
            .slowest
            .is_some_and(|least| look.rpm < RICHEST * least);
        let here = self.screws.high.out;
        slow && self.overs.iter().any(|over| {
            (over.out - here).abs() < NEARBY
                && over.rather.is_none()
                && TOO_HIGH
                    .iter()
                    .any(|factor| (over.rpm / look.rpm / factor - 1.0).abs() < LIKE)
        })
    }

    /// Whether the next opening has to be short: it was heard over the maximum not long ago.
    pub(super) fn is_hasty(&self) -> bool {
        self.hasty > 0
    }
}
