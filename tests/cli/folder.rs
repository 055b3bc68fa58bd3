//! Folders of clips: a line for each, machines together, what is new since the last run.
use std::fs::{self, File};
use std::io::Cursor;
use std::path::Path;
use std::process::Output;
use std::time::{Duration, SystemTime};

use hound::{WavReader, WavWriter};
use serde_json::Value;

use super::bench::{Bench, json, told};

/// Part of a clip of the shipped demonstration, which the library's own synthesizer made.
pub fn part(name: &str, from_s: f64, to_s: f64) -> Vec<u8> {
    let path = format!("{}/fixtures/demo/{name}.wav", env!("CARGO_MANIFEST_DIR"));
    let mut clip = WavReader::open(path).unwrap();
    let spec = clip.spec();
    let at = |s: f64| (s * f64::from(spec.sample_rate)) as u32;
    clip.seek(at(from_s)).unwrap();
    let mut bytes = Cursor::new(vec![]);
    let mut out = WavWriter::new(&mut bytes, spec).unwrap();
    for sample in clip.samples::<i16>().take((at(to_s) - at(from_s)) as usize) {
        out.write_sample(sample.unwrap()).unwrap();
    }
    out.finalize().unwrap();
    bytes.into_inner()
}

/// Idle, then full throttle four-stroking.
pub fn rich() -> Vec<u8> {
    part("trimmer-rich", 1.0, 5.0)
}

fn demo(name: &str) -> Vec<u8> {
    fs::read(format!(
        "{}/fixtures/demo/{name}",
        env!("CARGO_MANIFEST_DIR")
    ))
    .unwrap()
}

/// Invented, with a maximum below what the shipped saw is heard to reach.
const SAW: &[u8] = b"name = \"saw 9\"\n[speeds]\nfull_throttle = [10000, 11500]\n";

/// Three machines: one with a profile, one that only its folder names, and one below a profile.
fn shop() -> Bench {
    let bench = Bench::new();
    bench
        .file("clips/north/machine.toml", &demo("trimmer.toml"))
        .file("clips/north/a.wav", &rich())
        .file("clips/north/b.wav", &demo("trimmer-clean.wav"))
        .file("clips/old one/a.wav", &rich())
        .file("clips/saws/machine.toml", SAW)
        .file("clips/saws/deep/limited.wav", &demo("saw-limiter.wav"));
    bench
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn lines(bytes: &[u8]) -> Vec<Value> {
    let text = std::str::from_utf8(bytes).unwrap();
    assert!(text.is_empty() || text.ends_with('\n'), "a torn line");
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn paths(bytes: &[u8]) -> Vec<String> {
    lines(bytes)
        .iter()
        .map(|line| line["clip"]["path"].as_str().unwrap().replace('\\', "/"))
        .collect()
}

/// A name in a profile, as the shipped files have it.
fn name(profile: &str) -> String {
    let text = String::from_utf8(demo(profile)).unwrap();
    let table: toml::Table = text.parse().unwrap();
    table["name"].as_str().unwrap().to_owned()
}

#[test]
fn a_text_has_a_line_for_each_clip_then_each_machine_the_worst_first() {
    let bench = shop();
    let output = bench.output(&["read", "clips"]);
    let text = String::from_utf8(output.stdout.clone()).unwrap();
    let at = |words: &str| {
        text.find(words)
            .unwrap_or_else(|| panic!("{words}: {text}"))
    };
    let order = [
        "clips/north/a.wav",
        "clips/north/b.wav",
        "clips/old one/a.wav",
        "clips/saws/deep/limited.wav",
        "\n4 clips; a speed is readable in ",
        "machine, worst first",
        "\n  saw 9 ",
        &format!("\n  {} ", name("trimmer.toml")),
        "\n  old one ",
        "\nCautions\n",
    ];
    assert!(
        order.windows(2).all(|two| at(two[0]) < at(two[1])),
        "{text}"
    );
    assert_eq!(told(&output).matches("Cautions").count(), 1);
    assert_eq!(err(&output), "");
    // The same into a file.
    bench.output(&["read", "clips", "-o", "out.txt"]);
    assert_eq!(fs::read(bench.path("out.txt")).unwrap(), output.stdout);
    // A profile on the command line stands for all of them, and all go by its name.
    bench.file("other.toml", b"name = \"every one\"\n");
    let all = bench.run(&["read", "clips", "--machine", "other.toml"]);
    assert!(all.contains("\n  every one "), "{all}");
    assert!(!all.contains("\n  old one "), "{all}");
}

#[test]
fn the_summary_is_what_the_results_say_together() {
    let bench = shop();
    bench
        .file("clips/old one/b.wav", &part("trimmer-rich", 1.0, 4.0))
        .file("clips/old one/broken.wav", b"no sound");
    let output = bench.output(&["read", "clips", "-f", "ndjson", "--summary", "sum.json"]);
    assert_eq!(output.status.code(), Some(3));
    let summary: Value =
        serde_json::from_slice(&fs::read(bench.path("sum.json")).unwrap()).unwrap();
    let schema = fs::read(format!(
        "{}/docs/summary.schema.json",
        env!("CARGO_MANIFEST_DIR")
    ));
    let schema: Value = serde_json::from_slice(&schema.unwrap()).unwrap();
    assert!(
        jsonschema::validator_for(&schema)
            .unwrap()
            .is_valid(&summary)
    );
    let results = lines(&output.stdout);
    assert_eq!(summary["clips"], 6);
    assert_eq!(summary["broken"], 1);
    let sum = |key: &str| -> f64 { results.iter().map(|r| r[key].as_f64().unwrap()).sum() };
    let near = |value: &Value, wanted: f64| {
        let value = value.as_f64().unwrap();
        assert!((value - wanted).abs() < 0.001 * wanted, "{value} {wanted}");
    };
    near(&summary["heard_s"], sum("heard_s"));
    near(
        &summary["readable_share"],
        sum("readable_s") / sum("heard_s"),
    );
    let machines = summary["machines"].as_array().unwrap();
    let worst: Vec<_> = machines
        .iter()
        .map(|m| (m["machine"].as_str().unwrap(), m["worst"].as_str().unwrap()))
        .collect();
    assert_eq!(worst[0], ("saw 9", "over-maximum"));
    assert_eq!(worst[1], (name("trimmer.toml").as_str(), "no-burble"));
    assert_eq!((worst[2].0, worst.len()), ("old one", 3));
    // The saw is over its maximum by its own result.
    let limited = results.last().unwrap();
    assert_eq!(limited["advice"]["dangers"][0]["id"], "over-maximum");
    assert_eq!(machines[0]["worst_clip"], limited["clip"]["path"]);
    // The median of two is their mean.
    let old: Vec<f64> = results
        .iter()
        .filter(|r| r["clip"]["path"].as_str().unwrap().contains("old one"))
        .map(|r| r["full_throttle"]["rpm"].as_f64().unwrap())
        .collect();
    let full = &machines[2]["full_throttle"];
    assert_eq!((old.len(), &full["clips"]), (2, &Value::from(2)));
    near(&full["median_rpm"], (old[0] + old[1]) / 2.0);
    near(&full["low_rpm"], old[0].min(old[1]));
    near(&full["high_rpm"], old[0].max(old[1]));
    assert_eq!(machines[2]["broken"], 1);
    let named = summary["cannot_be_read"][0].as_str().unwrap();
    assert!(named.starts_with("clips/old one/broken.wav: this is a text file"));
}

#[test]
fn one_bad_file_does_not_stop_the_rest_and_is_named_once_more_at_the_end() {
    let bench = Bench::new();
    let whole = rich();
    for i in 0..6 {
        bench.file(&format!("clips/{i}.wav"), &whole);
    }
    bench
        .file("clips/2a.wav", b"this is no sound")
        .file("clips/2b.wav", &whole[..30])
        .file("clips/2c.wav", &whole[..whole.len() / 2])
        .file("clips/2d.m4a", &[0x9a; 4_000]);
    fs::create_dir(bench.path("clips/2e.wav")).unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink("nowhere.wav", bench.path("clips/2f.wav")).unwrap();
    for output in ["-", "out.ndjson"] {
        let run = bench.output(&["read", "clips", "-f", "ndjson", "-o", output]);
        assert_eq!(run.status.code(), Some(3));
        let results = match output {
            "-" => run.stdout.clone(),
            file => fs::read(bench.path(file)).unwrap(),
        };
        let names = ["0", "1", "2", "2c", "3", "4", "5"].map(|n| format!("clips/{n}.wav"));
        assert_eq!(paths(&results), names);
        let err = err(&run);
        let (met, end) = err.split_once(" cannot be read:\n").unwrap();
        let mut bad = vec!["clips/2a.wav: ", "clips/2b.wav: ", "clips/2d.m4a: "];
        if cfg!(unix) {
            bad.push("clips/2f.wav: ");
        }
        for clip in &bad {
            assert!(met.contains(&format!("error: {clip}")), "{err}");
            assert_eq!(end.matches(&format!("  {clip}")).count(), 1, "{err}");
        }
        assert_eq!(end.lines().count(), bad.len(), "{err}");
    }
}

#[test]
fn a_wrong_profile_stops_its_folder_only() {
    let bench = shop();
    bench.file("clips/north/machine.toml", b"cylinders = 9\n");
    let run = bench.output(&["read", "clips", "-f", "ndjson"]);
    assert_eq!(run.status.code(), Some(2), "{}", told(&run));
    assert_eq!(
        paths(&run.stdout),
        ["clips/old one/a.wav", "clips/saws/deep/limited.wav"]
    );
    assert_eq!(
        err(&run)
            .matches("error: clips/north/machine.toml: ")
            .count(),
        1
    );
}

/// What a run into a new file gives.
fn fresh(bench: &Bench, format: &str) -> Vec<u8> {
    bench.output(&["read", "clips", "-f", format, "-o", "fresh"]);
    let bytes = fs::read(bench.path("fresh")).unwrap();
    fs::remove_file(bench.path("fresh")).unwrap();
    fs::remove_file(bench.path("fresh.ledger")).unwrap();
    bytes
}

/// Times that are old enough to be trusted, as nearly all are.
fn age(path: &Path) {
    let old = SystemTime::now() - Duration::from_secs(100_000);
    File::options()
        .write(true)
        .open(path)
        .unwrap()
        .set_modified(old)
        .unwrap();
}

#[test]
fn since_last_reads_what_is_new_or_changed_and_leaves_what_a_new_run_would_give() {
    for format in ["ndjson", "csv", "json", "text"] {
        let bench = shop();
        let since = ["read", "clips", "-f", format, "-o", "out", "--since-last"];
        let first = bench.output(&since);
        assert!(
            err(&first).starts_with("note: no earlier run is known"),
            "{}",
            told(&first)
        );
        let before = fs::read(bench.path("out")).unwrap();
        assert_eq!(before, fresh(&bench, format));
        let again = bench.output(&since);
        let says = |output: &Output, words: &str| {
            assert!(
                err(output).contains(words),
                "{format} {words}: {}",
                told(output)
            );
        };
        says(&again, "note: 0 of 4 clips are new");
        assert_eq!(fs::read(bench.path("out")).unwrap(), before);
        assert_eq!(again.status, first.status);
        // New in the middle, changed, gone, and touched without a change.
        bench
            .file("clips/north/aa.wav", &part("trimmer-rich", 2.0, 5.0))
            .file("clips/old one/a.wav", &part("trimmer-rich", 1.5, 5.5));
        fs::remove_file(bench.path("clips/saws/deep/limited.wav")).unwrap();
        bench.file("clips/saws/other.wav", &rich());
        age(&bench.path("clips/north/b.wav"));
        let third = bench.output(&since);
        says(&third, "note: 3 of 5 clips are new");
        says(
            &third,
            "1 clip is gone since the last run: clips/saws/deep/limited.wav",
        );
        assert_eq!(fs::read(bench.path("out")).unwrap(), fresh(&bench, format));
        assert!(!bench.path("out.part").exists() && !bench.path("out.new").exists());
    }
}

#[test]
fn a_change_behind_the_same_size_and_time_is_noticed() {
    let bench = Bench::new();
    let (a, b) = (
        part("trimmer-rich", 1.0, 4.0),
        part("trimmer-clean", 1.0, 4.0),
    );
    assert_eq!(a.len(), b.len());
    let clip = bench.path("clips/a.wav");
    bench.file("clips/a.wav", &a);
    let time = SystemTime::now() - Duration::from_secs(100_000);
    let set = || {
        let file = File::options().write(true).open(&clip).unwrap();
        file.set_modified(time).unwrap();
    };
    set();
    let since = ["read", "clips", "-f", "ndjson", "--since-last"];
    assert_eq!(lines(&bench.output(&since).stdout).len(), 1);
    assert_eq!(lines(&bench.output(&since).stdout).len(), 0);
    fs::write(&clip, &b).unwrap();
    set();
    let third = bench.output(&since);
    assert_eq!(lines(&third.stdout).len(), 1, "{}", told(&third));
    // Rewritten with the same bytes: nothing to read.
    fs::write(&clip, &b).unwrap();
    assert_eq!(lines(&bench.output(&since).stdout).len(), 0);
}

#[test]
fn printed_results_are_only_the_new_ones_and_the_summary_is_of_all() {
    let bench = shop();
    let since = |bench: &Bench| {
        bench.output(&[
            "read",
            "clips",
            "-f",
            "json",
            "--since-last",
            "--summary",
            "sum.json",
        ])
    };
    assert_eq!(json(&since(&bench)).as_array().unwrap().len(), 4);
    let first = fs::read(bench.path("sum.json")).unwrap();
    let second = since(&bench);
    assert_eq!(json(&second), Value::Array(vec![]));
    assert_eq!(fs::read(bench.path("sum.json")).unwrap(), first);
    assert_eq!(second.status.code(), Some(0));
    bench.file("clips/new.wav", b"no sound");
    for _twice in 0..2 {
        // What cannot be read is tried again each time.
        let third = since(&bench);
        assert_eq!(
            (json(&third), third.status.code()),
            (Value::Array(vec![]), Some(3))
        );
        assert!(err(&third).contains("clips/new.wav: this is a text file"));
        let summary = fs::read(bench.path("sum.json")).unwrap();
        let summary: Value = serde_json::from_slice(&summary).unwrap();
        assert_eq!(
            (&summary["clips"], &summary["broken"]),
            (&5.into(), &1.into())
        );
    }
    // However the folder is called, its ledger knows the clips.
    fs::remove_file(bench.path("clips/new.wav")).unwrap();
    let whole = bench.path("clips");
    let other = bench.output(&[
        "read",
        whole.to_str().unwrap(),
        "-f",
        "json",
        "--since-last",
    ]);
    assert_eq!(json(&other), Value::Array(vec![]));
}

#[test]
fn a_changed_profile_reads_the_clips_of_its_machine_again() {
    let bench = shop();
    let since = ["read", "clips", "-f", "ndjson", "-o", "out", "--since-last"];
    bench.output(&since);
    bench.file("clips/north/machine.toml", &demo("cutter.toml"));
    let run = bench.output(&since);
    assert!(
        err(&run).contains("note: 2 of 4 clips are new"),
        "{}",
        told(&run)
    );
    assert_eq!(
        fs::read(bench.path("out")).unwrap(),
        fresh(&bench, "ndjson")
    );
    // A flag is part of what is known of every machine.
    let mut flagged = since.to_vec();
    flagged.extend(["--cycle", "four-stroke"]);
    assert!(err(&bench.output(&flagged)).contains("note: 4 of 4 clips are new"));
}

#[test]
fn another_program_format_or_file_reads_everything_again() {
    let bench = shop();
    let since = |format| ["read", "clips", "-f", format, "-o", "out", "--since-last"];
    bench.output(&since("ndjson"));
    let ledger = rusqlite::Connection::open(bench.path("out.ledger")).unwrap();
    ledger
        .execute("UPDATE run SET program = '0.0.1'", [])
        .unwrap();
    drop(ledger);
    let wanted = fresh(&bench, "ndjson");
    let check = |words: &str, output: Output| {
        assert!(err(&output).contains(words), "{}", told(&output));
    };
    check(
        "another version of the program",
        bench.output(&since("ndjson")),
    );
    assert_eq!(fs::read(bench.path("out")).unwrap(), wanted);
    fs::write(bench.path("out"), b"somebody's own words\n").unwrap();
    check(
        "not as the last run left it",
        bench.output(&since("ndjson")),
    );
    assert_eq!(fs::read(bench.path("out")).unwrap(), wanted);
    fs::remove_file(bench.path("out")).unwrap();
    check(
        "not as the last run left it",
        bench.output(&since("ndjson")),
    );
    assert_eq!(fs::read(bench.path("out")).unwrap(), wanted);
    check("another format", bench.output(&since("csv")));
    assert_eq!(fs::read(bench.path("out")).unwrap(), fresh(&bench, "csv"));
}

#[test]
fn a_folder_that_is_not_there_today_does_not_empty_the_results() {
    let bench = shop();
    let since = ["read", "clips", "-f", "ndjson", "-o", "out", "--since-last"];
    bench.output(&since);
    let before = fs::read(bench.path("out")).unwrap();
    fs::rename(bench.path("clips"), bench.path("away")).unwrap();
    fs::create_dir(bench.path("clips")).unwrap();
    let run = bench.output(&since);
    assert_eq!(run.status.code(), Some(3));
    assert!(err(&run).starts_with("error: clips: no clips in this folder"));
    assert_eq!(fs::read(bench.path("out")).unwrap(), before);
    fs::remove_dir(bench.path("clips")).unwrap();
    fs::rename(bench.path("away"), bench.path("clips")).unwrap();
    let run = bench.output(&since);
    assert!(
        err(&run).contains("note: 0 of 4 clips are new"),
        "{}",
        told(&run)
    );
}

#[test]
fn a_ledger_that_cannot_be_used_is_one_line_and_is_left_alone() {
    let bench = shop();
    let since = ["read", "clips", "-f", "ndjson", "-o", "out", "--since-last"];
    bench.output(&since);
    let (good, results) = (
        fs::read(bench.path("out.ledger")).unwrap(),
        fs::read(bench.path("out")).unwrap(),
    );
    let mut torn = good.clone();
    torn[4_096..].iter_mut().for_each(|byte| *byte ^= 0x5a);
    let newer = || {
        fs::write(bench.path("out.ledger"), &good).unwrap();
        let ledger = rusqlite::Connection::open(bench.path("out.ledger")).unwrap();
        ledger.pragma_update(None, "user_version", 9).unwrap();
        drop(ledger);
        fs::read(bench.path("out.ledger")).unwrap()
    };
    for (bytes, words) in [
        (torn, "error: the ledger `out.ledger` is damaged: "),
        (good[..5_000].to_vec(), "error: the ledger `out.ledger` is damaged: "),
        (b"a letter to my aunt, which is long enough to be read as a head of a file, and longer still, so that it is not taken for a short one".to_vec(),
         "error: `out.ledger` is no ledger of this program"),
        (newer(), "error: the ledger `out.ledger` has version 9; this program knows versions up to 1"),
    ] {
        fs::write(bench.path("out.ledger"), &bytes).unwrap();
        let run = bench.output(&since);
        let err = err(&run);
        assert_eq!(run.status.code(), Some(3), "{err}");
        assert!(err.starts_with(words), "{err}");
        assert_eq!(err.lines().count(), 2, "{err}");
        assert!(err.lines().nth(1).unwrap().starts_with("hint: "), "{err}");
        assert_eq!(fs::read(bench.path("out.ledger")).unwrap(), bytes);
        assert_eq!(fs::read(bench.path("out")).unwrap(), results);
    }
}

#[test]
fn what_is_for_folders_only_says_so() {
    let bench = shop();
    for (arguments, words) in [
        (
            &["read", "clips/north/a.wav", "--since-last"][..],
            "--since-last is for folders",
        ),
        (
            &["read", "clips/north/a.wav", "--summary", "x"],
            "--summary is for folders",
        ),
        (
            &["read", "clips/north", "clips/saws", "--since-last"],
            "--since-last takes one folder",
        ),
    ] {
        let told = bench.run(arguments);
        assert!(
            told.starts_with("code: 2\n") && told.contains(words),
            "{told}"
        );
    }
}
