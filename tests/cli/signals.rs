//! Test signals, expectations, and the shipped demonstration.
use std::fs;

use serde_json::Value;

use super::bench::{Bench, RATE, noise, told, wav, words};

#[test]
fn a_scene_gives_the_same_clip_each_time_and_its_truth() {
    let bench = Bench::new();
    let scene = bench.output(&["synth", "--drawn", "7", "--print"]);
    bench.file("scene.toml", &scene.stdout);
    for name in ["one.wav", "two.wav"] {
        insta::assert_snapshot!(
            "synth_writes",
            bench
                .run(&["synth", "scene.toml", "-o", name])
                .replace(name, "NAME.wav")
                .replace(&name.replace("wav", "truth.json"), "NAME.truth.json")
        );
    }
    assert_eq!(
        fs::read(bench.path("one.wav")).unwrap(),
        fs::read(bench.path("two.wav")).unwrap()
    );
    let truth: Value =
        serde_json::from_slice(&fs::read(bench.path("one.truth.json")).unwrap()).unwrap();
    assert_eq!(truth["synthetic"], true);
    assert_eq!(truth["engine"], true);
}

#[test]
fn a_clip_that_cannot_be_written_is_named() {
    let bench = Bench::new();
    insta::assert_snapshot!(bench.run(&["synth", "--drawn", "7", "-o", "no/such/folder/clip.wav"]));
}

#[test]
fn what_differs_from_the_expectation_is_named_and_ends_with_one() {
    let bench = Bench::new();
    bench.file(
        "noise.wav",
        &wav(noise(3 * RATE as usize)
            .into_iter()
            .map(|b| (f32::from(b) - 128.0) / 400.0)),
    );
    bench.file("none.toml", b"engine = false\nreadable = [0.0, 0.01]\n");
    bench.file(
        "some.toml",
        b"engine = true\n[[stretch]]\nfrom_s = 0.5\nto_s = 2.5\nrpm = [5900, 6100]\n",
    );
    insta::assert_snapshot!(
        "check_as_expected",
        bench.run(&["check", "noise.wav", "--expect", "none.toml"])
    );
    insta::assert_snapshot!(
        "check_differs",
        words(&bench.run(&["check", "noise.wav", "--expect", "some.toml"]))
    );
}

/// A clip of the shipped demonstration: invented, with a truth that the synthesizer wrote beside it.
fn demo(name: &str) -> String {
    format!("{}/fixtures/demo/{name}", env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn the_demonstration_reads_as_its_truth_says() {
    for name in ["trimmer-rich", "trimmer-clean"] {
        let (clip, truth) = (
            demo(&format!("{name}.wav")),
            demo(&format!("{name}.truth.json")),
        );
        let told = Bench::new().run(&["check", &clip, "--truth", &truth, "--within", "1"]);
        assert!(
            told.starts_with("code: 0\n") && told.contains("as expected\n"),
            "{told}"
        );
        // The same truth beside another clip differs, so that the comparison can fail.
        let other = demo("cutter-fast-idle.wav");
        let told = Bench::new().run(&["check", &other, "--truth", &truth]);
        assert!(
            told.starts_with("code: 1\n") && told.contains("not as expected\n"),
            "{told}"
        );
    }
}

#[test]
fn the_demonstration_tells_the_technician_what_to_do() {
    let read = |clip: &str, machine: &str| {
        let told = Bench::new().run(&["read", &demo(clip), "--machine", &demo(machine)]);
        assert!(
            told.starts_with("code: 0\n") && told.ends_with("--- err\n"),
            "{told}"
        );
        told.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let rich = read("trimmer-rich.wav", "trimmer.toml");
    for part in [
        "Heard an engine for ",
        "four-stroking",
        "1. Turn the high-speed screw an eighth of a turn in (clockwise)",
        "then listen for: ",
        "never: ",
        "Cautions",
    ] {
        assert!(rich.contains(part), "{part}: {rich}");
    }
    let clean = read("trimmer-clean.wav", "trimmer.toml");
    assert!(
        clean.contains("Turn the high-speed screw an eighth of a turn out (counter-clockwise)"),
        "{clean}"
    );
    assert!(!clean.contains("in (clockwise)"), "{clean}");
    let fast = read("cutter-fast-idle.wav", "cutter.toml");
    assert!(fast.contains("DANGER: Idle "), "{fast}");
}

#[test]
fn without_an_engine_the_code_says_so_in_every_format() {
    let bench = Bench::new();
    bench.file(
        "noise.wav",
        &wav(noise(3 * RATE as usize)
            .into_iter()
            .map(|b| (f32::from(b) - 128.0) / 400.0)),
    );
    for format in ["text", "json", "ndjson", "csv"] {
        let output = bench.output(&["read", "noise.wav", "--format", format]);
        let told = told(&output);
        assert_eq!(output.status.code(), Some(4), "{told}");
        assert!(!output.stdout.is_empty(), "{told}");
        assert_eq!(output.stderr.is_empty(), format == "text", "{told}");
        assert!(
            told.contains("No engine heard: ") || told.contains("nothing is audible as an engine"),
            "{told}"
        );
    }
}
