//! Timbre: how the engine sounds.
use serde::{Deserialize, Serialize};

use super::error::SceneError;
use super::scene::in_range;
use crate::units::{Decibels, Hertz};

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
                Resonance {
                    hertz: Hertz(240.0),
                    q: 3.0,
                    gain: 0.8,
                },
                Resonance {
                    hertz: Hertz(620.0),
                    q: 4.0,
                    gain: 0.6,
                },
                Resonance {
                    hertz: Hertz(1_450.0),
                    q: 5.0,
                    gain: 0.4,
                },
            ],
            intake: vec![Resonance {
                hertz: Hertz(420.0),
                q: 2.5,
                gain: 0.8,
            }],
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

impl Timbre {
    /// Checks every number against its range.
    pub(super) fn check(&self) -> Result<(), SceneError> {
        in_range(
            "engine.timbre.pulse_degrees",
            self.pulse_degrees,
            1.0,
            180.0,
        )?;
        in_range(
            "engine.timbre.scavenge_degrees",
            self.scavenge_degrees,
            1.0,
            180.0,
        )?;
        in_range("engine.timbre.scavenge_at", self.scavenge_at, 0.0, 360.0)?;
        in_range(
            "engine.timbre.rarefaction_at",
            self.rarefaction_at,
            0.0,
            360.0,
        )?;
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
        in_range(
            "engine.timbre.brightness",
            self.brightness.0,
            20.0,
            96_000.0,
        )?;
        in_range(
            "engine.timbre.flow_hertz",
            self.flow_hertz.0,
            20.0,
            96_000.0,
        )?;
        in_range("engine.timbre.flow", self.flow.0, -200.0, 60.0)?;
        in_range("engine.timbre.mechanical", self.mechanical.0, -200.0, 60.0)?;
        for resonance in self.muffler.iter().chain(&self.intake) {
            in_range(
                "engine.timbre resonance hertz",
                resonance.hertz.0,
                10.0,
                96_000.0,
            )?;
            in_range("engine.timbre resonance q", resonance.q, 0.1, 200.0)?;
            in_range(
                "engine.timbre resonance gain",
                resonance.gain,
                -100.0,
                100.0,
            )?;
        }
        for rotor in self.fan.iter().chain(&self.chain) {
            in_range("engine.timbre rotor blades", rotor.blades, 0.1, 100.0)?;
            in_range("engine.timbre rotor level", rotor.level.0, -200.0, 60.0)?;
            in_range("engine.timbre rotor unequal", rotor.unequal, 0.0, 1.0)?;
        }
        Ok(())
    }
}
