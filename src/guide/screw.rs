//! The screws of a carburetor and which way they go.
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::machine::Carburetor;

/// An adjusting screw.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Screw {
    /// High-speed mixture screw.
    High,
    /// Low-speed mixture screw; on a barrel-valve carburetor the needle's own screw.
    Low,
    /// Idle-speed screw: a stop, no mixture.
    Idle,
}

impl Screw {
    /// Whether a carburetor of this type has the screw.
    pub fn is_on(self, carburetor: Carburetor) -> bool {
        match carburetor {
            Carburetor::Butterfly | Carburetor::BarrelValve => true,
            Carburetor::Automatic => false,
        }
    }
}

impl fmt::Display for Screw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Screw::High => "high-speed screw",
            Screw::Low => "low-speed screw",
            Screw::Idle => "idle-speed screw",
        })
    }
}

/// Which way a screw is turned.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// Clockwise: leaner on a mixture screw, faster on the idle-speed screw.
    In,
    /// Counter-clockwise: richer on a mixture screw, slower on the idle-speed screw.
    Out,
}

impl fmt::Display for Direction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Direction::In => "in (clockwise)",
            Direction::Out => "out (counter-clockwise)",
        })
    }
}
