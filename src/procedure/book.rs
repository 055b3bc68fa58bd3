//! What has been found out so far.
use serde::{Deserialize, Serialize};

use super::cure::Cures;
use super::ear::Look;
use super::excess::Over;
use super::facts::Facts;
use super::idle_ear::IdleDoubts;
use super::proof::Sheet;
use super::screws::Screws;
use super::stuck::Symptom;
use crate::guide::{Direction, Screw};

/// A look at full throttle with the place of the high-speed screw.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct FullLook {
    /// Turns out of the high-speed screw.
    pub(super) out: f64,
    /// Their variance when it was taken.
    pub(super) variance: f64,
    pub(super) look: Look,
}

/// Speeds between which the attachment begins to turn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Bite {
    /// The fastest at which it was seen to stand still.
    pub(super) still: Option<f64>,
    /// The slowest at which it was seen to turn.
    pub(super) turning: Option<f64>,
}

/// What has been found out so far.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Book {
    pub(super) facts: Facts,
    pub(super) screws: Screws,
    /// The latest look at idle.
    pub(super) idle: Option<Look>,
    /// What an idle look was multiplied by, and how often the idle-speed screw was turned for such looks.
    #[serde(default = "one")]
    pub(super) idle_factor: f64,
    #[serde(default)]
    pub(super) idle_doubts: IdleDoubts,
    /// Openings over the maximum since the mixture was last changed by something else.
    #[serde(default)]
    pub(super) overs: Vec<Over>,
    /// How many of them came one after the other, without a believed look between.
    #[serde(default)]
    pub(super) overs_in_row: u32,
    /// So many looks are to be short.
    #[serde(default)]
    pub(super) hasty: u32,
    /// The leanest place of the high-speed screw that is right, since leaner was no faster.
    #[serde(default)]
    pub(super) peak: Option<f64>,
    /// Looks at full throttle since the mixture was last changed by something else.
    pub(super) full: Vec<FullLook>,
    /// The ceiling of the coil, from the profile or heard.
    pub(super) ceiling: Option<f64>,
    /// Where it seemed to be last, and how often that was another speed than the time before.
    pub(super) suspected: Option<f64>,
    pub(super) suspicions: u32,
    pub(super) bite: Bite,
    /// Whether the technician ever answered.
    pub(super) answered: bool,
    /// Whether full throttle was ever opened.
    pub(super) opened: bool,
    /// What a turn of the high-speed screw was last seen to change at full throttle, in rpm.
    pub(super) slope: Option<f64>,
    /// The high-speed screw was left richer than the onset, since leaner would be too fast.
    pub(super) capped: bool,
    /// How often it went over the maximum.
    pub(super) over: u32,
    /// How often since the high-speed screw was set it seemed to, and was made a little richer for it.
    pub(super) doubted: u32,
    /// The furthest place of the high-speed screw at which it surely did, with the low-speed screw as
    /// it stands, in turns out.
    pub(super) too_fast: Option<f64>,
    /// What was tried when it died or did not start.
    pub(super) cures: Cures,
    /// The idle speed that was heard before it died of being slowed, and where the idle-speed screw stood
    /// then, in turns out.
    pub(super) died_slowed: Option<(f64, f64)>,
    /// Where the low-speed screw stood when it died last.
    pub(super) died_at_low: f64,
    /// Where the low-speed screw stood when the high-speed screw was last judged.
    pub(super) low_at_high: f64,
    /// Where the high-speed screw stood when the low-speed screw was last set.
    pub(super) high_at_low: Option<f64>,
    /// Where the peak of the low-speed screw was last found.
    pub(super) low_peak: Option<f64>,
    /// Places of the high-speed screw at which nothing could be made out, in turns out.
    pub(super) deaf: Vec<f64>,
    /// Rounds of repairs after a proof that failed.
    pub(super) rounds: u32,
    /// What points to a fault without proving it.
    pub(super) signs: Vec<Symptom>,
    pub(super) sheet: Sheet,
}

fn one() -> f64 {
    1.0
}

impl Book {
    pub(super) fn new(facts: Facts) -> Book {
        let ceiling = facts.limiter;
        Book {
            facts,
            screws: Screws::default(),
            idle: None,
            idle_factor: 1.0,
            idle_doubts: IdleDoubts::default(),
            overs: vec![],
            overs_in_row: 0,
            hasty: 0,
            peak: None,
            full: vec![],
            ceiling,
            suspected: None,
            suspicions: 0,
            bite: Bite::default(),
            answered: false,
            opened: false,
            slope: None,
            capped: false,
            over: 0,
            doubted: 0,
            too_fast: None,
            cures: Cures::default(),
            died_slowed: None,
            died_at_low: 0.0,
            low_at_high: 0.0,
            high_at_low: None,
            low_peak: None,
            deaf: vec![],
            rounds: 0,
            signs: vec![],
            sheet: Sheet::default(),
        }
    }

    pub(super) fn sign(&mut self, symptom: Symptom) {
        if !self.signs.contains(&symptom) {
            self.signs.push(symptom);
        }
    }

    /// An engine that died when it was slowed from an idle that sounded too fast ran at half of that.
    /// What is heard there, or as much faster as the idle-speed screw makes it, is halved.
    pub(super) fn idle_speed(&self, heard: f64) -> f64 {
        let Some((before, place)) = self.died_slowed else {
            return heard;
        };
        let faster = place - self.screws.idle.out;
        let (least, most) = super::settle::A_TURN;
        let slow = 0.5 * before * 0.97 + 0.8 * least * faster;
        let fast = 0.5 * before * 1.05 + 1.2 * most * faster;
        if faster > -0.02 && (slow..=fast).contains(&(0.5 * heard)) {
            0.5 * heard
        } else {
            heard
        }
    }

    /// It died when it was slowed from a speed that was heard, back where it ran before.
    pub(super) fn died_of_slowing(&mut self, heard: f64) {
        if heard > 0.9 * self.facts.idle.0 {
            self.died_slowed = Some((heard, self.screws.idle.out));
        }
    }

    /// A turn changes what full throttle was: looks before a turn of another mixture screw say
    /// nothing any more.
    pub(super) fn turned(&mut self, screw: Screw) {
        if screw == Screw::Low {
            self.died_slowed = None;
            self.full.clear();
            self.overs.clear();
            self.peak = None;
            self.deaf.clear();
            self.too_fast = None;
        }
    }

    /// It was surely over its maximum where the high-speed screw stands.
    pub(super) fn was_over(&mut self) {
        let here = self.screws.high.out;
        self.too_fast = Some(self.too_fast.map_or(here, |known| known.max(here)));
    }

    pub(super) fn full_look(&mut self, look: Look) {
        self.opened = true;
        self.overs_in_row = 0;
        self.hasty = self.hasty.saturating_sub(1);
        let place = self.screws.high;
        self.full.push(FullLook {
            out: place.out,
            variance: place.variance,
            look,
        });
    }

    /// The attachment was seen at a speed.
    pub(super) fn attachment(&mut self, turning: bool, rpm: f64) {
        if turning {
            let known = self.bite.turning.unwrap_or(rpm);
            self.bite.turning = Some(known.min(rpm));
        } else {
            let known = self.bite.still.unwrap_or(rpm);
            self.bite.still = Some(known.max(rpm));
        }
    }

    /// Whether the clutch was heard to bite before it may.
    pub(super) fn bites_early(&self) -> bool {
        let Some(turning) = self.bite.turning else {
            return false;
        };
        let by_idle = turning < 1.25 * self.facts.idle.0;
        let by_figure = self
            .facts
            .clutch_in
            .is_some_and(|clutch| turning < 0.9 * clutch && !self.facts.clutch_is_typical);
        by_idle || by_figure
    }

    /// A leaner turn is made only from what was surely heard: at full throttle the engine
    /// four-strokes and keeps below its maximum.
    pub(super) fn may_lean(&self, screw: Screw) -> bool {
        let last = self.full.last();
        let below = |look: &Look| self.facts.maximum.is_none_or(|most| look.rpm <= most);
        match screw {
            Screw::Idle => true,
            Screw::Low => last.is_none_or(|full| below(&full.look)),
            Screw::High => last.is_some_and(|full| {
                let burbles = full.look.skip.is_some_and(|s| s >= super::onset::HEARD);
                let rich = burbles || super::unheard::is_rich_by_speed(self);
                below(&full.look) && rich && !super::limited::may_be_on(self, &full.look)
            }),
        }
    }

    /// Whether the screw is known to be against its stop in this direction.
    pub(super) fn at_stop(&self, screw: Screw, direction: Direction) -> bool {
        self.screws.of(screw).stop == Some(direction)
    }
}
