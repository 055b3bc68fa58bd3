//! Faults that an engine on the bench can have, none of which a screw cures.
use serde::{Deserialize, Serialize};

use crate::units::{Hertz, Rpm, Seconds};

/// A planted fault.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Ailment {
    /// Air gets in behind the carburetor: lean, a fast idle that hunts and hangs, screws that
    /// hardly answer.
    AirLeak {
        /// How much leaner the idle is, in turns of the low-speed screw.
        idle_lean: f64,
        /// How much leaner full throttle is, in turns of the high-speed screw.
        full_lean: f64,
        /// Share of a screw's turn that still has an effect, 0 to 1.
        answer: f64,
        /// How much faster the idle is.
        faster: Rpm,
        /// Rate of the hunting.
        hunting: Hertz,
        /// Half of its way, in percent of the speed.
        depth_percent: f64,
        /// How slowly the speed comes back to idle (time constant).
        hang: Seconds,
        /// How much faster or slower full throttle is, as a share.
        faster_full: f64,
    },
    /// Too little fuel arrives: full throttle leans out and fades after seconds.
    FuelStarvation {
        /// How long the fuel at hand lasts at full throttle.
        lasts: Seconds,
        /// How much leaner it is then, in turns of the high-speed screw.
        lean: f64,
        /// Share of the speed that is lost then, beside what the mixture takes.
        fades: f64,
    },
    /// The clutch bites too early.
    WornClutch {
        /// Where it bites.
        bites: Rpm,
    },
    /// The exhaust is blocked: slow at full throttle, clean, whatever the screw.
    BlockedScreen {
        /// Share of the speed that is left.
        left: f64,
    },
    /// Too light (above 1) or too heavy an attachment.
    WrongAttachment {
        /// Full-throttle speed against the one with the right attachment.
        factor: f64,
    },
}

impl Ailment {
    /// The fault's word in results of a tuning.
    pub fn word(&self) -> &'static str {
        match self {
            Ailment::AirLeak { .. } => "air-leak",
            Ailment::FuelStarvation { .. } => "fuel-starvation",
            Ailment::WornClutch { .. } => "clutch",
            Ailment::BlockedScreen { .. } => "muffler-screen",
            Ailment::WrongAttachment { .. } => "attachment",
        }
    }
}
