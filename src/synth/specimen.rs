//! An engine on the bench: how its speeds and its firing answer to the screws, once all has settled.
use serde::{Deserialize, Serialize};

use super::ailment::Ailment;
use super::engine_scene::{Engine, Limiter};
use crate::machine::{Carburetor, Class, Profile};
use crate::units::{Rpm, Seconds};

/// Where the screws stand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// High-speed screw, turns out from lightly seated.
    pub high: f64,
    /// Low-speed screw, turns out from lightly seated.
    pub low: f64,
    /// Idle-speed screw, turns in from the first touch; below 0 it is free.
    pub idle: f64,
}

/// Speed over mixture: round at the peak, then a slope on either side.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Peak {
    /// Loss a turn on the rich side, as a share of the speed at the peak.
    pub rich: f64,
    /// Loss a turn on the lean side.
    pub lean: f64,
    /// How far from the peak the slopes begin, in turns.
    pub round: f64,
}

impl Peak {
    /// Share of the peak's speed that is lost `turns` richer than the peak, 0 to 0.95.
    pub fn loss(&self, turns: f64) -> f64 {
        let slope = if turns > 0.0 { self.rich } else { self.lean };
        (slope * (turns.hypot(self.round) - self.round)).min(0.95)
    }
}

/// An engine on the bench. Mixtures are told in turns of the screw concerned, out (richer) positive.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Specimen {
    /// Its class.
    pub class: Class,
    /// What the technician knows of it.
    pub profile: Profile,
    /// Its carburetor.
    pub carburetor: Carburetor,
    /// Where its screws are found.
    pub found: Settings,
    /// Where the high-speed screw makes it just four-stroke at full throttle, with the low-speed
    /// screw at `low_final`.
    pub high_ideal: f64,
    /// Where the low-speed screw gives the fastest idle, with the high-speed screw at `high_ideal`.
    pub low_peak: f64,
    /// Where the low-speed screw ends.
    pub low_final: f64,
    /// Turns of the high-speed screw that a turn of the low-speed screw counts for at full throttle.
    pub low_on_full: f64,
    /// Turns of the low-speed screw that a turn of the high-speed screw counts for at idle.
    pub high_on_idle: f64,
    /// Fastest full-throttle speed over mixture.
    pub full_peak: Rpm,
    /// How much leaner than just four-stroking that is, in turns.
    pub peak_leaner: f64,
    /// Full-throttle speed over mixture.
    pub full_curve: Peak,
    /// Chance that the turn after a firing is skipped where it just four-strokes.
    pub onset: f64,
    /// Turns over which that chance grows from a half to three quarters, divided by ln 3.
    pub onset_width: f64,
    /// How irregularly it skips, 0.1 to 1.
    pub irregular: f64,
    /// The richest it gets: 1 skips about every second turn, 2 two of three.
    pub most_excess: f64,
    /// Idle speed at the first touch of the idle-speed screw.
    pub touch: Rpm,
    /// How much faster a turn of the idle-speed screw makes it.
    pub idle_turn: Rpm,
    /// Idle speed over mixture.
    pub idle_curve: Peak,
    /// Below this speed it stalls.
    pub stall: Rpm,
    /// Speed at which its clutch really begins to bite; none on a blower.
    pub bites: Option<Rpm>,
    /// Share of the speed above that which is left at idle, since the attachment is dragged along.
    pub dragged: f64,
    /// Time constants of a rise and of a fall of the speed.
    pub inertia: (Seconds, Seconds),
    /// Time constant with which a screw's turn shows.
    pub mixture_lag: Seconds,
    /// Time constant of warming up at idle.
    pub warm_up: Seconds,
    /// How much leaner it runs cold, in turns.
    pub cold_lean: f64,
    /// How much slower it idles cold, as a share.
    pub cold_slow: f64,
    /// Idle mixture below which it bogs when the throttle opens, in turns from the fastest idle.
    pub bog_below: f64,
    /// Idle mixture below which the speed hangs when the throttle closes.
    pub hang_below: f64,
    /// How the throttle's opening fills the way to full speed: larger is earlier.
    pub throttle_curve: f64,
    /// The coil's limiter.
    pub limiter: Option<Limiter>,
    /// Planted fault.
    pub ailment: Option<Ailment>,
    /// How it sounds and how irregularly it turns; its schedule is not used.
    pub engine: Engine,
    /// Speed of the slow wander at idle, standard deviation in percent.
    pub idle_wander_percent: f64,
}

impl Specimen {
    /// Idle mixture in turns from the fastest idle, at the share `heat` (0 cold, 1 warm) of the way
    /// to warm.
    pub fn idle_mixture(&self, at: &Settings, heat: f64) -> f64 {
        let turned = at.low - self.low_peak + self.high_on_idle * (at.high - self.high_ideal);
        let cold = self.cold_lean * (1.0 - heat);
        match self.ailment {
            Some(Ailment::AirLeak {
                idle_lean, answer, ..
            }) => answer * turned - idle_lean - cold,
            _ => turned - cold,
        }
    }

    /// Full-throttle mixture in turns from just four-stroking.
    pub fn full_mixture(&self, at: &Settings, heat: f64) -> f64 {
        let turned = at.high - self.high_ideal + self.low_on_full * (at.low - self.low_final);
        let cold = 0.5 * self.cold_lean * (1.0 - heat);
        match self.ailment {
            Some(Ailment::AirLeak {
                full_lean, answer, ..
            }) => answer * turned - full_lean - cold,
            _ => turned - cold,
        }
    }

    /// Full-throttle speed at a mixture, without the limiter.
    pub fn full_speed(&self, mixture: f64) -> Rpm {
        let loss = self.full_curve.loss(mixture + self.peak_leaner);
        let (factor, loss) = match self.ailment {
            Some(Ailment::AirLeak { faster_full, .. }) => (1.0 + faster_full, 0.5 * loss),
            Some(Ailment::BlockedScreen { left }) => (left, 0.3 * loss),
            Some(Ailment::WrongAttachment { factor }) => (factor, 0.4 * loss),
            _ => (1.0, loss),
        };
        Rpm(self.full_peak.0 * factor * (1.0 - loss))
    }

    /// Residual gas at full throttle as the firing plan takes it: 0 skips half of the turns after a
    /// firing, 1 about every second turn, far below 0 is clean.
    pub fn excess(&self, mixture: f64) -> f64 {
        let loaded = match self.ailment {
            // Heat and load of a choked engine clean the firing up.
            Some(Ailment::BlockedScreen { .. }) => 0.7,
            Some(Ailment::WrongAttachment { factor }) if factor < 1.0 => 0.6,
            _ => 0.0,
        };
        let logit = (self.onset / (1.0 - self.onset)).ln() + (mixture - loaded) / self.onset_width;
        (0.25 * self.irregular * logit).clamp(-10.0, self.most_excess)
    }

    /// Idle speed for a stand of the idle-speed screw and an idle mixture, warm.
    pub fn idle_speed(&self, idle_screw: f64, mixture: f64) -> Rpm {
        let at_peak = self.touch.0 + self.idle_turn.0 * idle_screw.max(-0.25);
        let loss = self.idle_curve.loss(mixture);
        let free = match self.ailment {
            Some(Ailment::AirLeak { faster, .. }) => at_peak * (1.0 - 0.3 * loss) + faster.0,
            _ => at_peak * (1.0 - loss),
        };
        Rpm(match self.clutch() {
            Some(bites) if free > bites.0 => bites.0 + self.dragged * (free - bites.0),
            _ => free,
        })
    }

    /// Where its clutch bites, as it is.
    pub fn clutch(&self) -> Option<Rpm> {
        match self.ailment {
            Some(Ailment::WornClutch { bites }) => self.bites.map(|_| bites),
            _ => self.bites,
        }
    }

    /// The maker's maximum.
    pub fn maximum(&self) -> Rpm {
        let range = self.profile.speeds.full_throttle;
        range.map_or(Rpm(f64::INFINITY), |r| r.high())
    }

    /// The stands of the high-speed screw that are right for the low-speed screw as it stands, warm:
    /// just four-stroking, or richer where that is over the maker's maximum or less than 300 to
    /// 500 rpm under the limiter. One stand, or a stretch of them under a limiter.
    pub fn ideal_high(&self, low: f64) -> (f64, f64) {
        let just = self.high_ideal - self.low_on_full * (low - self.low_final);
        let not_over = |limit: f64| {
            // The mixture on the rich side of the peak at which the speed is `limit`.
            let (mut lean, mut rich) = (-self.peak_leaner, 4.0);
            if self.full_speed(lean).0 <= limit {
                return f64::NEG_INFINITY;
            }
            for _ in 0..50 {
                let middle = f64::midpoint(lean, rich);
                if self.full_speed(middle).0 > limit {
                    lean = middle;
                } else {
                    rich = middle;
                }
            }
            rich
        };
        let least = not_over(self.maximum().0).max(0.0);
        match &self.limiter {
            Some(limiter) => {
                let near = not_over(limiter.ceiling.0 - 300.0).max(least);
                let far = not_over(limiter.ceiling.0 - 500.0).max(least);
                (just + near, just + far)
            }
            None => (just + least, just + least),
        }
    }
}
