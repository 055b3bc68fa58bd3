//! Figures of the trade on which advice rests: common practice, no source, unless a line says more.
use super::screw::Screw;
use super::turn::Turn;
use crate::machine::Carburetor;
pub use crate::machine::IDLE_MARGIN;

/// Base setting of both mixture screws: turns out from lightly seated.
pub const BASE_SETTING: Turn = Turn::thirty_seconds(40);

/// The cutting line of a trimmer while tuning: this much short of its longest, in millimetres
/// (one inch).
pub const LINE_SHORT_MM: f64 = 25.0;

/// On a limited coil the mixture is judged this far below the ceiling, in rpm.
pub const BELOW_LIMITER: (f64, f64) = (300.0, 500.0);

/// What an eighth of a turn of the high-speed screw changes on the rich side, in rpm.
pub const EIGHTH_OF_HIGH: (f64, f64) = (200.0, 600.0);

/// What an eighth of a turn of the idle-speed screw changes, in rpm.
pub const EIGHTH_OF_IDLE: (f64, f64) = (100.0, 300.0);

/// The longest run at full throttle without load, in seconds; a rest follows, at least as long.
pub const FULL_THROTTLE_SECONDS: f64 = 10.0;

/// Nobody else within this distance of a running machine, in metres.
pub const CLEAR_ZONE_M: f64 = 15.0;

/// A return to idle within this time is good, in seconds.
pub const GOOD_RETURN_SECONDS: f64 = 3.0;

/// A return to idle that takes longer points to a leak or a lean mixture, in seconds.
pub const LATE_RETURN_SECONDS: f64 = 5.0;

/// How far the low-speed screw goes out beyond the fastest idle at the end: an eighth to a quarter
/// on a butterfly carburetor, not at all on a barrel-valve one.
pub fn final_enrichment(carburetor: Carburetor) -> Option<(Turn, Turn)> {
    match carburetor {
        Carburetor::Butterfly => Some((Turn::EIGHTH, Turn::QUARTER)),
        Carburetor::BarrelValve | Carburetor::Automatic => None,
    }
}

/// The order in which the screws are set. All fuel of a barrel-valve carburetor passes the
/// high-speed screw, so that it comes first there.
pub fn order(carburetor: Carburetor) -> &'static [Screw] {
    match carburetor {
        Carburetor::Butterfly => &[Screw::Low, Screw::Idle, Screw::High],
        Carburetor::BarrelValve => &[Screw::High, Screw::Low, Screw::Idle],
        Carburetor::Automatic => &[],
    }
}

/// Base setting of the mixture screws of a carburetor that has them.
pub fn base_of(carburetor: Carburetor) -> Option<Turn> {
    match carburetor {
        Carburetor::Butterfly | Carburetor::BarrelValve => Some(BASE_SETTING),
        Carburetor::Automatic => None,
    }
}

/// Base setting of the idle-speed screw: turns in from the first touch.
pub const IDLE_BASE_SETTING: Turn = Turn::thirty_seconds(40);

/// How much richer than the base the high-speed screw stands at the first full throttle.
pub const FIRST_FULL_RICHER: Turn = Turn::thirty_seconds(16);
