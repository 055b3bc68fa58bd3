//! What the technician can say.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Seconds;

/// A word of the technician.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Word {
    /// What the prompt asked for is done.
    Done,
    /// The attachment turns at idle.
    AttachmentTurning,
    /// The attachment stands still at idle.
    AttachmentStill,
    /// The engine has stalled.
    Stalled,
    /// The engine runs.
    Started,
    /// The screw is at the end of its travel (cap, seat, or out of thread).
    AtStop,
    /// What the prompt asked for cannot be done.
    Cannot,
    /// Wait.
    Pause,
    /// Go on.
    Resume,
    /// One step back.
    Back,
    /// End here.
    Quit,
}

/// An answer with its time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Answer {
    /// When it was given, on the sound's clock.
    pub t_s: Seconds,
    /// The word.
    pub answer: Word,
    /// The prompt that it answers; without it the one that stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<u32>,
}
