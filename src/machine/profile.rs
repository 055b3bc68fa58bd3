//! The machine profile: the fields of the TOML file as types.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Rpm;

/// Strokes of a working cycle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Cycle {
    /// One firing of each cylinder in every revolution.
    #[default]
    TwoStroke,
    /// One firing of each cylinder in every second revolution.
    FourStroke,
}

/// What the machine is used for; decides which attachment may move at idle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Use {
    /// String trimmer with a line head.
    #[serde(rename = "trimmer head")]
    TrimmerHead,
    /// Brush cutter with a blade.
    #[serde(rename = "brush blade")]
    BrushBlade,
    /// Chain saw.
    Saw,
    /// Blower: no clutch.
    Blower,
    /// Hedge trimmer.
    Hedge,
}

/// How the carburetor meters, which decides which screws there are and in which order they go.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Carburetor {
    /// Throttle plate; low-speed, high-speed and idle-speed screw.
    Butterfly,
    /// Turning barrel with a needle: all fuel passes the high-speed screw.
    BarrelValve,
    /// Mixture set by electronics: no turns are advised.
    Automatic,
}

/// The ignition coil.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Coil {
    /// Fires at every speed.
    Plain,
    /// Cuts the spark at a ceiling speed.
    Limited,
    /// Not known.
    #[default]
    Unknown,
}

/// A range of speeds, low to high, both included.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpeedRange(pub Rpm, pub Rpm);

/// The speeds of the machine, each as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Speeds {
    /// Idle speed.
    pub idle: Option<SpeedRange>,
    /// Speed at which the clutch begins to drive the attachment; none on a blower.
    pub clutch_in: Option<Rpm>,
    /// Full throttle without load; the upper end is the maker's maximum.
    pub full_throttle: Option<SpeedRange>,
    /// Speed at which the coil cuts the spark.
    pub limiter: Option<Rpm>,
}

/// A machine as the technician describes it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Profile {
    /// The technician's own name for it.
    pub name: Option<String>,
    /// What it is used for.
    #[serde(rename = "use")]
    pub used_for: Option<Use>,
    /// Strokes of a working cycle.
    pub cycle: Cycle,
    /// Number of cylinders, 1 to 4.
    pub cylinders: u8,
    /// Carburetor type.
    pub carburetor: Option<Carburetor>,
    /// Ignition coil.
    pub coil: Coil,
    /// Speeds.
    pub speeds: Speeds,
    /// Where the tachometer searches.
    pub search: SpeedRange,
}

impl Default for Profile {
    /// A single-cylinder two-stroke of which nothing else is known.
    fn default() -> Self {
        Profile {
            name: None,
            used_for: None,
            cycle: Cycle::TwoStroke,
            cylinders: 1,
            carburetor: None,
            coil: Coil::Unknown,
            speeds: Speeds::default(),
            search: SpeedRange(Rpm(1_200.0), Rpm(16_000.0)),
        }
    }
}
