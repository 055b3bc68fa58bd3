//! What `listen` shows: one state, and how it reads as a line of text.
use std::collections::VecDeque;

use crate::capture::{Condition, Level};
use crate::firing::FiringKind;
use crate::machine::Profile;
use crate::procedure::Heard;
use crate::reading::{Recent, Steadiness};
use crate::report::words;
use crate::units::{Rpm, Seconds};

/// Length of the rolling chart.
pub(super) const SHOWN: f64 = 20.0;
/// Messages that are kept on the screen.
const MESSAGES: usize = 3;

/// What is heard and what happened.
pub struct Panel {
    pub(super) source: String,
    pub(super) kept_in: Option<String>,
    pub(super) most: Option<Rpm>,
    pub(super) latest: Option<Heard>,
    pub(super) recent: Recent,
    /// Time and speed of the chart.
    pub(super) curve: VecDeque<(f64, f64)>,
    pub(super) messages: VecDeque<String>,
    /// Time of the latest sample received.
    pub now: Seconds,
    pub level: Option<Level>,
    pub condition: Condition,
    pub dropped: Seconds,
}

impl Panel {
    pub fn new(source: String, kept_in: Option<String>, machine: &Profile) -> Panel {
        Panel {
            source: words::shown(&source),
            kept_in: kept_in.map(|path| words::shown(&path)),
            most: machine.speeds.full_throttle.map(|range| range.high()),
            latest: None,
            recent: Recent::default(),
            curve: VecDeque::new(),
            messages: VecDeque::new(),
            now: Seconds(0.0),
            level: None,
            condition: Condition::Fine,
            dropped: Seconds(0.0),
        }
    }

    /// Takes a reading.
    pub fn hear(&mut self, heard: Heard) {
        let frame = &heard.frame;
        self.recent.push(frame);
        if let Ok(speed) = frame.speed {
            self.curve.push_back((frame.t.0, speed.rpm.0));
        }
        while self
            .curve
            .front()
            .is_some_and(|(t, _)| *t < frame.t.0 - SHOWN)
        {
            self.curve.pop_front();
        }
        self.latest = Some(heard);
    }

    /// Takes a message for the screen.
    pub fn tell(&mut self, words: &str) {
        let words = format!("{}  {}", words::moment(self.now), words::shown(words));
        self.messages.push_back(words);
        if self.messages.len() > MESSAGES {
            self.messages.pop_front();
        }
    }

    /// The state as one line of text.
    pub fn line(&self) -> String {
        let mut parts = vec![
            format!("{:>8}", words::moment(self.now)),
            format!("{:>10}", self.speed()),
        ];
        parts.extend(
            [self.steadiness(), self.firing(), self.loudness()]
                .into_iter()
                .flatten(),
        );
        parts.extend(self.urgent());
        if self.dropped.0 > 0.0 {
            parts.push(self.losses());
        }
        parts.join("  ")
    }

    pub(super) fn speed(&self) -> String {
        match (self.readable(), self.recent.now()) {
            (true, Some(rpm)) => format!("{} rpm", words::grouped((rpm.0 / 10.0).round() * 10.0)),
            _ => "- rpm".into(),
        }
    }

    fn readable(&self) -> bool {
        self.latest.is_some_and(|heard| heard.frame.speed.is_ok())
    }

    pub(super) fn steadiness(&self) -> Option<String> {
        if !self.readable() {
            return None;
        }
        let held = self.recent.held()?;
        let word = match held.steadiness() {
            Steadiness::Steady => "steady",
            Steadiness::Wavering => "wavering",
            Steadiness::Moving => "moving",
        };
        Some(format!("{word} ±{}", words::grouped(held.spread.0)))
    }

    pub(super) fn firing(&self) -> Option<String> {
        let heard = self.latest?;
        if let Err(reason) = heard.frame.speed {
            return Some(format!("not readable: {}", words::unreadable(reason)));
        }
        let kind = heard.frame.firing.kind;
        let what = if kind == FiringKind::Limiter {
            "cut"
        } else {
            "skipped"
        };
        let share = heard
            .skip_ratio
            .map(|share| format!(", {} of turns {what}", words::percent(share)));
        Some(format!(
            "{}{}",
            words::firing(kind),
            share.unwrap_or_default()
        ))
    }

    pub(super) fn loudness(&self) -> Option<String> {
        match self.condition {
            Condition::Waiting => return Some("waiting for the microphone".into()),
            Condition::Muted => return Some("microphone muted".into()),
            Condition::Fine => {}
        }
        let level = self.level?;
        let fault = level.fault().map(|fault| format!(" {}", fault.words()));
        Some(format!(
            "{:.0} dB{}",
            level.mean.0.max(-99.0),
            fault.unwrap_or_default()
        ))
    }

    /// What cannot wait.
    pub(super) fn urgent(&self) -> Option<String> {
        let (rpm, most) = (self.recent.now()?, self.most?);
        (self.readable() && rpm > most).then(|| {
            format!(
                "OVER THE MAXIMUM OF {}: close the throttle",
                words::about(most)
            )
        })
    }

    pub(super) fn losses(&self) -> String {
        format!("{:.2} s of sound lost", self.dropped.0)
    }
}
