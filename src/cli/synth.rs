//! `synth`: a scene in, a clip and its truth out.
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use hound::{SampleFormat, WavSpec, WavWriter};

use super::args::Synth;
use super::exit::Outcome;
use super::profile::{small_text, toml_words};
use super::ready::READY;
use super::terminal::{print, say};
use super::trouble::Trouble;
use crate::synth::{Rendering, Scene, SceneError, draw_engine, render};

/// Samples that are rendered at a time.
const BLOCK: usize = 8_192;

/// Runs the command.
pub fn synth(arguments: &Synth) -> Result<Outcome, Trouble> {
    let scene = match (&arguments.scene, &arguments.ready, arguments.drawn) {
        (Some(path), _, _) => from_file(path)?,
        (_, Some(name), _) => ready(name)?,
        (_, _, Some(seed)) => draw_engine(seed),
        (None, None, None) => return Err(no_scene()),
    };
    match &arguments.output {
        Some(path) => write(&scene, path)?,
        None => print(
            &scene
                .to_toml()
                .map_err(|error| wrong("the scene", &error))?,
        )?,
    }
    Ok(Outcome::Read)
}

fn no_scene() -> Trouble {
    Trouble::usage(
        "no scene is given",
        "name a scene file, or use --ready NAME or --drawn SEED",
    )
}

fn ready(name: &str) -> Result<Scene, Trouble> {
    let found = READY
        .iter()
        .find(|ready| ready.name == name)
        .ok_or_else(no_scene)?;
    Scene::from_toml(found.text).map_err(|error| wrong(name, &error))
}

fn from_file(path: &Path) -> Result<Scene, Trouble> {
    let text = small_text(path)?;
    let name = path.display();
    Scene::from_toml(&text).map_err(|error| match &error {
        SceneError::Syntax(syntax) => {
            let hint =
                "`engine-note synth --ready trimmer-rich --print` prints a scene to compare with";
            Trouble::usage(format!("{name}: {}", toml_words(&text, syntax)), hint)
        }
        other => wrong(&name.to_string(), other),
    })
}

fn wrong(place: &str, error: &SceneError) -> Trouble {
    Trouble::usage(format!("{place}: {error}"), error.hint())
}

fn write(scene: &Scene, path: &Path) -> Result<(), Trouble> {
    let truth = path.with_extension("truth.json");
    let name = path.to_string_lossy();
    let mut rendering = render(scene).map_err(|error| wrong("the scene", &error))?;
    clip(scene, &mut rendering, path).map_err(|error| Trouble::output(&name, &error))?;
    let text = rendering.truth().to_json();
    std::fs::write(&truth, text)
        .map_err(|error| Trouble::output(&truth.to_string_lossy(), &error))?;
    say(&format!("wrote {name} and {}\n", truth.display()));
    Ok(())
}

fn clip(scene: &Scene, rendering: &mut Rendering, path: &Path) -> io::Result<()> {
    let form = WavSpec {
        channels: u16::from(scene.channels),
        sample_rate: scene.sample_rate,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let failed = |error: hound::Error| match error {
        hound::Error::IoError(error) => error,
        other => io::Error::other(other.to_string()),
    };
    let mut file = BufWriter::new(File::create(path)?);
    let mut wav = WavWriter::new(&mut file, form).map_err(failed)?;
    let mut block = vec![0.0f32; BLOCK];
    loop {
        let count = rendering.fill(&mut block);
        if count == 0 {
            break;
        }
        for sample in &block[..count] {
            wav.write_sample((sample * 32_767.0).round() as i16)
                .map_err(failed)?;
        }
    }
    wav.finalize().map_err(failed)?;
    file.flush()
}
