//! What is advised: machine-readable fields and the words made from them.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::caution::CautionId;
use super::fault::FaultId;
use super::screw::{Direction, Screw};
use super::turn::Turn;

/// What it comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Close the throttle or stop the engine now; then what `moves` says.
    Danger,
    /// No screw explains the readings: stop and check `faults` in order.
    Stop,
    /// Turn a screw, then listen again.
    Turn,
    /// What was heard needs no turn.
    Leave,
    /// Something must be known or heard first.
    Ask,
    /// No engine was readable.
    NotReadable,
}

/// Advice for one clip. In order of urgency: dangers, moves, faults, questions, recording, cautions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Advice {
    /// What it comes to.
    pub verdict: Verdict,
    /// The same in one sentence.
    pub headline: String,
    /// Dangers, the most urgent first.
    pub dangers: Vec<Danger>,
    /// Turns, in order; make one, listen again, and only then think of the next.
    pub moves: Vec<Move>,
    /// Likely faults, the likeliest first.
    pub faults: Vec<Fault>,
    /// What was heard and is worth knowing, but asks for nothing.
    pub notes: Vec<Reason>,
    /// What is not known and matters.
    pub questions: Vec<Question>,
    /// How to get a better or a fuller recording.
    pub recording: Vec<String>,
    /// Cautions; never empty.
    pub cautions: Vec<Caution>,
}

/// A danger that was heard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Danger {
    /// Which.
    pub id: DangerId,
    /// False where the speed's base is in doubt, or the limit is only typical for such machines.
    pub certain: bool,
    /// What was heard, with figures.
    pub why: String,
    /// What to do at once.
    pub act: String,
}

/// Kinds of danger.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum DangerId {
    /// Full throttle is faster than the maker's maximum.
    OverMaximum,
    /// The attachment turns at idle, or is about to.
    AttachmentAtIdle,
    /// The attachment keeps turning after the throttle is released.
    AttachmentOnReturn,
}

/// One turn of one screw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Move {
    /// Which screw.
    pub screw: Screw,
    /// Which way.
    pub direction: Direction,
    /// How far.
    pub turns: Turn,
    /// Before anything else.
    pub urgent: bool,
    /// The readings it rests on.
    pub reasons: Vec<Reason>,
    /// The move in one sentence.
    pub say: String,
    /// What to listen for after it.
    pub listen_for: String,
    /// What never to do.
    pub never: String,
}

/// A reading on which advice rests.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Reason {
    /// Which kind of reading.
    pub id: ReasonId,
    /// With its figures.
    pub words: String,
}

/// Kinds of readings on which advice rests.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ReasonId {
    /// Full throttle above the maker's maximum.
    OverMaximum,
    /// Full throttle within reach of the maker's maximum.
    NearMaximum,
    /// Full throttle below its range.
    SlowAtFullThrottle,
    /// Deep four-stroking at full throttle: rich or lightly loaded.
    RichAtFullThrottle,
    /// Light four-stroking at full throttle: the goal.
    LightlyFourStroking,
    /// No burble heard at full throttle.
    NoBurble,
    /// The ignition limiter is heard.
    LimiterHeard,
    /// The firing at full throttle cannot be judged.
    FiringUnclear,
    /// Full throttle was too short or not steady: load, or a throttle that moves.
    Unsteady,
    /// The recording clips too much to judge the firing.
    Clipped,
    /// Idle at or above clutch-in.
    IdleAtClutchIn,
    /// Idle too near clutch-in.
    IdleNearClutchIn,
    /// Idle above its range.
    IdleHigh,
    /// Idle below its range.
    IdleLow,
    /// Idle as it should be.
    IdleInRange,
    /// The idle hunts.
    Hunting,
    /// The speed hangs above idle.
    Hanging,
    /// The speed sags on acceleration.
    Bog,
    /// The speed takes long to rise.
    SlowRise,
    /// Two bases fit, or the confidence is low.
    BaseInDoubt,
    /// The carburetor has no screws to turn.
    NoScrews,
}

/// A likely fault.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fault {
    /// Which.
    pub id: FaultId,
    /// The reading that points to it.
    pub reason: ReasonId,
    /// Only to be looked for where the first of `moves` changes nothing.
    pub if_no_change: bool,
    /// What it is and why it is likely.
    pub why: String,
    /// The check with its value and, in brackets, what that value rests on.
    pub check: String,
}

/// Something that is not known and matters.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Question {
    /// The key in the machine profile.
    pub key: String,
    /// The question.
    pub ask: String,
    /// Why it matters here.
    pub because: String,
}

/// A caution with its words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Caution {
    /// Which.
    pub id: CautionId,
    /// In words.
    pub words: String,
}
