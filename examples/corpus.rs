//! Writes clips with their truth, drawn by lot:
//! `cargo run --release --example corpus -- OUT_DIR --count N --seed S --kind engine|none|mixed`
//!
//! Each clip is NNN.wav (16 bits), NNN.truth.json and NNN.scene.toml. The same seed gives the same clips.
//!
//! `cargo run --release --example corpus -- OUT_DIR --scenes FOLDER` renders the scene files of a folder.
use std::error::Error;
use std::fs;
use std::path::Path;

use engine_note::synth::{Scene, draw_engine, draw_other, render};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let value = |name: &str| {
        arguments
            .iter()
            .position(|a| a == name)
            .and_then(|i| arguments.get(i + 1))
            .map(String::as_str)
    };
    let Some(folder) = arguments.first().filter(|a| !a.starts_with("--")) else {
        return Err("usage: corpus OUT_DIR --count N --seed S --kind engine|none|mixed".into());
    };
    let folder = Path::new(folder);
    let count: usize = value("--count").unwrap_or("10").parse()?;
    let first: usize = value("--first").unwrap_or("0").parse()?;
    let seed: u64 = value("--seed").unwrap_or("1").parse()?;
    let kind = value("--kind").unwrap_or("mixed");
    fs::create_dir_all(folder)?;
    if let Some(scenes) = value("--scenes") {
        return render_all(Path::new(scenes), folder);
    }
    for i in 0..count {
        let own = seed * 1_000_003 + i as u64;
        let scene = match kind {
            "engine" => draw_engine(own),
            "none" => draw_other(own, i),
            "mixed" if i % 3 == 2 => draw_other(own, i / 3),
            "mixed" => draw_engine(own),
            other => return Err(format!("no such kind: {other}").into()),
        };
        write(folder, &format!("{:03}", first + i), &scene, true)?;
    }
    Ok(())
}

fn render_all(scenes: &Path, folder: &Path) -> Result<(), Box<dyn Error>> {
    for entry in fs::read_dir(scenes)? {
        let path = entry?.path();
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let Some(name) = name.strip_suffix(".scene.toml") else {
            continue;
        };
        let scene = Scene::from_toml(&fs::read_to_string(&path)?)
            .map_err(|e| format!("{}: {e}", path.display()))?;
        write(folder, name, &scene, false)?;
    }
    Ok(())
}

fn write(folder: &Path, name: &str, scene: &Scene, scene_too: bool) -> Result<(), Box<dyn Error>> {
    let mut rendering = render(scene)?;
    let form = hound::WavSpec {
        channels: u16::from(scene.channels),
        sample_rate: scene.sample_rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(folder.join(format!("{name}.wav")), form)?;
    let mut block = vec![0.0; 4_096];
    loop {
        let n = rendering.fill(&mut block);
        if n == 0 {
            break;
        }
        for x in &block[..n] {
            wav.write_sample((x * 32_767.0).round() as i16)?;
        }
    }
    wav.finalize()?;
    fs::write(
        folder.join(format!("{name}.truth.json")),
        rendering.truth().to_json(),
    )?;
    if scene_too {
        fs::write(folder.join(format!("{name}.scene.toml")), scene.to_toml()?)?;
    }
    Ok(())
}
