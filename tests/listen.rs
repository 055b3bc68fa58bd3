//! `listen` without a microphone: clips that are played, streams, recordings, the screen. (With one:
//! `tests/microphone`.)
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::thread;

use engine_note::capture::{Clip, LevelFault, Meter};
use hound::WavReader;
use serde_json::Value;
use tempfile::TempDir;

fn clip(name: &str) -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo")).join(name)
}

fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_engine-note"));
    command
        .arg("listen")
        .args(arguments)
        .env_remove("LANG")
        .env_remove("LC_ALL");
    command.stdin(Stdio::null());
    command
}

fn listen(arguments: &[&str]) -> Output {
    command(arguments).output().unwrap()
}

fn events(output: &[u8]) -> Vec<Value> {
    let lines = output
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.is_empty());
    lines
        .map(|line| serde_json::from_slice(line).unwrap())
        .collect()
}

fn samples(path: &Path) -> Vec<f32> {
    let mut clip = Clip::from_path(path).unwrap();
    let (mut all, mut block) = (vec![], vec![]);
    while clip.next_block(&mut block).unwrap() {
        all.extend(&block);
    }
    all
}

#[test]
fn the_event_stream_has_a_start_and_a_reading_at_every_hop() {
    let path = clip("trimmer-set.wav");
    let path = path.to_str().unwrap();
    let output = listen(&["--from", path, "--no-pace", "--events", "ndjson"]);
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(output.stderr, b"");
    let events = events(&output.stdout);
    let schema: Value = serde_json::from_str(
        &fs::read_to_string(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/docs/events.schema.json"
        ))
        .unwrap(),
    )
    .unwrap();
    let schema = jsonschema::validator_for(&schema).unwrap();
    assert!(events.iter().all(|event| schema.is_valid(event)));
    assert_eq!(events[0]["event"], "start");
    let hop = events[0]["hop_s"].as_f64().unwrap();
    let seconds = WavReader::open(path).unwrap().duration() as f64 / 16_000.0;
    assert!(
        (events.len() as f64 - 1.0 - seconds / hop).abs() < 2.0,
        "{}",
        events.len()
    );
    for (n, event) in (0..).zip(&events[1..]) {
        assert_eq!(event["event"], "reading");
        assert!((event["t_s"].as_f64().unwrap() - hop * f64::from(n)).abs() < 1e-3);
    }
    // The truth beside the clip was written by whoever made it, every 10 ms.
    let truth = fs::read_to_string(clip("trimmer-set.truth.json")).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    // Whether an engine runs at all takes about a second to tell.
    let first = events[1..].iter().position(|event| !event["rpm"].is_null());
    let first = 1 + first.expect("a speed is heard");
    assert!(events[first]["t_s"].as_f64().unwrap() < 1.5);
    let (mut right, mut all) = (0, 0);
    for event in &events[first..] {
        let t = event["t_s"].as_f64().unwrap();
        let row = &truth["rows"][(t * 100.0) as usize];
        if row["steady"] == true {
            let rpm = event["rpm"].as_f64().unwrap_or(0.0);
            all += 1;
            right += u32::from((rpm / row["rpm"].as_f64().unwrap() - 1.0).abs() < 0.01);
        }
    }
    assert!(all > 200, "{all}");
    assert!(f64::from(right) > 0.95 * f64::from(all), "{right} of {all}");
}

#[test]
fn lines_come_at_their_time_and_seconds_end_it() {
    let path = clip("trimmer-set.wav");
    let path = path.to_str().unwrap();
    let output = listen(&[
        "--from",
        path,
        "--no-pace",
        "--plain",
        "--every",
        "0.5",
        "--seconds",
        "4",
    ]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(text.lines().count(), 8, "{text}");
    assert!(text.lines().all(|line| line.contains(" rpm ")), "{text}");
    assert_eq!(output.status.code(), Some(0));
    // A pipe gets lines without being asked.
    let output = listen(&["--from", path, "--no-pace", "--seconds", "2"]);
    assert_eq!(String::from_utf8(output.stdout).unwrap().lines().count(), 2);
}

#[test]
fn a_stream_and_raw_samples_give_the_same_as_the_file() {
    let path = clip("trimmer-clean.wav");
    let from_file = listen(&[
        "--from",
        path.to_str().unwrap(),
        "--no-pace",
        "--events",
        "ndjson",
    ])
    .stdout;
    let wav = fs::read(&path).unwrap();
    let raw = &wav[44..];
    for (arguments, bytes) in [
        (&["--from", "-"][..], &wav[..]),
        (&["--from", "-", "--raw", "s16le:16000:1"], raw),
    ] {
        let all = [arguments, &["--no-pace", "--events", "ndjson"]].concat();
        let mut child = command(&all)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let bytes = bytes.to_vec();
        let writer = thread::spawn(move || stdin.write_all(&bytes));
        let output = child.wait_with_output().unwrap();
        writer.join().unwrap().unwrap();
        assert!(output.stdout == from_file, "{arguments:?}");
    }
}

#[test]
fn what_cannot_be_is_said_in_two_lines() {
    let folder = TempDir::new().unwrap();
    let text = folder.path().join("text.wav");
    fs::write(&text, "no sound").unwrap();
    let text = text.to_str().unwrap();
    let good = clip("trimmer-set.wav");
    let good = good.to_str().unwrap();
    for (arguments, code, words) in [
        (
            &["--from", "missing.wav"][..],
            3,
            "missing.wav: there is no such file",
        ),
        (
            &["--from", text],
            3,
            "text.wav: this is a text file, not a recording",
        ),
        (
            &["--from", good, "--raw", "s16le:48000:1"],
            2,
            "--raw is for standard input only",
        ),
        (
            &["--from", "-", "--raw", "mp3"],
            2,
            "`mp3` is not a raw sample format",
        ),
        (
            &["--from", good, "--record", "kept.mp3"],
            2,
            "--record kept.mp3: no kind that is written",
        ),
        (
            &["--from", good, "--record", good],
            2,
            "--record names the recording that is heard",
        ),
        (
            &["--from", good, "--record", "no/such/kept.wav"],
            3,
            "cannot write `no/such/kept.wav`",
        ),
    ] {
        let output = listen(&[&["--no-pace"], arguments].concat());
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains(words) && said.contains("\nhint: "), "{said}");
        assert_eq!(
            (said.lines().count(), output.status.code()),
            (2, Some(code)),
            "{said}"
        );
        assert_eq!(output.stdout, b"");
    }
}

#[cfg(not(feature = "mic"))]
#[test]
fn a_build_without_the_microphone_says_how_to_get_it() {
    for arguments in [&[][..], &["--list-mics"], &["--mic", "x", "--plain"]] {
        let output = listen(arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(
            said.contains("this build has no microphone\nhint: install it with"),
            "{said}"
        );
        assert!(said.contains("--features mic"), "{said}");
        assert_eq!((said.lines().count(), output.status.code()), (2, Some(3)));
    }
}

/// The recording of a run that was killed when it had read up to a moment.
fn killed(folder: &Path, name: &str, at: f64) -> PathBuf {
    let path = folder.join(name);
    let clip = clip("trimmer-set.wav");
    let mut child = command(&["--events", "ndjson", "--from"])
        .arg(clip)
        .arg("--record")
        .arg(&path)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        let event: Value = serde_json::from_str(&line.unwrap()).unwrap();
        if event["t_s"].as_f64().is_some_and(|t| t >= at) {
            break;
        }
    }
    // On Unix this is signal 9: nothing in the program can answer it.
    child.kill().unwrap();
    child.wait().unwrap();
    path
}

#[test]
fn a_kill_at_any_moment_leaves_a_recording_that_plays() {
    let folder = TempDir::new().unwrap();
    let whole = samples(&clip("trimmer-set.wav"));
    let moments: Vec<f64> = (0..24).map(|n| 0.02 + 0.117 * f64::from(n)).collect();
    thread::scope(|scope| {
        for (part, moments) in moments.chunks(4).enumerate() {
            let (folder, whole) = (folder.path(), &whole);
            scope.spawn(move || {
                for (n, &at) in moments.iter().enumerate() {
                    let kind = if n % 2 == 0 { "wav" } else { "flac" };
                    let path = killed(folder, &format!("{part}-{n}.{kind}"), at);
                    // The sound up to a second before the kill has to be there; less is no recording.
                    let least = ((at - 0.5) * 16_000.0).max(0.0) as usize;
                    if least < 8_000 {
                        assert!(path.metadata().unwrap().len() >= 42, "a head at least");
                        continue;
                    }
                    if kind == "wav" {
                        // A reader that believes every number in the head.
                        let mut wav = WavReader::open(&path).unwrap();
                        let read: Vec<i16> = wav.samples().map(Result::unwrap).collect();
                        assert!(read.len() >= least, "{} of {least} at {at}", read.len());
                    }
                    let heard = samples(&path);
                    assert!(
                        heard.len() >= least,
                        "{kind}: {} of {least} at {at}",
                        heard.len()
                    );
                    assert!(heard[..] == whole[..heard.len()], "{kind} at {at}");
                }
            });
        }
    });
}

#[test]
fn a_recording_holds_every_sample_of_a_run_that_ends() {
    let folder = TempDir::new().unwrap();
    let path = clip("trimmer-rich.wav");
    for name in ["kept.wav", "kept.flac"] {
        let kept = folder.path().join(name);
        let kept_name = kept.to_str().unwrap();
        let output = listen(&[
            "--from",
            path.to_str().unwrap(),
            "--no-pace",
            "--record",
            kept_name,
        ]);
        assert_eq!(output.status.code(), Some(0));
        assert!(samples(&kept) == samples(&path), "{name}");
    }
    let size = |name: &str| folder.path().join(name).metadata().unwrap().len();
    assert!(
        size("kept.flac") < size("kept.wav"),
        "coded without loss, and shorter"
    );
}

#[test]
fn real_saws_are_neither_wind_nor_too_quiet_in_a_whole_clip() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/recordings/saw");
    let mut clips = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let sound = samples(&path);
        let mut meter = Meter::new(44_100, 1);
        let (mut all, mut windy) = (0, 0);
        for block in sound.chunks(4_410) {
            meter.push(block);
            let fault = meter.level().unwrap().fault();
            all += 1;
            windy += usize::from(fault == Some(LevelFault::Wind));
        }
        clips += 1;
        assert!(
            windy * 10 <= all,
            "{}: wind in {windy} of {all}",
            path.display()
        );
    }
    assert_eq!(clips, 16);
}

/// Runs the program in a terminal of its own: `script` of util-linux makes one.
#[cfg(target_os = "linux")]
#[test]
fn on_a_terminal_it_is_a_screen_that_gives_the_terminal_back() {
    let path = clip("trimmer-set.wav");
    let program = env!("CARGO_BIN_EXE_engine-note");
    let line = format!(
        "stty rows 24 cols 80; exec '{program}' listen --from '{}' --seconds 3",
        path.display()
    );
    let output = Command::new("script")
        .args(["-qec", &line, "/dev/null"])
        .env("TERM", "xterm-256color")
        .stdin(Stdio::null())
        .output()
        .expect("`script` (util-linux) makes the terminal");
    let shown = String::from_utf8_lossy(&output.stdout);
    assert!(
        shown.contains("\u{1b}[?1049h") && shown.contains("\u{1b}[?1049l"),
        "{shown:?}"
    );
    // Only what changes is sent, cut at blanks.
    for word in ["trimmer-set.wav", "rpm", "firing", "level", "steady", "end"] {
        assert!(shown.contains(word), "`{word}` is not in {shown:?}");
    }
    // Each drawing hides the cursor. How many come in a second is the machine's load as much as the
    // program's (docs/live.md: sixteen on an idle one); that it goes on being drawn is the program's.
    let drawn = shown.matches("\u{1b}[?25l").count();
    assert!(drawn >= 10, "drawn {drawn} times");
    assert_eq!(output.status.code(), Some(0), "{shown:?}");
}
