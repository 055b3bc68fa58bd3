//! Faults that no screw explains, and the check for each.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A fault that no screw cures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FaultId {
    /// Air gets in behind the carburetor.
    AirLeak,
    /// Too little fuel arrives: filter, line, old fuel.
    FuelStarvation,
    /// Clutch bites too early or does not let go.
    Clutch,
    /// Spark-arrestor screen or exhaust port is blocked.
    MufflerScreen,
    /// Cutting attachment missing, wrong, or its line too short or too long.
    Attachment,
    /// Tank cannot breathe.
    TankVent,
    /// Plug, lead or coil misfires.
    Ignition,
    /// The coil's limiter cuts too early or not at all.
    LimiterCoil,
    /// Dirt or stiff diaphragms in the carburetor; flooding inlet needle.
    CarburetorDirt,
    /// Throttle does not open or close fully.
    ThrottleLinkage,
    /// Worn or scored cylinder.
    Compression,
}
