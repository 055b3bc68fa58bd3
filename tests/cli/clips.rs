//! Clips that can be read: one, many, streams, and what is said beside them.
use std::fs;
use std::process::{Output, Stdio};

use serde_json::Value;

use super::bench::{Bench, RATE, float_wav, json, told, tone, wav, words};

/// The words of the warnings of a clip.
fn warnings(output: &Output) -> Vec<String> {
    let result = json(output);
    let warnings = result["warnings"].as_array().unwrap();
    warnings
        .iter()
        .map(|w| {
            format!(
                "{} -> {}",
                words(w["words"].as_str().unwrap()),
                w["hint"].as_str().unwrap()
            )
        })
        .collect()
}

#[test]
fn a_clip_that_is_cut_off_is_read_and_named() {
    let bench = Bench::new();
    let whole = wav(tone(4.0, 6_000.0, 0.5));
    bench.file("clip.wav", &whole[..whole.len() / 2]);
    let output = bench.output(&["read", "clip.wav", "--format", "json"]);
    assert_eq!(
        warnings(&output),
        [
            "the clip is cut off: only # s of # s could be read -> copy the clip again, or record again, to have the rest"
        ]
    );
    let seconds = json(&output)["clip"]["seconds"].as_f64().unwrap();
    assert!((seconds - 2.0).abs() < 0.01, "{seconds}");
}

#[test]
fn a_clip_that_is_overloaded_is_read_and_named() {
    let bench = Bench::new();
    bench.wav(
        "clip.wav",
        tone(3.0, 6_000.0, 8.0).map(|x| x.clamp(-1.0, 1.0)),
    );
    let warnings = warnings(&bench.output(&["read", "clip.wav", "--format", "json"]));
    assert!(
        warnings.iter().any(|w| w.contains("overloaded")),
        "{warnings:?}"
    );
}

#[test]
fn some_samples_that_are_no_numbers_are_named() {
    let bench = Bench::new();
    let bytes = float_wav(
        tone(3.0, 6_000.0, 0.5)
            .enumerate()
            .map(|(i, x)| if i % 5_000 == 0 { f32::NAN } else { x }),
    );
    bench.file("clip.wav", &bytes);
    let output = bench.output(&["read", "clip.wav", "--format", "json"]);
    assert_eq!(warnings(&output).len(), 1, "{}", told(&output));
    assert!(!String::from_utf8_lossy(&output.stdout).contains("NaN"));
}

// Standard input.

#[test]
fn a_wav_and_bare_samples_come_by_standard_input() {
    let bench = Bench::new();
    let bytes = wav(tone(2.0, 6_000.0, 0.5));
    let from_wav = json(&bench.output_with_input(&["read", "-", "--format", "json"], &bytes));
    let raw = ["read", "-", "--raw", "s16le:16000:1", "--format", "json"];
    let from_raw = json(&bench.output_with_input(&raw, &bytes[44..]));
    assert_eq!(from_wav["clip"]["path"], "-");
    assert_eq!(from_wav["clip"]["seconds"], 2.0);
    assert_eq!(from_wav["frames"], from_raw["frames"]);
}

// Many clips.

#[test]
fn results_come_in_the_order_of_the_clips_whatever_their_lengths() {
    let bench = Bench::new();
    let lengths = [20.0, 1.0, 8.0, 0.8, 4.0, 0.9, 12.0, 1.1, 0.7, 2.0];
    let names: Vec<String> = (0..lengths.len())
        .map(|i| format!("{}.wav", lengths.len() - i))
        .collect();
    for (name, seconds) in names.iter().zip(lengths) {
        bench.wav(name, tone(seconds, 6_000.0, 0.5));
    }
    let mut arguments = vec!["read", "--format", "json"];
    arguments.extend(names.iter().map(String::as_str));
    let result = json(&bench.output(&arguments));
    let paths: Vec<_> = result
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["clip"]["path"].as_str().unwrap())
        .collect();
    assert_eq!(paths, names);
}

#[test]
fn a_folder_gives_a_list_and_the_worst_clip_decides() {
    let bench = Bench::new();
    bench
        .wav("clips/a.wav", tone(1.0, 6_000.0, 0.5))
        .file("clips/b.wav", b"no sound")
        .wav("clips/deep/c.wav", (0..RATE).map(|_| 0.0));
    let output = bench.output(&["read", "clips", "--format", "ndjson"]);
    assert_eq!(
        output.status.code(),
        Some(3),
        "unreadable is worse than no engine"
    );
    let lines: Vec<Value> = String::from_utf8(output.stdout)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let paths: Vec<_> = lines
        .iter()
        .map(|line| line["clip"]["path"].as_str().unwrap().replace('\\', "/"))
        .collect();
    assert_eq!(paths, ["clips/a.wav", "clips/deep/c.wav"]);
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(
        err.contains("error: clips/b.wav: this is a text file"),
        "{err}"
    );
    let only_broken = bench.output(&[
        "read",
        "clips/b.wav",
        "clips/missing.wav",
        "--format",
        "json",
    ]);
    assert_eq!(json(&only_broken), Value::Array(vec![]));
}

#[test]
fn a_closed_pipe_is_quiet() {
    let bench = Bench::new();
    bench.wav("a.wav", tone(3.0, 6_000.0, 0.5));
    for arguments in [
        &["read", "a.wav", "a.wav", "--format", "ndjson"][..],
        &["read", "a.wav", "--format", "csv"],
        &["read", "a.wav"],
        &["schema"],
        &["machine", "new"],
        &["man"],
        &["--help"],
    ] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let child = bench
            .command(arguments)
            .stdin(Stdio::null())
            .stdout(writer)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let output = child.wait_with_output().unwrap();
        assert_eq!(
            (output.status.code(), output.stderr.as_slice()),
            (Some(0), b"".as_slice()),
            "{arguments:?}"
        );
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_named() {
    let bench = Bench::new();
    let full = fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let output = bench.command(&["schema"]).stdout(full).output().unwrap();
    insta::assert_snapshot!(told(&output));
}
