//! How an engine was left against what its screws should be.
use engine_note::synth::{Settings, Specimen};

/// A sixteenth of a turn on either side of the ideal counts as right.
const RIGHT: f64 = 1.0 / 16.0;

/// Where an engine stands, warm.
#[derive(Clone, Copy, Debug)]
pub struct Stand {
    /// High-speed screw against its ideal in turns, 0 within a stretch of ideals.
    pub high_off: f64,
    /// Low-speed screw against its final stand.
    pub low_off: f64,
    /// Idle speed, warm, in rpm.
    pub idle: f64,
    /// Idle within the profile's range.
    pub idle_right: bool,
    /// The attachment stands still at idle.
    pub still: bool,
}

impl Stand {
    /// Judges screws.
    pub fn of(specimen: &Specimen, at: &Settings) -> Stand {
        let (lean, rich) = specimen.ideal_high(at.low);
        let high_off = if at.high < lean {
            at.high - lean
        } else {
            (at.high - rich).max(0.0)
        };
        let idle = specimen
            .idle_speed(at.idle, specimen.idle_mixture(at, 1.0))
            .0;
        let range = specimen.profile.speeds.idle;
        let idle_right = range.is_some_and(|r| (r.low().0..=r.high().0).contains(&idle));
        let still = specimen.clutch().is_none_or(|bites| idle <= bites.0);
        let low_final =
            specimen.low_final - specimen.high_on_idle * (at.high - specimen.high_ideal);
        Stand {
            high_off,
            low_off: at.low - low_final,
            idle,
            idle_right,
            still,
        }
    }

    /// High-speed screw within a sixteenth.
    pub fn high_right(&self) -> bool {
        self.high_off.abs() <= RIGHT
    }

    /// High-speed screw more than a sixteenth too lean.
    pub fn lean(&self) -> bool {
        self.high_off < -RIGHT
    }

    /// All that was asked for.
    pub fn right(&self) -> bool {
        self.high_right() && self.idle_right && self.still
    }
}
