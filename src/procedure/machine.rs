//! The state machine.
use serde::{Deserialize, Serialize};

use super::answer::Answer;
use super::begin::Begin;
use super::heard::Heard;
use super::outcome::{NetTurns, Outcome, Verdict};
use super::prompt::Prompt;
use crate::machine::Profile;
use crate::units::Seconds;

/// The whole adjustment as plain data: saved and read back it goes on exactly where it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Procedure {
    machine: Profile,
    begin: Begin,
}

/// What one step says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Step {
    /// New prompts, in their order.
    pub prompts: Vec<Prompt>,
    /// How it ended, once.
    pub outcome: Option<Outcome>,
}

impl Procedure {
    /// Begins a tuning of a machine.
    pub fn new(machine: &Profile, begin: Begin) -> Procedure {
        Procedure {
            machine: machine.clone(),
            begin,
        }
    }

    /// One hop: `now` is the time of the latest sample received, `heard` the frames decided since
    /// the last call, `answers` what the technician said and is due.
    pub fn step(&mut self, now: Seconds, heard: &[Heard], answers: &[Answer]) -> Step {
        let _ = (now, heard, answers);
        Step::default()
    }

    /// The input has ended.
    pub fn end(&mut self, now: Seconds) -> Outcome {
        let _ = now;
        Outcome {
            verdict: Verdict::Unfinished,
            proof: vec![],
            net_turns: NetTurns::default(),
            faults: vec![],
        }
    }
}
