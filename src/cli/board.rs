//! What stands before the technician: the prompt, the speed, the goal, the place in the procedure;
//! as words, which a screen or lines of text show.
use std::collections::VecDeque;

use super::glance::essence;
use crate::capture::Condition;
use crate::firing::FiringKind;
use crate::machine::Profile;
use crate::procedure::{Outcome, Place, Prompt, Throttle, Word};
use crate::report::words;
use crate::session::{Event, Session};
use crate::units::{Rpm, Seconds};

/// The speed that is shown is the median over this long, so that its digits can be read.
const STEADIED: f64 = 0.4;
/// Messages that are kept.
const MESSAGES: usize = 3;

/// The state of a session for showing it.
pub struct Board {
    /// The machine.
    pub machine: Profile,
    /// Where the sound comes from.
    pub source: String,
    /// Time of the latest sample.
    pub now: Seconds,
    /// The prompt that stands.
    pub prompt: Option<Prompt>,
    /// The steps, and which is under way.
    pub way: (Vec<Place>, usize),
    /// How the sound comes.
    pub condition: Condition,
    /// Sound that was lost.
    pub dropped: Seconds,
    /// What was told, the latest last.
    pub messages: VecDeque<String>,
    /// How it ended.
    pub result: Option<Outcome>,
    /// What the throttle was asked for last.
    pub(super) throttle: Option<Throttle>,
    speeds: VecDeque<(f64, f64)>,
    heard: f64,
    firing: FiringKind,
    skip_ratio: Option<f64>,
}

impl Board {
    /// Before anything was heard.
    pub fn new(machine: &Profile, source: String, session: &Session) -> Board {
        Board {
            machine: machine.clone(),
            source,
            now: session.now(),
            prompt: None,
            way: session.procedure().way(),
            condition: Condition::Fine,
            dropped: Seconds(0.0),
            messages: VecDeque::new(),
            result: None,
            throttle: None,
            speeds: VecDeque::new(),
            heard: 0.0,
            firing: FiringKind::None,
            skip_ratio: None,
        }
    }

    /// Takes what came of a hop.
    pub fn take(&mut self, session: &Session, events: &[Event]) {
        self.now = session.now();
        for event in events {
            match event {
                Event::Start { .. } => {}
                Event::Reading {
                    t_s,
                    rpm,
                    firing,
                    skip_ratio,
                    ..
                } => {
                    self.heard = t_s.0;
                    if let Some(rpm) = rpm {
                        self.speeds.push_back((t_s.0, rpm.0));
                    }
                    self.firing = *firing;
                    self.skip_ratio = *skip_ratio;
                }
                Event::Prompt { prompt, .. } => {
                    self.throttle = prompt.throttle.or(self.throttle);
                    self.prompt = Some(prompt.clone());
                }
                Event::Result { outcome, .. } => self.result = Some(outcome.clone()),
            }
        }
        while self
            .speeds
            .front()
            .is_some_and(|(t, _)| *t < self.heard - STEADIED)
        {
            self.speeds.pop_front();
        }
        if events
            .iter()
            .any(|event| matches!(event, Event::Prompt { .. }))
        {
            self.way = session.procedure().way();
        }
    }

    /// Takes a message.
    pub fn tell(&mut self, message: &str) {
        let message = format!("{}  {}", words::moment(self.now), words::shown(message));
        self.messages.push_back(message);
        if self.messages.len() > MESSAGES {
            self.messages.pop_front();
        }
    }

    /// The speed; none where nothing is readable at the moment.
    pub fn speed(&self) -> Option<Rpm> {
        let mut speeds: Vec<f64> = self.speeds.iter().map(|(_, rpm)| *rpm).collect();
        speeds.sort_by(f64::total_cmp);
        speeds.get(speeds.len() / 2).map(|rpm| Rpm(*rpm))
    }

    /// The speed as digits, rounded to tens.
    pub fn digits(&self) -> String {
        match self.speed() {
            Some(rpm) => words::grouped((rpm.0 / 10.0).round() * 10.0),
            None => "- - -".into(),
        }
    }

    /// How it fires.
    pub fn firing(&self) -> String {
        if self.speed().is_none() {
            return match self.condition {
                Condition::Fine => "no engine heard".into(),
                Condition::Waiting => "waiting for the microphone".into(),
                Condition::Muted => "the microphone is muted".into(),
            };
        }
        let what = match self.firing {
            FiringKind::Limiter => "cut",
            _ => "skipped",
        };
        let share = self
            .skip_ratio
            .filter(|share| *share >= 0.005)
            .map(|share| format!(", {} of turns {what}", words::percent(share)));
        format!(
            "{}{}",
            words::firing(self.firing),
            share.unwrap_or_default()
        )
    }

    /// Whether the technician asked to wait.
    pub fn paused(&self) -> bool {
        self.asks(Word::Resume)
    }

    /// Whether the prompt that stands asks for this word.
    pub fn asks(&self, word: Word) -> bool {
        let prompt = self.prompt.as_ref().filter(|_| self.result.is_none());
        prompt
            .and_then(|prompt| prompt.ask.as_ref())
            .is_some_and(|ask| ask.contains(&word))
    }

    /// The prompt in two short lines, to be read from afar.
    pub fn essence(&self) -> [String; 2] {
        match &self.prompt {
            Some(prompt) => essence(prompt),
            None => ["LISTENING".into(), String::new()],
        }
    }

    /// The words of the prompt.
    pub fn say(&self) -> &str {
        self.prompt.as_ref().map_or("", |prompt| &prompt.say)
    }

    /// Whether it has to be done at once.
    pub fn urgent(&self) -> bool {
        self.prompt.as_ref().is_some_and(|prompt| prompt.urgent)
    }

    /// Where in the procedure, as one line: steps behind, the step under way, steps ahead.
    pub fn place(&self) -> String {
        let (steps, at) = &self.way;
        let under_way = self.prompt.as_ref().map(|prompt| prompt.step.as_str());
        let step = steps.get(*at);
        let title = step.map_or("", |step| step.title);
        let aside = match under_way {
            Some("restart") => ", start again",
            Some("stopped") => ", stopped: look for the fault",
            _ => "",
        };
        format!(
            "step {} of {}: {title}{aside}",
            (at + 1).min(steps.len()),
            steps.len()
        )
    }

    /// The step's bar: done, under way, to come.
    pub fn steps(&self) -> String {
        let (steps, at) = &self.way;
        let step = |(i, place): (usize, &Place)| match i.cmp(at) {
            std::cmp::Ordering::Less => format!("{} ✓", place.step),
            std::cmp::Ordering::Equal => format!("[{}]", place.step.to_uppercase()),
            std::cmp::Ordering::Greater => place.step.to_string(),
        };
        steps
            .iter()
            .enumerate()
            .map(step)
            .collect::<Vec<_>>()
            .join("  ")
    }
}
