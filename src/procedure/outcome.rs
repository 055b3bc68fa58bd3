//! How a tuning ended.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::guide::FaultId;

/// How it ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Set and proved.
    Tuned,
    /// Stopped: no setting helps; the faults say where to look.
    Stopped,
    /// Left or cut off before its end.
    Unfinished,
}

/// One line of the proof.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProofLine {
    /// What was measured, with its unit.
    pub line: String,
    /// The measured value.
    pub value: Option<f64>,
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
    /// Whether it lies within; none: not checked.
    pub within: Option<bool>,
}

/// Turns of each screw since its last absolute setting, out positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NetTurns {
    /// High-speed screw.
    pub high: f64,
    /// Low-speed screw.
    pub low: f64,
    /// Idle-speed screw.
    pub idle: f64,
}

/// A likely fault.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutcomeFault {
    /// Which.
    pub id: FaultId,
    /// What points at it.
    pub why: String,
}

/// How a tuning ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Outcome {
    /// How.
    pub verdict: Verdict,
    /// The proof, line by line.
    pub proof: Vec<ProofLine>,
    /// Where the screws ended.
    pub net_turns: NetTurns,
    /// Likely faults, the likeliest first.
    pub faults: Vec<OutcomeFault>,
}
