//! Faults that no screw explains, and the check for each. All values are common practice, no
//! source; the maker's figures win.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::advice::{Fault, ReasonId};

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

impl FaultId {
    /// All faults.
    pub const ALL: [FaultId; 11] = [
        FaultId::AirLeak,
        FaultId::FuelStarvation,
        FaultId::Clutch,
        FaultId::MufflerScreen,
        FaultId::Attachment,
        FaultId::TankVent,
        FaultId::Ignition,
        FaultId::LimiterCoil,
        FaultId::CarburetorDirt,
        FaultId::ThrottleLinkage,
        FaultId::Compression,
    ];

    /// What it is.
    pub fn what(self) -> &'static str {
        match self {
            FaultId::AirLeak => {
                "air leak at a crank seal, the intake, the cylinder foot or the impulse line"
            }
            FaultId::FuelStarvation => {
                "too little fuel: clogged fuel filter, cracked or kinked line, old fuel, low tank"
            }
            FaultId::Clutch => {
                "clutch that bites too early: weak or broken spring, seized drum bearing"
            }
            FaultId::MufflerScreen => "blocked spark-arrestor screen or exhaust port",
            FaultId::Attachment => {
                "attachment missing or not as in use: line too short or too long, guard off, tube off"
            }
            FaultId::TankVent => "tank vent shut",
            FaultId::Ignition => "ignition that misses: plug, lead or coil",
            FaultId::LimiterCoil => "coil whose limiter cuts too early, or does not cut any more",
            FaultId::CarburetorDirt => {
                "dirt or stiff diaphragms in the carburetor, metering lever or inlet needle off"
            }
            FaultId::ThrottleLinkage => {
                "throttle that does not open or close fully, or shaft with play"
            }
            FaultId::Compression => "low compression: worn or scored cylinder, stuck ring",
        }
    }

    /// The check, with its value.
    pub fn check(self) -> &'static str {
        match self {
            FaultId::AirLeak => {
                "Seal intake, exhaust and impulse; hold 0.48 bar (7 psi) and watch the needle: it \
                 must stand still. Then 0.5 bar of vacuum: after 20 s at least 0.4 bar is left; \
                 seals often leak only under vacuum (common practice, no source)"
            }
            FaultId::FuelStarvation => {
                "Fresh fuel, at most 30 days old, tank at least half full; new fuel filter; line \
                 soft and without cracks; primer bulb fills without bubbles (common practice, no \
                 source)"
            }
            FaultId::Clutch => {
                "Engine off and cold: springs whole and equal, shoes not glazed, drum turns \
                 freely. The attachment must stand still below 1.25 times idle (ISO 11806-1, ISO \
                 11681-1, from memory). Do not return the machine to use before it does"
            }
            FaultId::MufflerScreen => {
                "Muffler cold: take the screen out and clean or renew it; look into the exhaust \
                 port for carbon (common practice, no source)"
            }
            FaultId::Attachment => {
                "Attachment as in use and guard on; line about 25 mm short of its longest on both \
                 sides; bar and chain fitted, chain not too tight; tubes on (common practice, no \
                 source)"
            }
            FaultId::TankVent => {
                "Loosen the tank cap for a moment with the engine at idle: if it recovers, the \
                 vent is shut (common practice, no source)"
            }
            FaultId::Ignition => {
                "Plug dry and tan, gap 0.6 to 0.7 mm or the maker's; try a new plug, then the \
                 lead, the stop switch and the coil's air gap by the maker's figure (common \
                 practice, no source)"
            }
            FaultId::LimiterCoil => {
                "Compare the speed at which the spark is cut with the maker's figure; look the \
                 coil's part number up (common practice, no source)"
            }
            FaultId::CarburetorDirt => {
                "Clean the inlet screen; metering diaphragm soft and flat; metering lever by the \
                 maker's gauge; inlet needle pops at 0.7 to 1.7 bar (10 to 25 psi), seats again \
                 and holds 0.5 to 0.7 bar (7 to 10 psi) (common practice, no source)"
            }
            FaultId::ThrottleLinkage => {
                "Engine off: trigger fully pressed opens the throttle fully, released it closes to \
                 the stop without sticking; choke fully off; no side play in the throttle shaft \
                 (common practice, no source)"
            }
            FaultId::Compression => {
                "Warm, throttle open: suspect below 6.3 bar (92 psi), new engines have 8.3 to 10.3 \
                 bar (120 to 150 psi); the maker's figure wins (common practice, no source)"
            }
        }
    }

    /// As part of an advice.
    pub(super) fn because(self, reason: ReasonId, if_no_change: bool) -> Fault {
        Fault {
            id: self,
            reason,
            if_no_change,
            why: self.what().to_owned(),
            check: self.check().to_owned(),
        }
    }
}

/// The likely faults behind a reading that no screw explains, the likeliest first (common
/// practice, no source).
pub(super) fn behind(reason: ReasonId) -> &'static [FaultId] {
    use FaultId as F;
    match reason {
        ReasonId::OverMaximum => &[F::AirLeak, F::Attachment, F::LimiterCoil],
        ReasonId::Hunting => &[
            F::AirLeak,
            F::FuelStarvation,
            F::TankVent,
            F::CarburetorDirt,
        ],
        ReasonId::Hanging => &[F::AirLeak, F::ThrottleLinkage, F::CarburetorDirt],
        ReasonId::Bog => &[F::CarburetorDirt, F::FuelStarvation, F::AirLeak],
        ReasonId::SlowAtFullThrottle => &[
            F::MufflerScreen,
            F::FuelStarvation,
            F::Compression,
            F::ThrottleLinkage,
            F::Attachment,
        ],
        ReasonId::RichAtFullThrottle => &[F::CarburetorDirt, F::ThrottleLinkage, F::Ignition],
        ReasonId::LimiterHeard => &[F::Ignition, F::LimiterCoil],
        ReasonId::NoBurble => &[F::AirLeak, F::FuelStarvation, F::TankVent],
        ReasonId::IdleAtClutchIn | ReasonId::IdleNearClutchIn => &[F::Clutch],
        ReasonId::IdleHigh => &[F::ThrottleLinkage, F::AirLeak],
        ReasonId::IdleLow => &[F::MufflerScreen, F::CarburetorDirt],
        ReasonId::NearMaximum
        | ReasonId::LightlyFourStroking
        | ReasonId::FiringUnclear
        | ReasonId::Clipped
        | ReasonId::Unsteady
        | ReasonId::IdleInRange
        | ReasonId::SlowRise
        | ReasonId::BaseInDoubt
        | ReasonId::NoScrews => &[],
    }
}
