//! What the rules of all screws ask of a reading and a machine, and what they add to the advice.
use super::advice::{Danger, Fault, Move, Question, Reason, ReasonId};
use super::fault::{FaultId, behind};
use super::screw::{Direction, Screw};
use super::turn::Turn;
use crate::machine::{Carburetor, Figure, Profile, Use};
use crate::reading::{Plateau, Reading};
use crate::units::{Rpm, Seconds};

/// A base below this confidence moves no screw.
const SURE: f64 = 0.6;
/// Nor does a clip in which more than this share of the readable frames is in doubt, in percent.
const MOST_DOUBT: f64 = 50.0;

/// Nor does a clip longer than this: the spans of very long clips are merged coarsely to bound the
/// memory, and their plateaus can then mix idle and full throttle.
const LONGEST: Seconds = Seconds(1_200.0);

/// One clip of one machine.
#[derive(Clone, Copy)]
pub(super) struct Case<'a> {
    pub(super) reading: &'a Reading,
    pub(super) machine: &'a Profile,
}

impl<'a> Case<'a> {
    /// Whether the base of a plateau can be trusted.
    pub(super) fn sure(&self, plateau: &Plateau) -> bool {
        plateau.other_rpm.is_none()
            && plateau.confidence >= SURE
            && plateau.rpm.0.is_finite()
            && self.reading.doubtful_pct <= MOST_DOUBT
            && self.reading.heard <= LONGEST
    }

    /// Full throttle, where it was heard.
    pub(super) fn full(&self) -> Option<&'a Plateau> {
        self.reading.full_throttle.as_ref()
    }

    /// Idle, where it was heard.
    pub(super) fn idle(&self) -> Option<&'a Plateau> {
        self.reading.idle.as_ref()
    }

    /// Whether a turn of this screw can be advised. Which carburetor it is need not be known for
    /// the high-speed and the idle-speed screw, where the advice is the same for both types; the
    /// low-speed screw is another one on each.
    pub(super) fn may_turn(&self, screw: Screw) -> bool {
        match self.machine.carburetor {
            Some(carburetor) => screw.is_on(carburetor),
            None => screw != Screw::Low,
        }
    }

    /// The maker's maximum at full throttle.
    pub(super) fn maximum(&self) -> Option<Rpm> {
        self.machine.speeds.full_throttle.map(|range| range.high())
    }

    /// The fastest full throttle that can be heard in the clip, and whether it is sure.
    pub(super) fn fastest(&self) -> Option<(Rpm, bool)> {
        let plateau = self.full().map(|full| (full.rpm, self.sure(full)));
        // The peak is taken from trusted frames only, so it is doubtful only as the clip is.
        let peak = self.reading.peak_rpm.map(|peak| {
            let doubt = self.full().is_some_and(|full| !self.sure(full));
            (peak, !doubt && self.reading.doubtful_pct <= MOST_DOUBT)
        });
        match (plateau, peak) {
            (Some(plateau), Some(peak)) if peak.0.0 > plateau.0.0 => Some(peak),
            (Some(plateau), _) => Some(plateau),
            (None, peak) => peak,
        }
    }

    /// The speed at which the attachment begins to move; none on a blower.
    pub(super) fn clutch_in(&self) -> Option<Rpm> {
        self.machine
            .speeds
            .clutch_in
            .filter(|_| self.machine.used_for != Some(Use::Blower))
    }

    /// Words that go with a figure that is only typical.
    pub(super) fn only_typical(&self, figure: Figure) -> &'static str {
        if self.machine.is_typical(figure) {
            " (typical for such machines: common practice, no source; the maker's figure decides)"
        } else {
            ""
        }
    }

    /// The name of a screw as far as the carburetor is known.
    pub(super) fn name(&self, screw: Screw) -> &'static str {
        match (screw, self.machine.carburetor) {
            (Screw::High, Some(Carburetor::Butterfly)) => "high-speed screw",
            (Screw::High, _) => "high-speed screw (if there is one)",
            (Screw::Low, Some(Carburetor::BarrelValve)) => "low-speed screw (the needle's own)",
            (Screw::Low, _) => "low-speed screw",
            (Screw::Idle, _) => "idle-speed screw",
        }
    }

    /// The sentence of a move.
    pub(super) fn say(&self, screw: Screw, direction: Direction, turns: Turn) -> String {
        let effect = match (screw, direction) {
            (Screw::Idle, Direction::In) => "faster",
            (Screw::Idle, Direction::Out) => "slower",
            (_, Direction::In) => "leaner",
            (_, Direction::Out) => "richer",
        };
        format!(
            "Turn the {} {turns} {direction}: {effect}",
            self.name(screw)
        )
    }
}

/// What the rules have added so far.
#[derive(Default)]
pub(super) struct Draft {
    pub(super) dangers: Vec<Danger>,
    pub(super) moves: Vec<Move>,
    pub(super) faults: Vec<Fault>,
    pub(super) notes: Vec<Reason>,
    pub(super) questions: Vec<Question>,
    /// A reading that no screw explains was heard: nothing but what protects is turned.
    pub(super) stop: bool,
    /// The base of a plateau, or the firing, could not be judged.
    pub(super) unsure: bool,
}

impl Draft {
    pub(super) fn note(&mut self, id: ReasonId, words: String) {
        self.notes.push(Reason { id, words });
    }

    pub(super) fn ask(&mut self, key: &str, ask: &str, because: &str) {
        if self.questions.iter().all(|question| question.key != key) {
            self.questions.push(Question {
                key: key.to_owned(),
                ask: ask.to_owned(),
                because: because.to_owned(),
            });
        }
    }

    /// Adds the faults behind a reading, each once.
    pub(super) fn suspect(&mut self, reason: ReasonId, if_no_change: bool) {
        self.suspect_all(behind(reason), reason, if_no_change);
    }

    pub(super) fn suspect_all(&mut self, ids: &[FaultId], reason: ReasonId, if_no_change: bool) {
        for id in ids {
            match self.faults.iter_mut().find(|fault| fault.id == *id) {
                Some(fault) => fault.if_no_change &= if_no_change,
                None => self.faults.push(id.because(reason, if_no_change)),
            }
        }
    }
}
