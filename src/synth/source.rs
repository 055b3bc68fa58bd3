//! Anything that sounds, block by block.
use super::animals::{Barks, Birds, Crickets};
use super::engine_mix::EngineMix;
use super::motors::{Drill, Hum, Siren, Vacuum};
use super::music::{Beat, Knocks, Notes};
use super::sound_scene::Sound;
use super::voice::Voice;
use super::weather::{Hiss, Rain, Wind};
use crate::units::Seconds;

/// A sound as a stream of samples; its level means nothing before it is measured.
pub(super) trait Source {
    /// Overwrites `out` with the next samples.
    fn fill(&mut self, out: &mut [f64]);
}

/// Builds the source of a sound; `seconds` is the length of the clip.
pub(super) fn source(sound: &Sound, seed: u64, rate: f64, seconds: Seconds) -> Box<dyn Source> {
    match sound {
        Sound::Hum {
            hertz,
            harmonics,
            tilt,
            drift_percent,
        } => Box::new(Hum::new(
            hertz.0,
            *harmonics,
            *tilt,
            *drift_percent,
            seed,
            rate,
        )),
        Sound::SecondEngine(engine) => Box::new(EngineMix::new(engine, seed, rate, seconds)),
        Sound::Voice { hertz, held } => Box::new(Voice::new(hertz.0, *held, seed, rate)),
        Sound::Notes {
            hertz,
            together,
            seconds,
            plucked,
            vibrato_percent,
        } => {
            let hertz = hertz.iter().map(|h| h.0).collect();
            Box::new(Notes::new(
                hertz,
                *together,
                seconds.0,
                *plucked,
                *vibrato_percent,
                seed,
                rate,
            ))
        }
        Sound::Drill {
            rpm,
            presses_per_second,
        } => Box::new(Drill::new(rpm.hertz().0, *presses_per_second, seed, rate)),
        Sound::Vacuum { rpm } => Box::new(Vacuum::new(rpm.hertz().0, seed, rate)),
        Sound::Wind { hertz, gust } => Box::new(Wind::new(hertz.0, gust.0, seed, rate)),
        Sound::Rain { drops } => Box::new(Rain::new(*drops, seed, rate)),
        Sound::Barks { hertz, per_second } => {
            Box::new(Barks::new(hertz.0, *per_second, seed, rate))
        }
        Sound::Crickets { hertz, per_second } => {
            Box::new(Crickets::new(hertz.0, *per_second, seed, rate))
        }
        Sound::Birds { hertz } => Box::new(Birds::new(hertz.0, seed, rate)),
        Sound::Siren {
            low,
            high,
            per_second,
            two_tone,
        } => Box::new(Siren::new(
            low.0,
            high.0,
            *per_second,
            *two_tone,
            seed,
            rate,
        )),
        Sound::Knocks {
            per_second,
            scatter,
            hertz,
        } => Box::new(Knocks::new(*per_second, *scatter, hertz.0, seed, rate)),
        Sound::Beat { per_minute, bass } => Box::new(Beat::new(*per_minute, bass.0, seed, rate)),
        Sound::WhiteNoise => Box::new(Hiss::white(seed)),
        Sound::PinkNoise => Box::new(Hiss::pink(seed)),
    }
}

/// Samples that are computed at a time. Fixed, so that the reader's block size changes nothing.
pub(super) const BLOCK: usize = 512;

/// Mean power of a source over `seconds`.
pub(super) fn power(source: &mut dyn Source, rate: f64, seconds: Seconds) -> f64 {
    let mut block = vec![0.0; BLOCK];
    let blocks = ((seconds.0 * rate) as usize).div_ceil(BLOCK).max(1);
    let mut sum = 0.0;
    for _ in 0..blocks {
        source.fill(&mut block);
        sum += block.iter().map(|x| x * x).sum::<f64>();
    }
    sum / (blocks * BLOCK) as f64
}
