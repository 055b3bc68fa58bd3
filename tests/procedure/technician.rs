//! Somebody who does what is asked: after one to three seconds, every turn off by up to a fifth.
use engine_note::guide::{Direction, Screw};
use engine_note::procedure::{Answer, Prompt, Reference, Throttle as Asked, Word};
use engine_note::units::Seconds;

use crate::engine::{Engine, Throttle};
use crate::lot::Lot;

#[derive(Clone, Debug)]
enum Act {
    Throttle(Throttle),
    Start,
    Stop,
    Turn(Prompt),
    Say(Word),
    Look,
}

pub struct Technician {
    lot: Lot,
    acts: Vec<(f64, Act, Option<u32>)>,
    answers: bool,
    id: Option<u32>,
}

impl Technician {
    pub fn new(answers: bool, seed: u64) -> Technician {
        Technician {
            lot: Lot::new(seed),
            acts: vec![],
            answers,
            id: None,
        }
    }

    pub fn told(&mut self, now: f64, prompt: &Prompt) {
        if self.id == Some(prompt.id) {
            return;
        }
        // A turn that was not begun is given up for the new prompt; a throttle is not.
        self.acts
            .retain(|(_, act, _)| matches!(act, Act::Throttle(_)));
        self.id = Some(prompt.id);
        let id = Some(prompt.id);
        let mut t = now + self.lot.between(1.0, 3.0);
        match prompt.throttle {
            Some(Asked::Idle) => self.acts.push((t, Act::Throttle(Throttle::Idle), id)),
            Some(Asked::Part) => self.acts.push((t, Act::Throttle(Throttle::Part), id)),
            Some(Asked::Full) => self.acts.push((t, Act::Throttle(Throttle::Full), id)),
            Some(Asked::Snap) => {
                self.acts.push((t, Act::Throttle(Throttle::Full), id));
                self.acts.push((t + 1.5, Act::Throttle(Throttle::Idle), id));
            }
            Some(Asked::Start) => {
                t += self.lot.between(2.0, 5.0);
                self.acts.push((t, Act::Start, id));
            }
            Some(Asked::Stop) => self.acts.push((t, Act::Stop, id)),
            None => {}
        }
        if prompt.screw.is_some() {
            let absolute = prompt.from != Some(Reference::Here);
            t += if absolute {
                6.0
            } else {
                self.lot.between(0.7, 2.0)
            };
            self.acts.push((t, Act::Turn(prompt.clone()), id));
        }
        if let Some(ask) = &prompt.ask {
            t += 0.3;
            if ask.contains(&Word::AttachmentStill) {
                self.acts.push((t, Act::Look, id));
            } else if ask.contains(&Word::Started) {
                self.acts.push((t + 1.0, Act::Say(Word::Started), id));
            } else if ask.contains(&Word::Done) {
                self.acts.push((t, Act::Say(Word::Done), id));
            }
        }
        self.acts.sort_by(|a, b| a.0.total_cmp(&b.0));
    }

    /// Does what is due; gives what is said.
    pub fn act(&mut self, now: f64, engine: &mut Engine) -> Vec<Answer> {
        let mut said = vec![];
        while self.acts.first().is_some_and(|(t, ..)| *t <= now) {
            let (t, act, id) = self.acts.remove(0);
            let mut say = |word| {
                said.push(Answer {
                    t_s: Seconds(t),
                    answer: word,
                    id,
                });
            };
            match act {
                Act::Throttle(throttle) => engine.throttle = throttle,
                Act::Start => {
                    if !engine.running {
                        engine.start();
                    }
                }
                Act::Stop => {
                    engine.running = false;
                    engine.throttle = Throttle::Idle;
                }
                Act::Turn(prompt) => self.turn(&prompt, engine),
                Act::Say(word) => say(word),
                Act::Look => say(if engine.attachment_turns() {
                    Word::AttachmentTurning
                } else {
                    Word::AttachmentStill
                }),
            }
        }
        if !self.answers {
            said.clear();
        }
        said
    }

    fn turn(&mut self, prompt: &Prompt, engine: &mut Engine) {
        let told = prompt.turns.expect("a screw comes with its turns").turns();
        let turns = told * self.lot.between(0.8, 1.2);
        let signed = match prompt.direction {
            Some(Direction::Out) => turns,
            _ => -turns,
        };
        match (prompt.screw, prompt.from) {
            (Some(Screw::High), Some(Reference::Here)) => {
                engine.high = (engine.high + signed).max(0.0)
            }
            (Some(Screw::Low), Some(Reference::Here)) => {
                engine.low = (engine.low + signed).max(0.0)
            }
            (Some(Screw::Idle), Some(Reference::Here)) => {
                engine.idle = (engine.idle - signed).max(-1.0)
            }
            (Some(Screw::High), _) => engine.high = turns,
            (Some(Screw::Low), _) => engine.low = turns,
            (Some(Screw::Idle), _) => engine.idle = turns,
            (None, _) => {}
        }
    }
}
