//! What the procedure knows of the machine: its figures, with common practice where one is missing.
use serde::{Deserialize, Serialize};

use crate::guide::trade::{IDLE_MARGIN, base_of};
use crate::machine::{Carburetor, Coil, Cycle, Figure, Profile, Use};

/// An idle range where the profile gives none: common practice, no source.
const USUAL_IDLE: (f64, f64) = (2_600.0, 3_000.0);
/// The lowest speed of an open throttle where the profile gives none, in rpm.
const USUAL_OPEN: f64 = 5_500.0;
/// Full throttle is opened when the speed passes this share of the slowest full throttle.
const OPEN_SHARE: f64 = 0.6;

/// Figures in rpm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Facts {
    pub(super) carburetor: Carburetor,
    pub(super) coil: Coil,
    pub(super) used_for: Option<Use>,
    /// The maker's maximum at full throttle.
    pub(super) maximum: Option<f64>,
    /// The slowest full throttle that is still right.
    pub(super) slowest: Option<f64>,
    /// Whether the full-throttle range is only what such machines usually do.
    pub(super) full_is_typical: bool,
    /// Where the idle belongs.
    pub(super) idle: (f64, f64),
    /// Whether the idle range was given.
    pub(super) idle_known: bool,
    /// Where the clutch bites.
    pub(super) clutch_in: Option<f64>,
    /// Whether the clutch speed is only what such machines usually do.
    pub(super) clutch_is_typical: bool,
    /// Whether there is an attachment behind a clutch.
    pub(super) clutched: bool,
    /// Where the coil cuts the spark.
    pub(super) limiter: Option<f64>,
    /// Whether there are screws to set by ear at all.
    pub(super) can_be_set: bool,
}

impl Facts {
    pub(super) fn of(machine: &Profile) -> Facts {
        let speeds = &machine.speeds;
        let clutched = machine.used_for != Some(Use::Blower);
        let clutch_in = speeds.clutch_in.map(|c| c.0).filter(|_| clutched);
        let carburetor = machine.carburetor.unwrap_or(Carburetor::Butterfly);
        Facts {
            carburetor,
            coil: machine.coil,
            used_for: machine.used_for,
            maximum: speeds.full_throttle.map(|range| range.high().0),
            slowest: speeds.full_throttle.map(|range| range.low().0),
            full_is_typical: machine.is_typical(Figure::FullThrottle),
            idle: idle_range(machine, clutch_in),
            idle_known: speeds.idle.is_some(),
            clutch_in,
            clutch_is_typical: machine.is_typical(Figure::ClutchIn),
            clutched,
            limiter: speeds
                .limiter
                .map(|l| l.0)
                .filter(|_| machine.coil != Coil::Plain),
            can_be_set: base_of(carburetor).is_some() && machine.cycle == Cycle::TwoStroke,
        }
    }

    /// The speed that the idle is brought to.
    pub(super) fn idle_goal(&self) -> f64 {
        f64::midpoint(self.idle.0, self.idle.1)
    }

    /// Above this speed the throttle is open.
    pub(super) fn open_above(&self) -> f64 {
        let by_full = self.slowest.map_or(USUAL_OPEN, |low| OPEN_SHARE * low);
        by_full.max(1.25 * self.idle.1)
    }
}

/// The range in which the idle belongs: the maker's, cut off where the clutch would come nearer than
/// 1.25 times the idle.
fn idle_range(machine: &Profile, clutch_in: Option<f64>) -> (f64, f64) {
    let (low, high) = machine
        .speeds
        .idle
        .map_or(USUAL_IDLE, |range| (range.low().0, range.high().0));
    let limit = clutch_in.map_or(high, |clutch| clutch / IDLE_MARGIN);
    let high = high.min(limit);
    // A range that the clutch leaves no room for: as slow as the clutch asks, a little wide.
    (low.min(0.97 * high), high)
}
