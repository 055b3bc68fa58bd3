//! What the guide needs on an engine when each prompt is followed exactly: the measure that a
//! learner's moves are held against. It hears without error and turns without error, so that it is
//! the least that can be asked, not what a person reaches.
use crate::firing::{Firing, FiringKind};
use crate::guide::{Direction, Screw};
use crate::procedure::{
    Answer, Begin, Heard, Procedure, Prompt, Reference, Throttle, Verdict, Word,
};
use crate::reading::Frame;
use crate::session::Session;
use crate::synth::{Controls, Live, Specimen};
use crate::tach::{Speed, Unreadable};
use crate::units::{Decibels, Rpm, Seconds};

/// Time from a prompt to what the hand does, in seconds.
const REACTION: f64 = 1.5;
/// How long a snap is held open.
const SNAP: f64 = 1.5;
/// No tuning takes longer, in seconds.
const LONGEST: f64 = 3_600.0;
/// How far readings are behind.
const LAG: f64 = 0.19;

/// What it took.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Needed {
    /// Moves of a screw.
    pub moves: usize,
    /// How long.
    pub time: Seconds,
    /// How it ended.
    pub verdict: Verdict,
}

/// Follows the guide on an engine from cold.
pub fn rehearse(specimen: &Specimen, seed: u64, begin: Begin) -> Needed {
    let mut engine = Live::silent(specimen, seed, 0.0, false);
    let mut procedure = Procedure::new(&specimen.profile, begin);
    let mut hand = Hand {
        controls: Controls {
            settings: specimen.found,
            throttle: 0.0,
            ignition: true,
            pulling: false,
        },
        prompt: None,
        snapped: None,
        moves: 0,
    };
    let hop = Session::hop().0;
    let mut time = 0.0;
    while time < LONGEST {
        engine.pass(&hand.controls, (hop * 1e3).round() as u64);
        time += hop;
        let answers = hand.act(&engine, time);
        let step = procedure.step(Seconds(time), &[heard(&engine, time)], &answers);
        if let Some(prompt) = step.prompts.into_iter().next_back() {
            hand.read(prompt, time);
        }
        if let Some(outcome) = step.outcome {
            return Needed {
                moves: hand.moves,
                time: Seconds(time),
                verdict: outcome.verdict,
            };
        }
    }
    Needed {
        moves: hand.moves,
        time: Seconds(time),
        verdict: Verdict::Unfinished,
    }
}

fn heard(engine: &Live, time: f64) -> Heard {
    let rpm = engine.speed().0;
    let runs = engine.runs() && rpm > 600.0;
    let share = engine.skip_ratio();
    let kind = match (runs, engine.limited()) {
        (false, _) => FiringKind::None,
        (true, true) => FiringKind::Limiter,
        (true, false) if share > 0.03 => FiringKind::FourStroking,
        (true, false) => FiringKind::Clean,
    };
    let skip_ratio = runs.then_some(share);
    let speed = Speed {
        rpm: Rpm(rpm),
        low: Rpm(rpm * 0.998),
        high: Rpm(rpm * 1.002),
        confidence: 0.99,
        other: None,
    };
    Heard {
        frame: Frame {
            t: Seconds((time - LAG).max(0.0)),
            speed: if runs {
                Ok(speed)
            } else {
                Err(Unreadable::Silence)
            },
            firing: Firing {
                kind,
                skip_ratio,
                pattern: None,
                sub_order: None,
                variation: None,
            },
            level: Decibels(-20.0),
            clipped: 0.0,
        },
        skip_ratio,
    }
}

/// A hand that does what it is told.
struct Hand {
    controls: Controls,
    /// The prompt, and when it was read; none once it is done.
    prompt: Option<(Prompt, f64)>,
    snapped: Option<f64>,
    moves: usize,
}

impl Hand {
    fn read(&mut self, prompt: Prompt, time: f64) {
        self.prompt = Some((prompt, time));
    }

    /// Does what is due and answers.
    fn act(&mut self, engine: &Live, time: f64) -> Vec<Answer> {
        if self.snapped.is_some_and(|since| time - since > SNAP) {
            self.snapped = None;
            self.controls.throttle = 0.0;
        }
        let Some((prompt, since)) = self.prompt.take() else {
            return vec![];
        };
        if time - since < REACTION {
            self.prompt = Some((prompt, since));
            return vec![];
        }
        let word = self.follow(&prompt, engine, time);
        if word.is_none() && prompt.throttle == Some(Throttle::Start) {
            // The starter is pulled until it runs.
            self.prompt = Some((prompt, since));
            return vec![];
        }
        let answer = |answer| Answer {
            t_s: Seconds(time),
            answer,
            id: Some(prompt.id),
        };
        word.map(answer).into_iter().collect()
    }

    fn follow(&mut self, prompt: &Prompt, engine: &Live, time: f64) -> Option<Word> {
        match prompt.throttle {
            Some(Throttle::Idle) => self.controls.throttle = 0.0,
            Some(Throttle::Part) => self.controls.throttle = 0.4,
            Some(Throttle::Full) => self.controls.throttle = 1.0,
            Some(Throttle::Snap) => {
                self.controls.throttle = 1.0;
                self.snapped = Some(time);
            }
            Some(Throttle::Start) => {
                self.controls.ignition = true;
                self.controls.throttle = 0.0;
                self.controls.pulling = !engine.runs();
                return engine.runs().then_some(Word::Started);
            }
            Some(Throttle::Stop) => {
                self.controls.throttle = 0.0;
                self.controls.ignition = false;
            }
            None => {}
        }
        if let (Some(screw), Some(direction), Some(turns)) =
            (prompt.screw, prompt.direction, prompt.turns)
        {
            self.turn(screw, direction, turns.turns(), prompt.from);
            return Some(Word::Done);
        }
        let asks = |word| prompt.ask.as_ref().is_some_and(|ask| ask.contains(&word));
        if asks(Word::AttachmentStill) {
            return Some(if engine.attachment_turns() {
                Word::AttachmentTurning
            } else {
                Word::AttachmentStill
            });
        }
        if asks(Word::Stalled) {
            return (!engine.runs()).then_some(Word::Stalled);
        }
        if asks(Word::Resume) {
            return Some(Word::Quit);
        }
        asks(Word::Done).then_some(Word::Done)
    }

    fn turn(&mut self, screw: Screw, direction: Direction, turns: f64, from: Option<Reference>) {
        self.moves += 1;
        let out = match direction {
            Direction::Out => turns,
            Direction::In => -turns,
        };
        let settings = &mut self.controls.settings;
        let absolute = matches!(from, Some(Reference::Seat | Reference::Touch));
        match (screw, absolute) {
            (Screw::High, true) => settings.high = turns,
            (Screw::Low, true) => settings.low = turns,
            (Screw::Idle, true) => settings.idle = turns,
            (Screw::High, false) => settings.high = (settings.high + out).max(0.0),
            (Screw::Low, false) => settings.low = (settings.low + out).max(0.0),
            (Screw::Idle, false) => settings.idle -= out,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::AsFound;
    use crate::synth::draw_specimen;

    #[test]
    fn most_engines_are_tuned_by_a_hand_that_follows_exactly() {
        let begin = Begin {
            as_found: AsFound::Stopped,
            skip_checks: true,
            no_base: false,
        };
        let tuned = (0..20)
            .map(|seed| rehearse(&draw_specimen(seed, None).0, seed, begin))
            .filter(|needed| needed.verdict == Verdict::Tuned && needed.moves > 3)
            .count();
        assert!(tuned >= 17, "{tuned} of 20");
    }
}
