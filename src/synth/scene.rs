//! The scene: everything that a clip is made of, as a TOML file.
use serde::{Deserialize, Serialize};

use super::engine_scene::Engine;
use super::error::SceneError;
use super::sound_scene::Background;
use crate::units::{Decibels, Hertz, Seconds};

/// A scene. The same scene gives the same samples.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Scene {
    /// What the scene is for, in words.
    pub note: String,
    /// Length, above 0 to 3,600 s.
    pub seconds: Seconds,
    /// Samples a second, 8,000 to 192,000.
    pub sample_rate: u32,
    /// 1 or 2; with 2 each has its own path of the sound and its own noise.
    pub channels: u8,
    /// Seed of everything random.
    pub seed: u64,
    /// The engine; none for a clip without one.
    pub engine: Option<Engine>,
    /// Other sounds.
    pub sounds: Vec<Background>,
    /// Broadband noise.
    pub noise: Option<Noise>,
    /// Where it stands.
    pub room: Room,
    /// What records it.
    pub microphone: Microphone,
}

impl Default for Scene {
    fn default() -> Self {
        Scene {
            note: String::new(),
            seconds: Seconds(10.0),
            sample_rate: 48_000,
            channels: 1,
            seed: 1,
            engine: None,
            sounds: Vec::new(),
            noise: None,
            room: Room::default(),
            microphone: Microphone::default(),
        }
    }
}

/// Broadband noise of a stated strength.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Noise {
    /// How its power is spread over the frequencies.
    pub colour: Colour,
    /// Power of the engine (or of all other sounds, where there is none) over the power of the
    /// noise, both over the whole clip, as recorded: after room and roll-off, before gain control
    /// and clipping.
    pub snr: Decibels,
}

/// Spread of noise power over the frequencies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Colour {
    /// The same power in every hertz.
    White,
    /// The same power in every octave.
    Pink,
    /// Falling by 6 dB an octave above 20 Hz.
    Brown,
}

/// Reflections on the way to the microphone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Room {
    /// Time in which the room's sound falls by 60 dB; 0 is the open air.
    pub reverberation: Seconds,
    /// Energy of the room's answer over that of the direct sound.
    pub level: Decibels,
    /// One strong reflection, from the ground or a wall.
    pub ground: Option<Reflection>,
}

impl Default for Room {
    /// The open air, without ground.
    fn default() -> Self {
        Room {
            reverberation: Seconds(0.0),
            level: Decibels(-10.0),
            ground: None,
        }
    }
}

/// A single reflection.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reflection {
    /// How much later than the direct sound, in milliseconds, 0 to 50.
    pub delay_ms: f64,
    /// Its strength against the direct sound, −1 to 1.
    pub gain: f64,
    /// Slow change of the delay, as machine and microphone move: standard deviation in percent, 0 to 20.
    #[serde(default)]
    pub sway_percent: f64,
}

/// The recorder: filters, gain, clipping.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Microphone {
    /// Low frequencies that it loses.
    pub roll_off: Option<RollOff>,
    /// Upper corner of a fourth-order low-pass, as of a telephone.
    pub low_pass: Option<Hertz>,
    /// Root-mean-square level of the clip against full scale before gain control and clipping.
    pub level_dbfs: Decibels,
    /// Automatic gain control.
    pub gain_control: Option<GainControl>,
    /// What happens at full scale.
    pub clipping: Clipping,
}

impl Default for Microphone {
    fn default() -> Self {
        Microphone {
            roll_off: None,
            low_pass: None,
            level_dbfs: Decibels(-24.0),
            gain_control: None,
            clipping: Clipping::Hard,
        }
    }
}

/// A Butterworth high-pass.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RollOff {
    /// Corner (−3 dB).
    pub hertz: Hertz,
    /// Order, 1 to 4: 6 dB an octave each.
    pub order: u8,
}

/// Automatic gain: the level is pulled towards a target.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GainControl {
    /// Root-mean-square level it aims at, against full scale.
    pub target_dbfs: Decibels,
    /// Time constant when the sound grows.
    pub attack: Seconds,
    /// Time constant when it fades.
    pub release: Seconds,
    /// Most that it may raise the sound.
    pub most: Decibels,
}

/// What happens to samples beyond full scale.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Clipping {
    /// Cut off at full scale.
    #[default]
    Hard,
    /// Bent smoothly (hyperbolic tangent).
    Soft,
}

impl Scene {
    /// Reads a scene from TOML and checks it.
    ///
    /// # Errors
    /// [`SceneError::Syntax`] where the text is no scene, and those of [`Scene::check`].
    pub fn from_toml(text: &str) -> Result<Self, SceneError> {
        let scene: Scene = toml::from_str(text).map_err(|e| SceneError::Syntax(Box::new(e)))?;
        scene.check()?;
        Ok(scene)
    }

    /// The scene as TOML.
    ///
    /// # Errors
    /// [`SceneError::Unwritable`] where a number does not fit into TOML (a seed above 2⁶³ − 1).
    pub fn to_toml(&self) -> Result<String, SceneError> {
        toml::to_string(self).map_err(|e| SceneError::Unwritable(Box::new(e)))
    }

    /// Checks every number against its range.
    ///
    /// # Errors
    /// [`SceneError::OutOfRange`] names the first field outside its range and the range.
    pub fn check(&self) -> Result<(), SceneError> {
        in_range("seconds", self.seconds.0, 1e-3, 3_600.0)?;
        in_range(
            "sample_rate",
            f64::from(self.sample_rate),
            8_000.0,
            192_000.0,
        )?;
        in_range("channels", f64::from(self.channels), 1.0, 2.0)?;
        in_range("room.reverberation", self.room.reverberation.0, 0.0, 10.0)?;
        in_range("room.level", self.room.level.0, -120.0, 60.0)?;
        if let Some(ground) = self.room.ground {
            in_range("room.ground.delay_ms", ground.delay_ms, 0.0, 50.0)?;
            in_range("room.ground.gain", ground.gain, -1.0, 1.0)?;
            in_range("room.ground.sway_percent", ground.sway_percent, 0.0, 20.0)?;
        }
        if let Some(noise) = self.noise {
            in_range("noise.snr", noise.snr.0, -120.0, 200.0)?;
        }
        let microphone = &self.microphone;
        in_range(
            "microphone.level_dbfs",
            microphone.level_dbfs.0,
            -120.0,
            40.0,
        )?;
        if let Some(roll_off) = microphone.roll_off {
            in_range("microphone.roll_off.hertz", roll_off.hertz.0, 1.0, 2_000.0)?;
            in_range(
                "microphone.roll_off.order",
                f64::from(roll_off.order),
                1.0,
                4.0,
            )?;
        }
        if let Some(low_pass) = microphone.low_pass {
            in_range("microphone.low_pass", low_pass.0, 200.0, 96_000.0)?;
        }
        if let Some(control) = microphone.gain_control {
            in_range(
                "microphone.gain_control.target_dbfs",
                control.target_dbfs.0,
                -80.0,
                0.0,
            )?;
            in_range(
                "microphone.gain_control.attack",
                control.attack.0,
                1e-4,
                60.0,
            )?;
            in_range(
                "microphone.gain_control.release",
                control.release.0,
                1e-4,
                60.0,
            )?;
            in_range("microphone.gain_control.most", control.most.0, 0.0, 80.0)?;
        }
        if let Some(engine) = &self.engine {
            engine.check()?;
        }
        self.sounds.iter().try_for_each(Background::check)
    }
}

/// `value` must be a number from `low` to `high`.
pub(super) fn in_range(
    field: &'static str,
    value: f64,
    low: f64,
    high: f64,
) -> Result<(), SceneError> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(SceneError::OutOfRange {
            field,
            value,
            low,
            high,
        })
    }
}
