//! The schema that is shipped is the one that the types give, and what the program writes is valid
//! by it.
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use engine_note::synth::{draw_engine, draw_other, render};
use hound::{SampleFormat, WavSpec, WavWriter};
use serde_json::Value;

fn shipped() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/reading.schema.json");
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

#[test]
fn the_shipped_schema_is_current() {
    let current: Value = serde_json::from_str(&engine_note::report::schema()).unwrap();
    assert!(
        shipped() == current,
        "run `make schema` and look at what changed in docs/reading.schema.json"
    );
}

#[test]
fn the_shipped_schema_of_a_summary_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/summary.schema.json");
    let shipped: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    let current: Value = serde_json::from_str(&engine_note::report::summary_schema()).unwrap();
    assert!(
        shipped == current,
        "run `make schema` and look at what changed in docs/summary.schema.json"
    );
}

#[test]
fn the_schema_names_what_every_reader_may_rely_on() {
    let text = shipped().to_string();
    for key in [
        "schema",
        "clip",
        "path",
        "seconds",
        "sample_rate",
        "channels",
        "machine",
        "frames",
        "t_s",
        "rpm",
        "rpm_low",
        "rpm_high",
        "confidence",
        "firing",
        "skip_ratio",
        "level_dbfs",
        "unreadable",
        "spans",
        "advice",
        "warnings",
    ] {
        assert!(text.contains(&format!("\"{key}\"")), "{key}");
    }
}

#[test]
fn what_is_written_about_any_clip_is_valid() {
    let folder = tempfile::tempdir().unwrap();
    let scenes = [
        draw_engine(3),
        draw_engine(4),
        draw_other(5, 0),
        draw_other(5, 9),
    ];
    for (i, scene) in scenes.iter().enumerate() {
        let (samples, _) = render(scene).unwrap().finish();
        let spec = WavSpec {
            channels: u16::from(scene.channels),
            sample_rate: scene.sample_rate,
            bits_per_sample: 16,
            sample_format: SampleFormat::Int,
        };
        let mut wav = WavWriter::create(folder.path().join(format!("{i}.wav")), spec).unwrap();
        samples
            .iter()
            .for_each(|x| wav.write_sample((x * 32_767.0) as i16).unwrap());
        wav.finalize().unwrap();
    }
    let validator = jsonschema::validator_for(&shipped()).unwrap();
    let read = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_engine-note"))
            .arg("read")
            .args(arguments)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .output()
            .unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    let valid = |text: &str| {
        let value: Value = serde_json::from_str(text).unwrap();
        let errors: Vec<_> = validator
            .iter_errors(&value)
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{errors:?}");
        value
    };
    valid(&read(&["0.wav", "--format", "json"]));
    assert_eq!(
        valid(&read(&[".", "--format", "json"]))
            .as_array()
            .unwrap()
            .len(),
        scenes.len()
    );
    let lines = read(&[
        ".",
        "--format",
        "ndjson",
        "--cycle",
        "four-stroke",
        "--cylinders",
        "2",
    ]);
    assert_eq!(
        lines.lines().map(valid).filter(|v| v.is_object()).count(),
        scenes.len()
    );
}
