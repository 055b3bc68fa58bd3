//! From the events of a tuning to what the book keeps of it.
use std::collections::{BTreeMap, HashSet};

use super::measured::{Held, How, Measured};
use super::visit::{MoveMade, Screws, Visit};
use crate::firing::FiringKind;
use crate::guide::{Direction, Screw};
use crate::procedure::{Answer, Outcome, Prompt, Reference, Throttle, Word};
use crate::session::Event;
use crate::units::Rpm;

/// After the throttle is moved the speed settles; readings before that do not count, in seconds.
const SETTLES_S: f64 = 1.0;
/// Fewer readings than this are no measurement.
const LEAST_READINGS: usize = 5;
/// Readings kept for each throttle: the latest, so that memory does not grow with the tuning.
const KEPT: usize = 256;

/// What the book keeps of a tuning: turns made, where they left the screws, speeds before the first
/// turn and after the last, the outcome.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tuning {
    /// The turns, in order.
    pub moves: Vec<MoveMade>,
    /// Speeds before the first turn.
    pub before: Option<Measured>,
    /// Speeds after the last turn.
    pub after: Option<Measured>,
    /// How it ended; none where it was cut off.
    pub outcome: Option<Outcome>,
}

impl Tuning {
    /// From the events and the answers of a tuning. A turn counts as made unless the technician
    /// said that it cannot be made.
    pub fn from_events(events: &[Event], answers: &[Answer]) -> Tuning {
        let refused = refused(events, answers);
        let refused = |id: u32| refused.contains(&id);
        let mut moves: BTreeMap<u32, MoveMade> = BTreeMap::new();
        let (mut tuning, mut heard) = (Tuning::default(), Ear::default());
        for event in events {
            match event {
                Event::Start { .. } => {}
                Event::Reading {
                    t_s,
                    rpm: Some(rpm),
                    firing,
                    skip_ratio,
                    ..
                } => heard.push(t_s.0, *rpm, *firing, *skip_ratio),
                Event::Reading { .. } => {}
                Event::Prompt { t_s, prompt } => {
                    if let Some(throttle) = prompt.throttle {
                        heard.throttle(t_s.0, throttle);
                    }
                    if let Some(turn) = turn(prompt).filter(|_| !refused(prompt.id)) {
                        if moves.is_empty() {
                            tuning.before = heard.take();
                        }
                        if moves.insert(prompt.id, turn).is_none() {
                            heard.forget();
                        }
                    }
                }
                Event::Result { outcome, .. } => tuning.outcome = Some(outcome.clone()),
            }
        }
        tuning.after = if moves.is_empty() {
            tuning.before = heard.take();
            tuning.before
        } else {
            heard.take()
        };
        tuning.moves = moves.into_values().collect();
        tuning
    }

    /// Where the turns lead from `found`: those counted from a seat or a first touch say it by
    /// themselves, those from where the screw stood need to know where it stood.
    pub fn screws_left(&self, found: Screws) -> Screws {
        let mut left = found;
        for turn in &self.moves {
            let turns = turn.turns.turns();
            // Out is richer for the mixture screws, in is faster for the idle-speed screw: each is
            // counted in its own sense.
            let signed = match (turn.screw, turn.direction) {
                (Screw::Idle, Direction::In) => turns,
                (Screw::Idle, Direction::Out) => -turns,
                (Screw::High | Screw::Low, Direction::Out) => turns,
                (Screw::High | Screw::Low, Direction::In) => -turns,
            };
            let place = left.of(turn.screw);
            *place = match turn.from {
                Reference::Seat | Reference::Touch => Some(turns),
                Reference::Here => place.map(|from| from + signed),
                Reference::RichStop => None,
            };
        }
        left
    }
}

impl Visit {
    /// Takes over what a tuning did.
    pub fn take_tuning(&mut self, tuning: &Tuning) {
        self.before = self.before.or(tuning.before);
        self.after = tuning.after.or(self.after);
        self.screws_left = tuning.screws_left(self.screws_found);
        self.moves.extend_from_slice(&tuning.moves);
        if let Some(outcome) = &tuning.outcome {
            self.verdict = Some(outcome.verdict);
            self.proof.clone_from(&outcome.proof);
            self.faults.clone_from(&outcome.faults);
        }
    }
}

/// The prompts that the technician said cannot be followed.
fn refused(events: &[Event], answers: &[Answer]) -> HashSet<u32> {
    let prompts: Vec<(f64, u32)> = events
        .iter()
        .filter_map(|event| match event {
            Event::Prompt { t_s, prompt } => Some((t_s.0, prompt.id)),
            _ => None,
        })
        .collect();
    // Without its number an answer means the prompt that stands.
    let standing = |t_s: f64| {
        let before = prompts.iter().rev().find(|(at, _)| *at <= t_s);
        before.map(|(_, id)| *id)
    };
    answers
        .iter()
        .filter(|answer| matches!(answer.answer, Word::Cannot | Word::AtStop | Word::Back))
        .filter_map(|answer| answer.id.or_else(|| standing(answer.t_s.0)))
        .collect()
}

fn turn(prompt: &Prompt) -> Option<MoveMade> {
    Some(MoveMade {
        screw: prompt.screw?,
        direction: prompt.direction?,
        turns: prompt.turns?,
        from: prompt.from.unwrap_or(Reference::Here),
    })
}

/// Readings since the last turn, by throttle.
#[derive(Default)]
struct Ear {
    throttle: Option<(f64, Throttle)>,
    idle: Vec<f64>,
    full: Vec<f64>,
    skips: Vec<f64>,
    kinds: Vec<FiringKind>,
}

impl Ear {
    fn throttle(&mut self, t_s: f64, throttle: Throttle) {
        if self.throttle.is_none_or(|(_, known)| known != throttle) {
            self.throttle = Some((t_s, throttle));
        }
    }

    fn push(&mut self, t_s: f64, rpm: Rpm, firing: FiringKind, skip_ratio: Option<f64>) {
        let Some((since, throttle)) = self.throttle else {
            return;
        };
        if t_s < since + SETTLES_S {
            return;
        }
        match throttle {
            Throttle::Idle => latest(&mut self.idle, rpm.0),
            Throttle::Full => {
                latest(&mut self.full, rpm.0);
                latest(&mut self.kinds, firing);
                if let Some(skip_ratio) = skip_ratio {
                    latest(&mut self.skips, skip_ratio);
                }
            }
            Throttle::Part | Throttle::Snap | Throttle::Start | Throttle::Stop => {}
        }
    }

    fn take(&mut self) -> Option<Measured> {
        let measured = Measured {
            how: How::Tuning,
            idle: held(&self.idle),
            full_throttle: held(&self.full),
            skip_ratio: middle(&self.skips),
            firing: (self.full.len() >= LEAST_READINGS)
                .then(|| most_frequent(&self.kinds))
                .flatten(),
        };
        self.forget();
        (!measured.is_empty()).then_some(measured)
    }

    fn forget(&mut self) {
        let throttle = self.throttle;
        *self = Ear {
            throttle,
            ..Ear::default()
        };
    }
}

fn latest<T>(values: &mut Vec<T>, value: T) {
    if values.len() == KEPT {
        values.remove(0);
    }
    values.push(value);
}

fn middle(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    (sorted.len() >= LEAST_READINGS).then(|| sorted[sorted.len() / 2])
}

fn held(values: &[f64]) -> Option<Held> {
    middle(values).map(|rpm| Held::bare(Rpm(rpm)))
}

fn most_frequent(kinds: &[FiringKind]) -> Option<FiringKind> {
    let count = |kind: &FiringKind| kinds.iter().filter(|other| *other == kind).count();
    kinds.iter().copied().max_by_key(count)
}
