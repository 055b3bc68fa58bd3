//! What stands before the technician: the prompt, the speed, the goal, the place in the procedure;
//! as words, which a screen or lines of text show.
use std::collections::VecDeque;

use crate::capture::Condition;
use crate::firing::FiringKind;
use crate::guide::{Direction, Screw};
use crate::machine::{Profile, SpeedRange};
use crate::procedure::{Outcome, Place, Prompt, Reference, Throttle, Word};
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
    throttle: Option<Throttle>,
    speeds: VecDeque<(f64, f64)>,
    heard: f64,
    firing: FiringKind,
    skip_ratio: Option<f64>,
}

/// How the speed stands to its goal.
#[derive(Clone, Debug, PartialEq)]
pub struct Goal {
    /// In words.
    pub words: String,
    /// The range that is wanted.
    pub range: SpeedRange,
    /// Over the maximum or over clutch-in: a danger.
    pub danger: bool,
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

    /// How far to the goal, where the machine's figures and the throttle say what that is.
    pub fn goal(&self) -> Option<Goal> {
        let speeds = &self.machine.speeds;
        let rpm = self.speed();
        if let (Some(rpm), Some(full)) = (rpm, speeds.full_throttle)
            && rpm > full.high()
        {
            return Some(Goal {
                words: format!("{} OVER THE MAXIMUM", apart(rpm, full.high())),
                range: full,
                danger: true,
            });
        }
        if self.throttle == Some(Throttle::Full) {
            let range = speeds.full_throttle?;
            return Some(Goal {
                words: to_range(rpm, range, "the full-throttle range", "the maximum"),
                range,
                danger: false,
            });
        }
        if !matches!(self.throttle, None | Some(Throttle::Idle | Throttle::Start)) {
            return None;
        }
        let range = speeds.idle?;
        let mut words = to_range(rpm, range, "the idle range", "the fastest idle");
        let mut danger = false;
        if let (Some(rpm), Some(bites)) = (rpm, speeds.clutch_in) {
            danger = rpm >= bites;
            words = if danger {
                format!("{} OVER CLUTCH-IN; {words}", apart(rpm, bites))
            } else {
                format!("{words}; {} under clutch-in", apart(rpm, bites))
            };
        }
        Some(Goal {
            words,
            range,
            danger,
        })
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

fn essence(prompt: &Prompt) -> [String; 2] {
    let two = |a: &str, b: &str| [a.to_string(), b.to_string()];
    let asks = |word| prompt.ask.as_ref().is_some_and(|ask| ask.contains(&word));
    if let (Some(screw), Some(direction), Some(turns)) =
        (prompt.screw, prompt.direction, prompt.turns)
    {
        let screw = match screw {
            Screw::High => "HIGH SCREW",
            Screw::Low => "LOW SCREW",
            Screw::Idle => "IDLE SCREW",
        };
        let direction = match direction {
            Direction::In => "IN",
            Direction::Out => "OUT",
        };
        let from = match prompt.from {
            Some(Reference::Seat) => " FROM SEAT",
            Some(Reference::Touch) => " FROM TOUCH",
            Some(Reference::RichStop) => " FROM RICH END",
            Some(Reference::Here) | None => "",
        };
        return two(
            screw,
            &format!("{direction} {}{from}", fraction(turns.turns())),
        );
    }
    match prompt.throttle {
        Some(Throttle::Idle) if prompt.urgent => two("CLOSE", "THROTTLE NOW"),
        Some(Throttle::Idle) => two("CLOSE", "THROTTLE"),
        Some(Throttle::Part) => two("THROTTLE", "UP AND DOWN"),
        Some(Throttle::Full) => two("FULL", "THROTTLE"),
        Some(Throttle::Snap) => two("SNAP", "OPEN, CLOSE"),
        Some(Throttle::Start) => two("START", "ENGINE"),
        Some(Throttle::Stop) => two("STOP", "ENGINE"),
        None if asks(Word::Resume) => two("PAUSED", "P GOES ON"),
        None if asks(Word::AttachmentStill) => two("ATTACHMENT", "TURNING?"),
        None if asks(Word::Stalled) => two("NOT HEARD", "RUNNING?"),
        None if asks(Word::Done) => two("CHECK", "THEN ENTER"),
        None => two("HANDS OFF", "LISTENING"),
    }
}

/// Thirty-seconds of a turn as a fraction.
fn fraction(turns: f64) -> String {
    let count = (turns * 32.0).round() as u32;
    let (whole, mut rest, mut of) = (count / 32, count % 32, 32);
    while rest > 0 && rest.is_multiple_of(2) {
        rest /= 2;
        of /= 2;
    }
    match (whole, rest) {
        (0, 0) => "0".into(),
        (_, 0) => whole.to_string(),
        (0, _) => format!("{rest}/{of}"),
        _ => format!("{whole} {rest}/{of}"),
    }
}

fn apart(a: Rpm, b: Rpm) -> String {
    let tens = ((a.0 - b.0).abs() / 10.0).round() * 10.0;
    format!("{} rpm", words::grouped(tens))
}

fn to_range(rpm: Option<Rpm>, range: SpeedRange, name: &str, top: &str) -> String {
    let shown = format!(
        "{} to {}",
        words::grouped(range.low().0),
        words::grouped(range.high().0)
    );
    match rpm {
        None => format!("goal {shown} rpm"),
        Some(rpm) if rpm < range.low() => {
            format!("{} under {name} {shown}", apart(rpm, range.low()))
        }
        Some(rpm) if rpm > range.high() => {
            format!("{} over {name} {shown}", apart(rpm, range.high()))
        }
        Some(rpm) => format!("within {shown}, {} under {top}", apart(rpm, range.high())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::guide::Turn;

    fn prompt() -> Prompt {
        Prompt {
            id: 1,
            step: "high-speed".into(),
            say: "words".into(),
            throttle: None,
            screw: None,
            direction: None,
            turns: None,
            from: None,
            ask: None,
            urgent: false,
        }
    }

    #[test]
    fn fractions_are_as_a_technician_writes_them() {
        for (turns, wanted) in [
            (0.0, "0"),
            (0.125, "1/8"),
            (0.0625, "1/16"),
            (0.25, "1/4"),
            (1.25, "1 1/4"),
            (0.09375, "3/32"),
            (2.0, "2"),
        ] {
            assert_eq!(fraction(turns), wanted);
        }
    }

    #[test]
    fn a_move_is_screw_direction_fraction() {
        let turn = Prompt {
            screw: Some(Screw::Low),
            direction: Some(Direction::Out),
            turns: Some(Turn::EIGHTH),
            from: Some(Reference::Here),
            ..prompt()
        };
        assert_eq!(essence(&turn), ["LOW SCREW", "OUT 1/8"]);
        let base = Prompt {
            turns: Some(Turn::thirty_seconds(40)),
            from: Some(Reference::Seat),
            ..turn
        };
        assert_eq!(essence(&base), ["LOW SCREW", "OUT 1 1/4 FROM SEAT"]);
        let close = Prompt {
            throttle: Some(Throttle::Idle),
            urgent: true,
            ..prompt()
        };
        assert_eq!(essence(&close), ["CLOSE", "THROTTLE NOW"]);
    }

    #[test]
    fn the_way_to_a_range_is_told_from_its_near_end() {
        let range = SpeedRange(Rpm(2_700.0), Rpm(3_000.0));
        let told = |rpm: f64| to_range(Some(Rpm(rpm)), range, "the idle range", "the fastest idle");
        assert_eq!(told(2_500.0), "200 rpm under the idle range 2,700 to 3,000");
        assert_eq!(told(3_420.0), "420 rpm over the idle range 2,700 to 3,000");
        assert_eq!(
            told(2_900.0),
            "within 2,700 to 3,000, 100 rpm under the fastest idle"
        );
    }
}
