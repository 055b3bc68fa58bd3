//! The engine's part of a scene: what it is and what it does.
use serde::{Deserialize, Serialize};

use super::error::SceneError;
use super::plan::Plan;
use super::scene::in_range;
use super::timbre::Timbre;
use crate::machine::Cycle;
use crate::units::{Hertz, Rpm, Seconds};

/// An engine: what it is, what it does, how it sounds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Engine {
    /// Strokes of a working cycle.
    pub cycle: Cycle,
    /// Number of cylinders, 1 to 4.
    pub cylinders: u8,
    /// Crank angle of each cylinder's firing in degrees (0 to 720); empty spreads them evenly.
    pub firing_angles: Vec<f64>,
    /// Strength of each cylinder's exhaust pulse; empty makes them equal.
    pub cylinder_levels: Vec<f64>,
    /// Speed at which the idle figures of jitter and variation hold.
    pub idle: Rpm,
    /// Speed at which the full-throttle figures hold.
    pub full: Rpm,
    /// Slow random change of speed, standard deviation in percent.
    pub wander_percent: f64,
    /// Scatter of the turn's beginning at idle, standard deviation in percent of a turn.
    pub jitter_idle_percent: f64,
    /// The same at full throttle.
    pub jitter_full_percent: f64,
    /// How much longer a turn without a firing takes, in percent of a turn.
    pub skip_lag_percent: f64,
    /// What the technician's finger does, one step after the other; the last one goes on.
    pub schedule: Vec<Segment>,
    /// An ignition that cuts the spark at a ceiling.
    pub limiter: Option<Limiter>,
    /// How it sounds.
    pub timbre: Timbre,
}

impl Default for Engine {
    fn default() -> Self {
        Engine {
            cycle: Cycle::TwoStroke,
            cylinders: 1,
            firing_angles: Vec::new(),
            cylinder_levels: Vec::new(),
            idle: Rpm(2_800.0),
            full: Rpm(10_000.0),
            wander_percent: 0.05,
            jitter_idle_percent: 0.6,
            jitter_full_percent: 0.05,
            skip_lag_percent: 0.1,
            schedule: Vec::new(),
            limiter: None,
            timbre: Timbre::default(),
        }
    }
}

/// One step of the schedule.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Segment {
    /// How the speed gets to `rpm`.
    pub course: Course,
    /// The speed aimed at.
    pub rpm: Rpm,
    /// How long the step lasts.
    pub seconds: Seconds,
    /// Rise time of a snap, time constant of a fall; 0.3 s where left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rise: Option<Seconds>,
    /// A dip on the way up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bog: Option<Bog>,
    /// A plateau on the way down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hang: Option<Hang>,
    /// Regular rise and fall of the speed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hunting: Option<Hunting>,
    /// Which turns fire.
    #[serde(default)]
    pub firing: Plan,
}

/// The way from one speed to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// There at once (only sensible as the first step or at the speed already reached).
    Hold,
    /// Evenly in percent a second, over the whole step.
    Ramp,
    /// Throttle opened suddenly: an S-shaped rise within `rise`, then held.
    Snap,
    /// Throttle closed: an exponential approach with the time constant `rise`.
    Fall,
    /// The engine does not run.
    Off,
}

/// A dip of the speed right after the throttle opens.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bog {
    /// How far below the starting speed it falls, in percent, 0 to 60.
    pub depth_percent: f64,
    /// How long before the rise begins.
    pub seconds: Seconds,
}

/// A plateau on the way down to idle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hang {
    /// Speed of the plateau.
    pub rpm: Rpm,
    /// How long it lasts.
    pub seconds: Seconds,
}

/// Regular rise and fall of the speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hunting {
    /// Rate, 0.05 to 20 Hz.
    pub hertz: Hertz,
    /// Half of the way from top to bottom, in percent of the speed, 0 to 40.
    pub depth_percent: f64,
}

/// An ignition that cuts the spark.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limiter {
    /// The ceiling.
    pub ceiling: Rpm,
    /// How far the speed falls below it in a cut, in percent.
    pub depth_percent: f64,
    /// Cuts a second.
    pub per_second: f64,
    /// Share of the time without a spark, 0.05 to 0.95.
    pub cut_share: f64,
}

impl Engine {
    /// Checks every number against its range.
    pub(super) fn check(&self) -> Result<(), SceneError> {
        in_range("engine.cylinders", f64::from(self.cylinders), 1.0, 4.0)?;
        for &angle in &self.firing_angles {
            in_range("engine.firing_angles", angle, 0.0, 720.0)?;
        }
        for &level in &self.cylinder_levels {
            in_range("engine.cylinder_levels", level, 0.0, 10.0)?;
        }
        in_range("engine.idle", self.idle.0, 300.0, 30_000.0)?;
        in_range("engine.full", self.full.0, self.idle.0 + 1.0, 30_001.0)?;
        in_range("engine.wander_percent", self.wander_percent, 0.0, 20.0)?;
        in_range(
            "engine.jitter_idle_percent",
            self.jitter_idle_percent,
            0.0,
            5.0,
        )?;
        in_range(
            "engine.jitter_full_percent",
            self.jitter_full_percent,
            0.0,
            5.0,
        )?;
        in_range("engine.skip_lag_percent", self.skip_lag_percent, 0.0, 5.0)?;
        if self.schedule.is_empty() {
            return Err(SceneError::NoSchedule);
        }
        if let Some(limiter) = &self.limiter {
            in_range("engine.limiter.ceiling", limiter.ceiling.0, 300.0, 30_000.0)?;
            in_range(
                "engine.limiter.depth_percent",
                limiter.depth_percent,
                0.05,
                20.0,
            )?;
            in_range("engine.limiter.per_second", limiter.per_second, 0.5, 60.0)?;
            in_range("engine.limiter.cut_share", limiter.cut_share, 0.05, 0.95)?;
        }
        self.timbre.check()?;
        self.schedule.iter().try_for_each(Segment::check)
    }
}

impl Segment {
    /// A step without bog, hang or hunting.
    pub fn new(course: Course, rpm: Rpm, seconds: Seconds, firing: Plan) -> Self {
        Segment {
            course,
            rpm,
            seconds,
            rise: None,
            bog: None,
            hang: None,
            hunting: None,
            firing,
        }
    }

    fn check(&self) -> Result<(), SceneError> {
        in_range("engine.schedule.rpm", self.rpm.0, 300.0, 30_000.0)?;
        in_range("engine.schedule.seconds", self.seconds.0, 0.0, 36_000.0)?;
        if let Some(rise) = self.rise {
            in_range("engine.schedule.rise", rise.0, 0.02, 60.0)?;
        }
        if let Some(bog) = self.bog {
            in_range(
                "engine.schedule.bog.depth_percent",
                bog.depth_percent,
                0.0,
                60.0,
            )?;
            in_range("engine.schedule.bog.seconds", bog.seconds.0, 0.02, 60.0)?;
        }
        if let Some(hang) = self.hang {
            in_range("engine.schedule.hang.rpm", hang.rpm.0, 300.0, 30_000.0)?;
            in_range("engine.schedule.hang.seconds", hang.seconds.0, 0.0, 3_600.0)?;
        }
        if let Some(hunting) = self.hunting {
            in_range("engine.schedule.hunting.hertz", hunting.hertz.0, 0.05, 20.0)?;
            in_range(
                "engine.schedule.hunting.depth_percent",
                hunting.depth_percent,
                0.0,
                40.0,
            )?;
        }
        self.firing.check()
    }
}
