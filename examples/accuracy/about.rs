//! What a clip is: a scene to be rendered, or a sound with its truth beside it.
use std::path::{Path, PathBuf};

use engine_note::capture::Clip as SoundFile;
use engine_note::machine::Profile;
use engine_note::reading::{Frame, Listener, Look};
use engine_note::synth::{Scene, Truth, render};
use serde::Deserialize;

/// Samples of a channel in a block.
const BLOCK: usize = 4_800;

/// What the tables say of a clip.
pub struct About {
    /// The seed or number that it was drawn by.
    pub seed: u64,
    /// What it is.
    pub note: String,
    /// Engine over noise in dB, infinite without noise.
    pub snr: f64,
    /// Corner of the microphone's roll-off in hertz, 0 without one.
    pub roll_off: f64,
    /// Other sounds in it.
    pub sounds: usize,
    /// An engine is in it.
    pub engine: bool,
}

/// A clip to be read.
pub enum Source {
    /// Rendered.
    Scene(Box<Scene>),
    /// `NAME.wav` with `NAME.truth.json` beside it.
    File(PathBuf),
}

/// What a truth file of another model says beyond [`Truth`].
#[derive(Deserialize)]
struct Beyond {
    other_sounds: usize,
}

impl Source {
    /// The WAVs of a folder, in the order of their numbers.
    pub fn folder(folder: &Path) -> std::io::Result<Vec<Source>> {
        let mut found: Vec<PathBuf> = std::fs::read_dir(folder)?
            .map(|entry| entry.map(|e| e.path()))
            .collect::<Result<_, _>>()?;
        found.retain(|path| path.extension().is_some_and(|e| e == "wav"));
        found.sort_by_key(|path| number(path));
        Ok(found.into_iter().map(Source::File).collect())
    }

    /// What was read of it, the truth, and what it is.
    pub fn read(&self, look: Look) -> Result<(Vec<Frame>, Truth, About), String> {
        match self {
            Source::Scene(scene) => {
                let (sound, truth) = render(scene).map_err(|e| e.to_string())?.finish();
                let channels = usize::from(scene.channels);
                let frames = listen(&sound, scene.sample_rate, channels, &truth, look)?;
                let about = About {
                    seed: scene.seed,
                    note: scene.note.clone(),
                    snr: scene.noise.map_or(f64::INFINITY, |n| n.snr.0),
                    roll_off: scene.microphone.roll_off.map_or(0.0, |r| r.hertz.0),
                    sounds: scene.sounds.len(),
                    engine: scene.engine.is_some(),
                };
                Ok((frames, truth, about))
            }
            Source::File(path) => {
                let beside = path.with_extension("truth.json");
                let said = |e: &dyn std::fmt::Display| format!("{}: {e}", beside.display());
                let text = std::fs::read_to_string(&beside).map_err(|e| said(&e))?;
                let truth: Truth = serde_json::from_str(&text).map_err(|e| said(&e))?;
                let beyond: Beyond = serde_json::from_str(&text).map_err(|e| said(&e))?;
                let mut file = SoundFile::from_path(path).map_err(|e| e.to_string())?;
                let mut sound = vec![];
                let mut block = vec![];
                while file.next_block(&mut block).map_err(|e| e.to_string())? {
                    sound.append(&mut block);
                }
                let frames = listen(&sound, truth.sample_rate, 1, &truth, look)?;
                let about = About {
                    seed: number(path),
                    note: truth.note.clone(),
                    snr: truth.snr_db.unwrap_or(f64::INFINITY),
                    roll_off: truth.roll_off.map_or(0.0, |r| r.hertz.0),
                    sounds: beyond.other_sounds,
                    engine: truth.engine,
                };
                Ok((frames, truth, about))
            }
        }
    }
}

/// The number in a file's name.
fn number(path: &Path) -> u64 {
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    let digits: String = name.chars().filter(char::is_ascii_digit).collect();
    digits.parse().unwrap_or(0)
}

fn listen(
    sound: &[f32],
    rate: u32,
    channels: usize,
    truth: &Truth,
    look: Look,
) -> Result<Vec<Frame>, String> {
    let mut machine = Profile::default();
    if let (Some(cycle), Some(cylinders)) = (truth.cycle, truth.cylinders) {
        (machine.cycle, machine.cylinders) = (cycle, cylinders);
    }
    let mut listener = Listener::new(rate, channels, &machine, look).map_err(|e| e.to_string())?;
    let mut frames = Vec::new();
    for block in sound.chunks(BLOCK * channels) {
        listener.push(block, &mut frames);
    }
    listener.finish(&mut frames);
    Ok(frames)
}
