//! What the technician is asked to do.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::answer::Word;
use crate::guide::{Direction, Screw, Turn};

/// What the throttle should do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Throttle {
    /// Released.
    Idle,
    /// Partly open, varied.
    Part,
    /// Fully open until the next throttle prompt.
    Full,
    /// Opened, held about 1.5 s, closed.
    Snap,
    /// Start the engine.
    Start,
    /// Stop the engine.
    Stop,
}

/// Where a screw's turns are counted from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Reference {
    /// Where it stands.
    Here,
    /// Lightly seated.
    Seat,
    /// The idle-speed screw's first touch.
    Touch,
    /// The rich end of the limiter cap's travel.
    RichStop,
}

/// One prompt. A new `id` replaces the prompt before it; the same `id` again is a repeat and asks
/// for nothing new.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Prompt {
    /// Number of the prompt, rising.
    pub id: u32,
    /// The step of the procedure, as in its card.
    pub step: String,
    /// The words for the technician.
    pub say: String,
    /// What the throttle should do; none leaves it as it is.
    pub throttle: Option<Throttle>,
    /// The screw to move.
    pub screw: Option<Screw>,
    /// Which way.
    pub direction: Option<Direction>,
    /// How far, a multiple of 1/32.
    pub turns: Option<Turn>,
    /// Where the turns are counted from.
    pub from: Option<Reference>,
    /// The answers that the step waits for.
    pub ask: Option<Vec<Word>>,
    /// Whether it has to be done at once.
    pub urgent: bool,
}
