//! The real program from outside: exit code, standard output and standard error in one snapshot.
//! Snapshots hold words; where a text carries figures that we measured, they are replaced by `#`.
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use hound::{SampleFormat, WavSpec, WavWriter};
use serde_json::Value;
use tempfile::TempDir;

const RATE: u32 = 16_000;

/// A folder of its own for each test, in which the program runs.
struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new() -> Bench {
        Bench {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn file(&self, name: &str, bytes: &[u8]) -> &Self {
        fs::create_dir_all(self.path(name).parent().unwrap()).unwrap();
        fs::write(self.path(name), bytes).unwrap();
        self
    }

    fn wav(&self, name: &str, samples: impl IntoIterator<Item = f32>) -> &Self {
        let bytes = wav(samples);
        self.file(name, &bytes)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_engine-note"));
        command.args(arguments).current_dir(self.folder.path());
        for variable in [
            "COLUMNS",
            "LANG",
            "LC_ALL",
            "LC_CTYPE",
            "CLICOLOR_FORCE",
            "RUST_BACKTRACE",
        ] {
            command.env_remove(variable);
        }
        command
    }

    fn output(&self, arguments: &[&str]) -> Output {
        self.command(arguments)
            .stdin(Stdio::null())
            .output()
            .unwrap()
    }

    fn output_with_input(&self, arguments: &[&str], input: &[u8]) -> Output {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let input = input.to_vec();
        let feed = std::thread::spawn(move || stdin.write_all(&input));
        let output = child.wait_with_output().unwrap();
        // The program may end before it has read everything.
        let _ = feed.join().unwrap();
        output
    }

    fn run(&self, arguments: &[&str]) -> String {
        told(&self.output(arguments))
    }
}

/// Code, standard output and standard error as one text.
fn told(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    format!(
        "code: {}\n--- out\n{}--- err\n{}",
        output.status.code().unwrap(),
        text(&output.stdout),
        text(&output.stderr)
    )
}

/// A 16-bit WAV, one channel, 16 kHz.
fn wav(samples: impl IntoIterator<Item = f32>) -> Vec<u8> {
    let spec = WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut bytes = std::io::Cursor::new(vec![]);
    let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
    for sample in samples {
        writer.write_sample((sample * 32_767.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

/// A harmonic tone at a crank speed, so many seconds long: no engine needed for what is tested here.
fn tone(seconds: f64, rpm: f64, peak: f32) -> impl Iterator<Item = f32> {
    (0..(seconds * f64::from(RATE)) as usize).map(move |i| {
        let turn = i as f64 / f64::from(RATE) * rpm / 60.0 * std::f64::consts::TAU;
        (1..=6)
            .map(|order| (turn * f64::from(order)).sin() as f32 / order as f32)
            .sum::<f32>()
            * peak
            / 2.0
    })
}

/// Figures replaced, so that only words are left.
fn words(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '0'..='9' if out.ends_with('#') => {}
            '0'..='9' => out.push('#'),
            '.' | ',' if out.ends_with('#') => out.push('\u{0}'),
            other => out.push(other),
        }
        // "#<sep>#" is one figure.
        if out.ends_with("\u{0}#") {
            out.truncate(out.len() - 2);
        }
    }
    out.replace('\u{0}', ".")
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {}", told(output)))
}

// Help.

macro_rules! helps {
    ($($test:ident: $arguments:expr;)*) => { $(
        #[test]
        fn $test() {
            insta::assert_snapshot!(Bench::new().run($arguments));
        }
    )* };
}

helps! {
    help: &["--help"];
    help_read: &["read", "--help"];
    help_synth: &["synth", "--help"];
    help_check: &["check", "--help"];
    help_machine: &["machine", "--help"];
    help_machine_new: &["machine", "new", "--help"];
    help_machine_show: &["machine", "show", "--help"];
    help_machine_check: &["machine", "check", "--help"];
    help_schema: &["schema", "--help"];
    help_completions: &["completions", "--help"];
    help_man: &["man", "--help"];
}

#[test]
fn version_is_that_of_the_crate() {
    let expected = format!(
        "code: 0\n--- out\nengine-note {}\n--- err\n",
        env!("CARGO_PKG_VERSION")
    );
    assert_eq!(Bench::new().run(&["--version"]), expected);
}

#[test]
fn every_help_has_an_example_where_there_is_something_to_give() {
    let commands: [&[&str]; 8] = [
        &["read"],
        &["synth"],
        &["check"],
        &["machine", "new"],
        &["machine", "show"],
        &["machine", "check"],
        &["completions"],
        &["man"],
    ];
    for command in commands {
        let mut arguments = command.to_vec();
        arguments.push("--help");
        let help = Bench::new().run(&arguments);
        assert!(
            help.contains("Example") && help.contains("  engine-note "),
            "{command:?}\n{help}"
        );
    }
}

// Usage: code 2.

macro_rules! refusals {
    ($($test:ident: $arguments:expr;)*) => { $(
        #[test]
        fn $test() {
            let bench = Bench::new();
            bench.file("empty.toml", b"").wav("a.wav", tone(1.0, 6_000.0, 0.5));
            let output = bench.output($arguments);
            assert_eq!(output.status.code(), Some(2), "{}", told(&output));
            assert!(output.stdout.is_empty());
            insta::assert_snapshot!(told(&output));
        }
    )* };
}

refusals! {
    usage_nothing_given: &[];
    usage_unknown_command: &["listen"];
    usage_read_without_clip: &["read"];
    usage_unknown_format: &["read", "a.wav", "--format", "xml"];
    usage_five_cylinders: &["read", "a.wav", "--cylinders", "5"];
    usage_speed_range_backwards: &["read", "a.wav", "--speed-range", "9000:1000"];
    usage_speed_range_too_wide: &["read", "a.wav", "--speed-range", "1:1000000"];
    usage_raw_that_is_none: &["read", "-", "--raw", "mp3:48000:1"];
    usage_raw_rate: &["read", "-", "--raw", "s16le:4000:1"];
    usage_raw_for_a_file: &["read", "a.wav", "--raw", "s16le:48000:1"];
    usage_standard_input_twice: &["read", "-", "-"];
    usage_machine_missing: &["read", "a.wav", "--machine", "missing.toml"];
    usage_scene_missing: &["synth", "missing.toml", "-o", "out.wav"];
    usage_expectation_empty: &["check", "a.wav", "--expect", "empty.toml"];
    usage_man_of_no_command: &["man", "listen"];
    usage_profile_contradicts_itself: &["machine", "new", "--idle", "2700:3000", "--clutch-in", "2500"];
}

#[test]
fn a_wrong_profile_is_named_with_its_line_and_key() {
    let bench = Bench::new();
    bench.wav("a.wav", tone(1.0, 6_000.0, 0.5));
    bench.file(
        "p.toml",
        b"name = \"mine\"\n\n[speeds]\nidel = [2700, 3000]\n",
    );
    insta::assert_snapshot!(bench.run(&["read", "a.wav", "--machine", "p.toml"]));
}

#[test]
fn a_wrong_scene_is_named_with_its_line() {
    let bench = Bench::new();
    bench.file("scene.toml", b"seconds = 3.0\nloudness = 3\n");
    insta::assert_snapshot!(bench.run(&["synth", "scene.toml", "-o", "out.wav"]));
    assert!(!bench.path("out.wav").exists());
}

// Clips that cannot be read: code 3, one line, one hint.

/// The head of a WAV with 16 bits, then `data`; `declared` is the length that the head claims.
fn headed(rate: u32, channels: u16, declared: u32, data: &[u8]) -> Vec<u8> {
    let mut out = b"RIFF".to_vec();
    out.extend((36 + declared).to_le_bytes());
    out.extend(b"WAVEfmt ");
    out.extend(16u32.to_le_bytes());
    out.extend(1u16.to_le_bytes());
    out.extend(channels.to_le_bytes());
    out.extend(rate.to_le_bytes());
    out.extend((rate * u32::from(channels) * 2).to_le_bytes());
    out.extend((channels * 2).to_le_bytes());
    out.extend(16u16.to_le_bytes());
    out.extend(b"data");
    out.extend(declared.to_le_bytes());
    out.extend(data);
    out
}

fn float_wav(samples: impl IntoIterator<Item = f32>) -> Vec<u8> {
    let spec = WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 32,
        sample_format: SampleFormat::Float,
    };
    let mut bytes = std::io::Cursor::new(vec![]);
    let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
    samples
        .into_iter()
        .for_each(|sample| writer.write_sample(sample).unwrap());
    writer.finalize().unwrap();
    bytes.into_inner()
}

/// Bytes without sense, the same each time.
fn noise(count: usize) -> Vec<u8> {
    let mut state = 1u64;
    (0..count)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 56) as u8
        })
        .collect()
}

macro_rules! broken {
    ($($test:ident: $name:expr, $bytes:expr;)*) => { $(
        #[test]
        fn $test() {
            let bench = Bench::new();
            bench.file($name, AsRef::<[u8]>::as_ref(&$bytes));
            for format in ["text", "json"] {
                let output = bench.output(&["read", $name, "--format", format]);
                let told = told(&output);
                assert_eq!(output.status.code(), Some(3), "{told}");
                assert!(output.stdout.is_empty(), "{told}");
                let err = String::from_utf8(output.stderr).unwrap();
                let starts: Vec<_> = err.lines().map(|l| l.split(' ').next().unwrap_or("")).collect();
                assert_eq!(starts, ["error:", "hint:"], "{told}");
                insta::assert_snapshot!(stringify!($test), told);
            }
        }
    )* };
}

broken! {
    broken_empty_file: "clip.wav", [0u8; 0];
    broken_text: "clip.wav", b"This is a letter, not a recording.\n".repeat(30);
    broken_noise: "clip.wav", noise(5_000);
    broken_amr: "voice note.amr", [b"#!AMR\n".as_slice(), &noise(2_000)].concat();
    broken_m4a_never_finished: "clip.m4a", [b"\0\0\0\x18ftypM4A \0\0\0\0M4A mp42\0\x01\0\0mdat".as_slice(), &noise(60_000)].concat();
    broken_no_samples: "clip.wav", headed(RATE, 1, 0, &[]);
    broken_rate_too_low: "clip.wav", headed(4_000, 1, 8_000, &noise(8_000));
    broken_rate_too_high: "clip.wav", headed(400_000, 1, 8_000, &noise(8_000));
    broken_too_many_channels: "clip.wav", headed(RATE, 9, 18_000, &noise(18_000));
    broken_too_short: "clip.wav", wav(tone(0.2, 6_000.0, 0.5));
    broken_not_a_number: "clip.wav", float_wav((0..RATE).map(|_| f32::NAN));
    broken_infinite: "clip.wav", float_wav((0..RATE).map(|_| f32::INFINITY));
}

#[test]
fn broken_missing_file() {
    insta::assert_snapshot!(Bench::new().run(&["read", "missing.wav"]));
}

#[test]
fn broken_folder_without_clips() {
    let bench = Bench::new();
    bench.file("notes/list.txt", b"nothing to hear");
    insta::assert_snapshot!(bench.run(&["read", "notes"]));
}

#[test]
fn all_zeros_is_heard_and_named() {
    let bench = Bench::new();
    bench.wav("clip.wav", (0..3 * RATE).map(|_| 0.0));
    let output = bench.output(&["read", "clip.wav", "--format", "json"]);
    assert_eq!(output.status.code(), Some(4));
    let result = json(&output);
    assert!(
        result["frames"]
            .as_array()
            .unwrap()
            .iter()
            .all(|frame| frame["rpm"].is_null())
    );
    insta::assert_snapshot!(words(&String::from_utf8(output.stderr).unwrap()));
}

// Clips that can be read, with something to say about them.

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

// Profiles.

#[test]
fn every_field_of_a_profile_is_a_flag() {
    let bench = Bench::new();
    let output = bench.output(&[
        "machine",
        "new",
        "--name",
        "the \"blue\" one",
        "--use",
        "brush blade",
        "--cycle",
        "two-stroke",
        "--cylinders",
        "1",
        "--carburetor",
        "barrel-valve",
        "--coil",
        "limited",
        "--idle",
        "2700:3000",
        "--clutch-in",
        "3900",
        "--full-throttle",
        "9500:12000",
        "--limiter",
        "12500",
        "--speed-range",
        "1500:15000",
        "--source",
        "maker",
        "--clutch-in-source",
        "measured",
        "--limiter-source",
        "heard last year",
    ]);
    bench.file("p.toml", &output.stdout);
    let profile: toml::Table = String::from_utf8(output.stdout).unwrap().parse().unwrap();
    let expected: toml::Table = "
        name = 'the \"blue\" one'
        use = 'brush blade'
        cycle = 'two-stroke'
        cylinders = 1
        carburetor = 'barrel-valve'
        coil = 'limited'
        [speeds]
        idle = [2700, 3000]
        clutch_in = 3900
        full_throttle = [9500, 12000]
        limiter = 12500
        search = [1500, 15000]
        [sources]
        idle = 'maker'
        clutch_in = 'measured'
        full_throttle = 'maker'
        limiter = 'heard last year'
    "
    .parse()
    .unwrap();
    assert_eq!(profile, expected);
    insta::assert_snapshot!("machine_show", bench.run(&["machine", "show", "p.toml"]));
    insta::assert_snapshot!(
        "machine_check_sound",
        bench.run(&["machine", "check", "p.toml"])
    );
}

#[test]
fn a_class_fills_in_what_is_usual_and_says_so() {
    let bench = Bench::new();
    let output = bench.output(&[
        "machine",
        "new",
        "--class",
        "trimmer",
        "--full-throttle",
        "9000:9500",
        "--source",
        "maker",
    ]);
    insta::assert_snapshot!(
        "machine_new_class",
        words(&String::from_utf8(output.stderr.clone()).unwrap())
    );
    bench.file("p.toml", &output.stdout);
    let told = bench.run(&["machine", "check", "p.toml"]);
    assert!(told.starts_with("code: 0\n"), "{told}");
    assert!(
        told.contains("common practice") && !told.contains("full_throttle is only typical"),
        "{told}"
    );
}

// Test signals and expectations.

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

#[test]
fn a_man_page_for_each_command() {
    let bench = Bench::new();
    for command in [
        "",
        "read",
        "synth",
        "check",
        "machine",
        "machine new",
        "machine show",
        "machine check",
        "schema",
        "completions",
        "man",
    ] {
        let arguments: Vec<&str> = std::iter::once("man")
            .chain(command.split_whitespace())
            .collect();
        let page = bench.run(&arguments);
        assert!(
            page.contains(".TH ") && page.contains(".SH SYNOPSIS"),
            "{command}: {page}"
        );
    }
}

#[test]
fn completions_name_the_commands() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = Bench::new().run(&["completions", shell]);
        assert!(
            script.starts_with("code: 0\n")
                && script.contains("synth")
                && script.contains("speed-range"),
            "{shell}"
        );
    }
}

#[test]
fn a_file_name_cannot_steer_the_terminal() {
    let name = "a\u{1b}[2Jb.wav";
    let output = Bench::new().output(&["read", name]);
    assert!(!output.stderr.contains(&0x1b), "{}", told(&output));
    assert!(Path::new(name).extension().is_some());
}
