//! The other sounds of a scene.
use serde::{Deserialize, Serialize};

use super::engine_scene::Engine;
use super::error::SceneError;
use super::scene::in_range;
use crate::units::{Decibels, Hertz, Rpm, Seconds};

/// A sound beside the engine, or instead of one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Background {
    /// What it is.
    pub sound: Sound,
    /// Its power against the engine's (against 0 dB where there is none), over the whole clip.
    pub level: Decibels,
}

/// What can be heard besides the engine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Sound {
    /// Lines that never move: mains hum, a compressor.
    Hum {
        /// Base frequency.
        hertz: Hertz,
        /// Number of harmonics, 1 to 60.
        harmonics: u8,
        /// How fast they fall, in dB an octave.
        tilt: f64,
        /// Slow drift of the frequency in percent, as of the mains (0.02) or a loaded motor (0.5).
        drift_percent: f64,
    },
    /// Another combustion engine.
    SecondEngine(Box<Engine>),
    /// Speech: voiced and unvoiced sounds, gliding pitch, pauses.
    Voice {
        /// Mean pitch.
        hertz: Hertz,
        /// Held vowels, as in singing, instead of speech.
        held: bool,
    },
    /// Notes of an instrument; several at once are a chord.
    Notes {
        /// Frequencies of the notes, sounded together where `together`, else one after the other.
        hertz: Vec<Hertz>,
        /// All at once.
        together: bool,
        /// Length of a note or a chord before it is struck again.
        seconds: Seconds,
        /// Plucked (dies away) instead of bowed or blown.
        plucked: bool,
        /// Vibrato in percent.
        vibrato_percent: f64,
    },
    /// A hand drill: a universal motor with gears and ramps.
    Drill {
        /// Speed of the motor at full press.
        rpm: Rpm,
        /// Presses of the switch a second.
        presses_per_second: f64,
    },
    /// A vacuum cleaner: fast motor, strong flow noise.
    Vacuum {
        /// Speed of the motor.
        rpm: Rpm,
    },
    /// Wind on the microphone.
    Wind {
        /// Corner above which it fades fast.
        hertz: Hertz,
        /// Mean time between gusts.
        gust: Seconds,
    },
    /// Rain: drops and their sum.
    Rain {
        /// Drops a second.
        drops: f64,
    },
    /// A dog.
    Barks {
        /// Pitch.
        hertz: Hertz,
        /// Barks a second.
        per_second: f64,
    },
    /// Crickets.
    Crickets {
        /// Pitch.
        hertz: Hertz,
        /// Chirps a second.
        per_second: f64,
    },
    /// Birdsong: gliding whistles.
    Birds {
        /// Middle of the range.
        hertz: Hertz,
    },
    /// A siren.
    Siren {
        /// Lowest pitch.
        low: Hertz,
        /// Highest pitch.
        high: Hertz,
        /// Sweeps a second.
        per_second: f64,
        /// Two steady tones in turn instead of a sweep.
        two_tone: bool,
    },
    /// Single knocks, regular or not: a clock, a hammer, a rhythm.
    Knocks {
        /// Knocks a second.
        per_second: f64,
        /// Scatter of their time, 0 (a clock) to 1.
        scatter: f64,
        /// Ring of what is struck.
        hertz: Hertz,
    },
    /// Drums and bass in a beat.
    Beat {
        /// Beats a minute.
        per_minute: f64,
        /// Pitch of the bass.
        bass: Hertz,
    },
    /// White noise.
    WhiteNoise,
    /// Pink noise.
    PinkNoise,
}

impl Background {
    /// Checks every number against its range.
    pub(super) fn check(&self) -> Result<(), SceneError> {
        in_range("sounds.level", self.level.0, -200.0, 100.0)?;
        let pitch = |hertz: &Hertz| in_range("sounds.sound.hertz", hertz.0, 1.0, 20_000.0);
        let rate = |x: &f64| in_range("sounds.sound.per_second", *x, 0.01, 200.0);
        match &self.sound {
            Sound::Hum {
                hertz,
                harmonics,
                tilt,
                drift_percent,
            } => {
                pitch(hertz)?;
                in_range("sounds.sound.harmonics", f64::from(*harmonics), 1.0, 60.0)?;
                in_range("sounds.sound.tilt", *tilt, -60.0, 60.0)?;
                in_range("sounds.sound.drift_percent", *drift_percent, 0.0, 20.0)
            }
            Sound::SecondEngine(engine) => engine.check(),
            Sound::Voice { hertz, .. } => pitch(hertz),
            Sound::Notes {
                hertz,
                seconds,
                vibrato_percent,
                ..
            } => {
                in_range(
                    "the number of sounds.sound.hertz",
                    hertz.len() as f64,
                    1.0,
                    16.0,
                )?;
                in_range("sounds.sound.seconds", seconds.0, 0.02, 3_600.0)?;
                in_range("sounds.sound.vibrato_percent", *vibrato_percent, 0.0, 20.0)?;
                hertz.iter().try_for_each(pitch)
            }
            Sound::Drill {
                rpm,
                presses_per_second,
            } => {
                in_range("sounds.sound.rpm", rpm.0, 300.0, 60_000.0)?;
                rate(presses_per_second)
            }
            Sound::Vacuum { rpm } => in_range("sounds.sound.rpm", rpm.0, 300.0, 60_000.0),
            Sound::Wind { hertz, gust } => {
                pitch(hertz)?;
                in_range("sounds.sound.gust", gust.0, 0.05, 600.0)
            }
            Sound::Rain { drops } => in_range("sounds.sound.drops", *drops, 1.0, 2_000.0),
            Sound::Barks { hertz, per_second }
            | Sound::Crickets { hertz, per_second }
            | Sound::Knocks {
                hertz, per_second, ..
            } => {
                pitch(hertz)?;
                rate(per_second)
            }
            Sound::Birds { hertz } => pitch(hertz),
            Sound::Siren {
                low,
                high,
                per_second,
                ..
            } => {
                pitch(low)?;
                pitch(high)?;
                rate(per_second)
            }
            Sound::Beat { per_minute, bass } => {
                in_range("sounds.sound.per_minute", *per_minute, 20.0, 400.0)?;
                pitch(bass)
            }
            Sound::WhiteNoise | Sound::PinkNoise => Ok(()),
        }
    }
}
