//! How far a screw is turned.
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};

/// A fraction of a turn in steps of 1/32, written as a number of turns (0.125) in data and as a
/// technician says it ("an eighth of a turn") in words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "f64", try_from = "f64")]
pub struct Turn(u16);

impl Turn {
    /// The step in which screws are moved.
    pub const EIGHTH: Turn = Turn(4);
    /// Half a step, near the goal.
    pub const SIXTEENTH: Turn = Turn(2);
    /// The most in one move.
    pub const QUARTER: Turn = Turn(8);

    /// From a number of thirty-seconds.
    pub const fn thirty_seconds(count: u16) -> Turn {
        Turn(count)
    }

    /// As a number of turns.
    pub fn turns(self) -> f64 {
        f64::from(self.0) / 32.0
    }
}

impl From<Turn> for f64 {
    fn from(turn: Turn) -> f64 {
        turn.turns()
    }
}

impl TryFrom<f64> for Turn {
    type Error = String;

    fn try_from(turns: f64) -> Result<Self, String> {
        let steps = turns * 32.0;
        if steps.fract() == 0.0 && (0.0..=f64::from(u16::MAX)).contains(&steps) {
            Ok(Turn(steps as u16))
        } else {
            Err(format!("{turns} turns is not a multiple of 1/32"))
        }
    }
}

impl JsonSchema for Turn {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Turn".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "Number of turns, a multiple of 1/32",
            "type": "number",
            "minimum": 0,
            "multipleOf": 0.03125
        })
    }
}

impl fmt::Display for Turn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, rest) = (self.0 / 32, self.0 % 32);
        let part = part_in_words(rest);
        match (whole, rest) {
            (0, 0) => f.write_str("no turn"),
            (0, _) => write!(f, "{part} of a turn"),
            (1, 0) => f.write_str("one turn"),
            (_, 0) => write!(f, "{whole} turns"),
            (1, _) => write!(f, "one and {part} turns"),
            _ => write!(f, "{whole} and {part} turns"),
        }
    }
}

fn part_in_words(thirty_seconds: u16) -> String {
    match thirty_seconds {
        16 => "half".into(),
        8 => "a quarter".into(),
        24 => "three quarters".into(),
        4 => "an eighth".into(),
        n if n % 4 == 0 => format!("{} eighths", n / 4),
        2 => "a sixteenth".into(),
        n if n % 2 == 0 => format!("{} sixteenths", n / 2),
        1 => "a thirty-second".into(),
        n => format!("{n} thirty-seconds"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_are_said_as_a_technician_says_them() {
        let said = |n| Turn::thirty_seconds(n).to_string();
        assert_eq!(said(4), "an eighth of a turn");
        assert_eq!(said(8), "a quarter of a turn");
        assert_eq!(said(2), "a sixteenth of a turn");
        assert_eq!(said(12), "3 eighths of a turn");
        assert_eq!(said(16), "half of a turn");
        assert_eq!(said(40), "one and a quarter turns");
        assert_eq!(said(64), "2 turns");
    }

    #[test]
    fn only_thirty_seconds_are_turns() {
        assert_eq!(Turn::try_from(0.125), Ok(Turn::EIGHTH));
        assert!(Turn::try_from(0.1).is_err());
        assert!(Turn::try_from(f64::NAN).is_err());
        assert!(Turn::try_from(-0.125).is_err());
    }
}
