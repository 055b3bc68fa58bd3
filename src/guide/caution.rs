//! Cautions that stand beside every advice.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A caution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CautionId {
    /// The maker's manual and local rules come first.
    MakerFirst,
    /// Eyes, ears, gloves, boots.
    EyesAndEars,
    /// Nobody within 15 m.
    ClearZone,
    /// Outdoors only: carbon monoxide.
    Outdoors,
    /// Muffler and cylinder burn.
    HotMuffler,
    /// Attachment fitted as in use, guard on, clear of everything.
    Attachment,
    /// Full throttle without load 10 s at most, then rest.
    FullThrottleTime,
    /// Inside the travel of the limiter caps.
    LimiterCaps,
}
