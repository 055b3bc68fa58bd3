//! The engine's part of a scene: speed schedule, firing plan, timbre.
use serde::{Deserialize, Serialize};

use super::error::SceneError;
use super::scene::in_range;
use crate::machine::Cycle;
use crate::units::{Decibels, Hertz, Rpm, Seconds};

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

/// Which turns fire.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(tag = "rhythm", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Plan {
    /// Every one that is due.
    #[default]
    Clean,
    /// Each is skipped with a probability, whatever the one before did.
    Random {
        /// Probability, 0 to 1.
        skip: f64,
    },
    /// One firing in so many turns.
    Every {
        /// 2, 3 or 4.
        turns: u8,
        /// Probability that a firing comes a turn late (or, half as often, a turn early).
        slips: f64,
    },
    /// The pattern itself changes: clean, every second, third, fourth.
    Changing {
        /// Mean time between two changes.
        dwell: Seconds,
        /// Probability of a slip as in `every`.
        slips: f64,
    },
    /// Residual gas decides: the chance to fire grows with each turn that was skipped.
    Rich {
        /// −1 is clean, 0 skips half of the turns after a firing, 1 fires about every second turn,
        /// 2 about every third.
        excess: f64,
        /// Breadth of the decision; 0.1 is nearly regular, 1 very irregular.
        spread: f64,
    },
    /// Skips come together, without a limiter.
    Bursts {
        /// Bursts a second.
        per_second: f64,
        /// Share of the time inside a burst, 0 to 1.
        share: f64,
    },
    /// All fire, but with very unequal strength, as at idle.
    Uneven {
        /// Coefficient of variation, 0 to 1.
        variation: f64,
    },
    /// Fixed strengths that repeat, turn by turn: for closed forms.
    Levels {
        /// Strengths; 0 is a skip without a trace.
        levels: Vec<f64>,
    },
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

/// How the engine sounds. Levels of the parts are powers over the whole clip against the gas pulses.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Timbre {
    /// Length of the exhaust pulse's front in degrees of crank angle.
    pub pulse_degrees: f64,
    /// Strength of its slow tail, 0 to 1.
    pub tail: f64,
    /// Strength of the suction that follows, 0 to 1.
    pub rarefaction: f64,
    /// Where the suction stands after the exhaust pulse, in degrees.
    pub rarefaction_at: f64,
    /// Strength of the pulse in a turn without a firing (the piston still pumps), 0 to 1.
    pub pumping: f64,
    /// How much stronger a firing is after a skip.
    pub recovery: f64,
    /// Variation of the firings at idle (coefficient of variation).
    pub variation_idle: f64,
    /// The same at full throttle.
    pub variation_full: f64,
    /// How much a firing resembles the one before at full throttle, −1 to 1 (correlation).
    pub memory: f64,
    /// Strength of the scavenge and intake pulse, which comes in every turn, against the exhaust's;
    /// negative for suction.
    pub scavenge: f64,
    /// Where it stands after the exhaust pulse, in degrees.
    pub scavenge_at: f64,
    /// Its length in degrees.
    pub scavenge_degrees: f64,
    /// Loudness grows with this power of the speed.
    pub speed_exponent: f64,
    /// Share of the sound that passes the muffler unshaped.
    pub direct: f64,
    /// Corner above which the direct sound falls by 6 dB an octave.
    pub brightness: Hertz,
    /// Muffler resonances.
    pub muffler: Vec<Resonance>,
    /// Resonances of the intake.
    pub intake: Vec<Resonance>,
    /// Noise of the gas flow, in step with the pulses.
    pub flow: Decibels,
    /// Corner of the flow noise.
    pub flow_hertz: Hertz,
    /// Piston slap, bearings, housing.
    pub mechanical: Decibels,
    /// The fan.
    pub fan: Option<Rotor>,
    /// Chain, gears: another rotor, with more wander.
    pub chain: Option<Rotor>,
}

impl Default for Timbre {
    fn default() -> Self {
        Timbre {
            pulse_degrees: 14.0,
            tail: 0.4,
            rarefaction: 0.4,
            rarefaction_at: 90.0,
            pumping: 0.15,
            recovery: 0.2,
            variation_idle: 0.2,
            variation_full: 0.05,
            memory: 0.6,
            scavenge: 0.3,
            scavenge_at: 170.0,
            scavenge_degrees: 25.0,
            speed_exponent: 0.8,
            direct: 0.5,
            brightness: Hertz(1_500.0),
            muffler: vec![
                Resonance { hertz: Hertz(240.0), q: 3.0, gain: 0.8 },
                Resonance { hertz: Hertz(620.0), q: 4.0, gain: 0.6 },
                Resonance { hertz: Hertz(1_450.0), q: 5.0, gain: 0.4 },
            ],
            intake: vec![Resonance { hertz: Hertz(420.0), q: 2.5, gain: 0.8 }],
            flow: Decibels(-14.0),
            flow_hertz: Hertz(1_800.0),
            mechanical: Decibels(-20.0),
            fan: None,
            chain: None,
        }
    }
}

/// A resonance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Resonance {
    /// Centre.
    pub hertz: Hertz,
    /// Centre over width.
    pub q: f64,
    /// Gain at the centre.
    pub gain: f64,
}

/// Something on the crank that makes a tone with each blade or tooth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rotor {
    /// Blades or teeth a turn of the crank; need not be whole behind a gear.
    pub blades: f64,
    /// Power over the whole clip against the gas pulses.
    pub level: Decibels,
    /// How unequal the blades are, 0 to 1: puts lines at every order around the tone.
    pub unequal: f64,
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
        in_range("engine.jitter_idle_percent", self.jitter_idle_percent, 0.0, 5.0)?;
        in_range("engine.jitter_full_percent", self.jitter_full_percent, 0.0, 5.0)?;
        in_range("engine.skip_lag_percent", self.skip_lag_percent, 0.0, 5.0)?;
        if self.schedule.is_empty() {
            return Err(SceneError::NoSchedule);
        }
        if let Some(limiter) = &self.limiter {
            in_range("engine.limiter.ceiling", limiter.ceiling.0, 300.0, 30_000.0)?;
            in_range("engine.limiter.depth_percent", limiter.depth_percent, 0.05, 20.0)?;
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
        Segment { course, rpm, seconds, rise: None, bog: None, hang: None, hunting: None, firing }
    }

    fn check(&self) -> Result<(), SceneError> {
        in_range("engine.schedule.rpm", self.rpm.0, 300.0, 30_000.0)?;
        in_range("engine.schedule.seconds", self.seconds.0, 0.0, 36_000.0)?;
        if let Some(rise) = self.rise {
            in_range("engine.schedule.rise", rise.0, 0.02, 60.0)?;
        }
        if let Some(bog) = self.bog {
            in_range("engine.schedule.bog.depth_percent", bog.depth_percent, 0.0, 60.0)?;
            in_range("engine.schedule.bog.seconds", bog.seconds.0, 0.02, 60.0)?;
        }
        if let Some(hang) = self.hang {
            in_range("engine.schedule.hang.rpm", hang.rpm.0, 300.0, 30_000.0)?;
            in_range("engine.schedule.hang.seconds", hang.seconds.0, 0.0, 3_600.0)?;
        }
        if let Some(hunting) = self.hunting {
            in_range("engine.schedule.hunting.hertz", hunting.hertz.0, 0.05, 20.0)?;
            in_range("engine.schedule.hunting.depth_percent", hunting.depth_percent, 0.0, 40.0)?;
        }
        self.firing.check()
    }
}

impl Plan {
    fn check(&self) -> Result<(), SceneError> {
        match self {
            Plan::Clean => Ok(()),
            Plan::Random { skip } => in_range("engine.schedule.firing.skip", *skip, 0.0, 1.0),
            Plan::Every { turns, slips } => {
                in_range("engine.schedule.firing.turns", f64::from(*turns), 2.0, 8.0)?;
                in_range("engine.schedule.firing.slips", *slips, 0.0, 0.5)
            }
            Plan::Changing { dwell, slips } => {
                in_range("engine.schedule.firing.dwell", dwell.0, 0.01, 3_600.0)?;
                in_range("engine.schedule.firing.slips", *slips, 0.0, 0.5)
            }
            Plan::Rich { excess, spread } => {
                in_range("engine.schedule.firing.excess", *excess, -10.0, 10.0)?;
                in_range("engine.schedule.firing.spread", *spread, 1e-3, 10.0)
            }
            Plan::Bursts { per_second, share } => {
                in_range("engine.schedule.firing.per_second", *per_second, 0.1, 60.0)?;
                in_range("engine.schedule.firing.share", *share, 0.0, 1.0)
            }
            Plan::Uneven { variation } => in_range("engine.schedule.firing.variation", *variation, 0.0, 1.0),
            Plan::Levels { levels } => {
                in_range("the number of engine.schedule.firing.levels", levels.len() as f64, 1.0, 64.0)?;
                levels.iter().try_for_each(|&x| in_range("engine.schedule.firing.levels", x, 0.0, 10.0))
            }
        }
    }
}

impl Timbre {
    fn check(&self) -> Result<(), SceneError> {
        in_range("engine.timbre.pulse_degrees", self.pulse_degrees, 1.0, 180.0)?;
        in_range("engine.timbre.scavenge_degrees", self.scavenge_degrees, 1.0, 180.0)?;
        in_range("engine.timbre.scavenge_at", self.scavenge_at, 0.0, 360.0)?;
        in_range("engine.timbre.rarefaction_at", self.rarefaction_at, 0.0, 360.0)?;
        in_range("engine.timbre.scavenge", self.scavenge, -10.0, 10.0)?;
        in_range("engine.timbre.memory", self.memory, -0.99, 0.99)?;
        for (field, value) in [
            ("engine.timbre.tail", self.tail),
            ("engine.timbre.rarefaction", self.rarefaction),
            ("engine.timbre.pumping", self.pumping),
            ("engine.timbre.recovery", self.recovery),
            ("engine.timbre.variation_idle", self.variation_idle),
            ("engine.timbre.variation_full", self.variation_full),
            ("engine.timbre.speed_exponent", self.speed_exponent),
            ("engine.timbre.direct", self.direct),
        ] {
            in_range(field, value, 0.0, 10.0)?;
        }
        in_range("engine.timbre.brightness", self.brightness.0, 20.0, 96_000.0)?;
        in_range("engine.timbre.flow_hertz", self.flow_hertz.0, 20.0, 96_000.0)?;
        in_range("engine.timbre.flow", self.flow.0, -200.0, 60.0)?;
        in_range("engine.timbre.mechanical", self.mechanical.0, -200.0, 60.0)?;
        for resonance in self.muffler.iter().chain(&self.intake) {
            in_range("engine.timbre resonance hertz", resonance.hertz.0, 10.0, 96_000.0)?;
            in_range("engine.timbre resonance q", resonance.q, 0.1, 200.0)?;
            in_range("engine.timbre resonance gain", resonance.gain, -100.0, 100.0)?;
        }
        for rotor in self.fan.iter().chain(&self.chain) {
            in_range("engine.timbre rotor blades", rotor.blades, 0.1, 100.0)?;
            in_range("engine.timbre rotor level", rotor.level.0, -200.0, 60.0)?;
            in_range("engine.timbre rotor unequal", rotor.unequal, 0.0, 1.0)?;
        }
        Ok(())
    }
}
