//! `tune --events ndjson` as a program that others talk to: every line is valid by the shipped
//! schema, comes as soon as its sound is in, and the end is told.
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use engine_note::synth::{draw_engine, render};
use serde_json::Value;

const RATE: u32 = 48_000;

fn shipped() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/events.schema.json");
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// The lines as JSON, each checked against the schema.
fn valid(text: &str) -> Vec<Value> {
    let validator = jsonschema::validator_for(&shipped()).unwrap();
    text.lines()
        .map(|line| {
            let value: Value = serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}"));
            let wrong: Vec<_> = validator
                .iter_errors(&value)
                .map(|e| e.to_string())
                .collect();
            assert!(wrong.is_empty(), "{line}: {wrong:?}");
            value
        })
        .collect()
}

fn machine() -> String {
    format!("{}/fixtures/demo/trimmer.toml", env!("CARGO_MANIFEST_DIR"))
}

fn tune(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_engine-note"));
    command
        .args(["tune", "--machine", &machine(), "--events", "ndjson"])
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// Samples of an engine, 16 bit, one channel.
fn samples(seconds: f64) -> Vec<u8> {
    // A single cylinder that idles, as a profile that says nothing else takes it to be.
    let mut scene = draw_engine(22);
    scene.sample_rate = RATE;
    scene.channels = 1;
    let (samples, _) = render(&scene).unwrap().finish();
    samples
        .iter()
        .cycle()
        .take((seconds * f64::from(RATE)) as usize)
        .flat_map(|x| ((x * 32_767.0) as i16).to_le_bytes())
        .collect()
}

/// The head of a WAV that claims so many bytes of samples.
fn head(claimed: u32) -> Vec<u8> {
    let mut out = b"RIFF".to_vec();
    out.extend(claimed.saturating_add(36).to_le_bytes());
    out.extend(b"WAVEfmt ");
    out.extend(16u32.to_le_bytes());
    out.extend(1u16.to_le_bytes());
    out.extend(1u16.to_le_bytes());
    out.extend(RATE.to_le_bytes());
    out.extend((RATE * 2).to_le_bytes());
    out.extend(2u16.to_le_bytes());
    out.extend(16u16.to_le_bytes());
    out.extend(b"data");
    out.extend(claimed.to_le_bytes());
    out
}

/// Code, events and standard error of a run over all of `input`.
fn run(folder: &Path, arguments: &[&str], input: Vec<u8>) -> (i32, Vec<Value>, String) {
    let mut child = tune(folder, arguments).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let feed = thread::spawn(move || {
        // The program may end before it has read everything.
        let _ = stdin.write_all(&input);
    });
    let output = child.wait_with_output().unwrap();
    feed.join().unwrap();
    (
        output.status.code().unwrap(),
        valid(&String::from_utf8(output.stdout).unwrap()),
        String::from_utf8(output.stderr).unwrap(),
    )
}

#[test]
fn the_shipped_schema_of_the_events_is_current() {
    let current: Value = serde_json::from_str(&engine_note::session::schema()).unwrap();
    assert!(
        shipped() == current,
        "run `make schema` and look at what changed in docs/events.schema.json"
    );
}

#[test]
fn the_schema_refuses_what_is_no_event() {
    let validator = jsonschema::validator_for(&shipped()).unwrap();
    for wrong in [
        r#"{"event":"reading","t_s":0.0}"#,
        r#"{"event":"other"}"#,
        r#"{"event":"start","schema":"x","hop_s":"a","lag_s":0.2}"#,
        r#"{"event":"result","t_s":1.0,"verdict":"fine","proof":[],"net_turns":{"high":0,"low":0,"idle":0},"faults":[]}"#,
    ] {
        let value: Value = serde_json::from_str(wrong).unwrap();
        assert!(!validator.is_valid(&value), "{wrong}");
    }
}

#[test]
fn a_wav_that_does_not_know_its_length_is_read_to_the_end() {
    let folder = tempfile::tempdir().unwrap();
    let body = samples(3.0);
    let mut all = vec![];
    for claimed in [body.len() as u32, 0, 0x7FFF_FFFF, 0xFFFF_FFFF] {
        let input = [head(claimed), body.clone()].concat();
        let arguments = ["--from", "-", "--as-found", "warm", "--skip-checks"];
        let (code, events, error) = run(folder.path(), &arguments, input);
        assert_eq!(code, 1, "{error}");
        assert_eq!(events[0]["event"], "start", "{claimed:x}");
        let last = events.last().unwrap();
        assert_eq!(last["verdict"], "unfinished", "{claimed:x}: {last}");
        assert!(
            (last["t_s"].as_f64().unwrap() - 3.0).abs() < 0.001,
            "{last}"
        );
        all.push(events);
    }
    let raw = [
        "--from",
        "-",
        "--as-found",
        "warm",
        "--skip-checks",
        "--raw",
        "s16le:48000:1",
    ];
    all.push(run(folder.path(), &raw, body).1);
    assert!(
        all.iter().all(|events| *events == all[0]),
        "the same sound, the same events"
    );
    let readings = all[0].iter().filter(|event| event["event"] == "reading");
    let heard = readings
        .clone()
        .filter(|reading| reading["rpm"].is_number())
        .count();
    assert!((185..=190).contains(&readings.count()), "62.5 a second");
    assert!(
        heard > 60,
        "an engine was played, {heard} readings have a speed"
    );
}

/// A child whose lines are handed over as they come.
struct Live {
    child: Child,
    lines: mpsc::Receiver<Value>,
}

impl Live {
    fn start(folder: &Path, arguments: &[&str]) -> Live {
        let mut child = tune(folder, arguments).spawn().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let (sender, lines) = mpsc::channel();
        thread::spawn(move || {
            for line in out.lines() {
                let _ = sender.send(serde_json::from_str(&line.unwrap()).unwrap());
            }
        });
        Live { child, lines }
    }

    fn write(&mut self, bytes: &[u8]) {
        let stdin = self.child.stdin.as_mut().unwrap();
        // The program may have ended.
        let _ = stdin.write_all(bytes).and_then(|()| stdin.flush());
    }

    /// Lines until one satisfies; hangs are what this must never see, so it gives up loudly.
    fn until(&self, wanted: impl Fn(&Value) -> bool) -> Vec<Value> {
        let mut seen = vec![];
        loop {
            match self.lines.recv_timeout(Duration::from_secs(60)) {
                Ok(line) => {
                    let found = wanted(&line);
                    seen.push(line);
                    if found {
                        return seen;
                    }
                }
                Err(error) => panic!("{error} after {:?}", seen.last()),
            }
        }
    }
}

/// A simulator waits for what is said to the sound that it made before it makes more: nothing may
/// wait for a full block.
#[test]
fn readings_come_while_the_sound_is_held_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut live = Live::start(
        folder.path(),
        &[
            "--from",
            "-",
            "--raw",
            "s16le:48000:1",
            "--as-found",
            "warm",
            "--skip-checks",
        ],
    );
    // The start comes before any sound.
    live.until(|line| line["event"] == "start");
    let body = samples(2.0);
    let step = RATE as usize / 50 * 2;
    for (i, part) in body.chunks(step).enumerate() {
        live.write(part);
        let sound = (i + 1) as f64 / 50.0;
        if sound > 0.3 {
            live.until(|line| {
                line["t_s"]
                    .as_f64()
                    .is_some_and(|t| t >= sound - 0.3 && line["event"] == "reading")
            });
        }
    }
    drop(live.child.stdin.take());
    let end = live.until(|line| line["event"] == "result");
    assert_eq!(end.last().unwrap()["verdict"], "unfinished");
    assert_eq!(live.child.wait().unwrap().code(), Some(1));
}

#[test]
fn answers_come_from_a_file_and_unknown_words_are_ignored_with_a_warning() {
    let folder = tempfile::tempdir().unwrap();
    let lines = concat!(
        "{\"t_s\":0.5,\"answer\":\"sing\"}\n",
        "\n",
        "no json at all\n",
        "{\"t_s\":1.0,\"answer\":\"done\",\"id\":3,\"by\":\"hand\"}\n",
        "{\"t_s\":1.5,\"answer\":\"quit\"}",
    );
    fs::write(folder.path().join("answers"), lines).unwrap();
    let arguments = [
        "--from",
        "-",
        "--answers",
        "answers",
        "--raw",
        "s16le:48000:1",
    ];
    let (code, events, error) = run(folder.path(), &arguments, samples(4.0));
    assert_eq!(code, 1);
    assert_eq!(
        error.matches("warning: answer ignored").count(),
        2,
        "{error}"
    );
    let last = events.last().unwrap();
    assert_eq!(last["event"], "result");
    // The first hop at or after 1.5 s: 94 hops of 16 ms.
    assert!(
        (last["t_s"].as_f64().unwrap() - 1.504).abs() < 1e-9,
        "{last}"
    );
}

#[test]
fn a_file_of_answers_that_comes_later_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let mut live = Live::start(
        folder.path(),
        &[
            "--from",
            "-",
            "--raw",
            "s16le:48000:1",
            "--answers",
            "later",
        ],
    );
    let body = samples(1.0);
    live.write(&body);
    live.until(|line| line["t_s"].as_f64().is_some_and(|t| t > 0.7));
    fs::write(
        folder.path().join("later"),
        "{\"t_s\":0.0,\"answer\":\"quit\"}\n",
    )
    .unwrap();
    live.write(&body);
    let seen = live.until(|line| line["event"] == "result");
    let end = seen.last().unwrap()["t_s"].as_f64().unwrap();
    assert!((0.7..=1.04).contains(&end), "{end}");
    assert_eq!(live.child.wait().unwrap().code(), Some(1));
}

/// The other end of a named pipe may open it late, close it, and open it again; the sound goes on.
#[cfg(unix)]
#[test]
fn answers_come_from_a_named_pipe_that_never_holds_up_the_sound() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe");
    let made = Command::new("mkfifo").arg(&pipe).status().unwrap();
    assert!(made.success(), "mkfifo makes a named pipe");
    let mut live = Live::start(
        folder.path(),
        &["--from", "-", "--raw", "s16le:48000:1", "--answers", "pipe"],
    );
    let body = samples(1.0);
    // Nobody has opened the pipe for writing.
    live.write(&body);
    live.until(|line| line["t_s"].as_f64().is_some_and(|t| t > 0.7));
    let open = || fs::OpenOptions::new().write(true).open(&pipe).unwrap();
    // Open, but silent; half a line; the rest of it.
    let mut writer = open();
    live.write(&body);
    live.until(|line| line["t_s"].as_f64().is_some_and(|t| t > 1.7));
    writer.write_all(b"{\"t_s\":1.0,\"answer\":\"pa").unwrap();
    live.write(&body);
    live.until(|line| line["t_s"].as_f64().is_some_and(|t| t > 2.7));
    writer.write_all(b"use\"}\n").unwrap();
    drop(writer);
    live.write(&body);
    live.until(|line| line["t_s"].as_f64().is_some_and(|t| t > 3.7));
    let mut writer = open();
    writer
        .write_all(b"{\"t_s\":4.2,\"answer\":\"quit\"}\n")
        .unwrap();
    drop(writer);
    live.write(&body);
    let seen = live.until(|line| line["event"] == "result");
    let end = seen.last().unwrap()["t_s"].as_f64().unwrap();
    assert!(
        (end - 4.208).abs() < 1e-9,
        "the first hop at or after 4.2 s, not {end}"
    );
}

#[test]
fn what_is_no_sound_is_refused_after_the_start() {
    let folder = tempfile::tempdir().unwrap();
    let (code, events, error) = run(folder.path(), &["--from", "-"], b"hello\n".repeat(100));
    assert_eq!((code, events.len()), (3, 1), "{error}");
    assert!(error.contains("error: -: "), "{error}");
    let (code, events, error) = run(folder.path(), &["--from", "gone.wav"], vec![]);
    assert_eq!((code, events.len()), (3, 1), "{error}");
    let arguments = ["--from", "a.wav", "--raw", "s16le:48000:1"];
    let (code, events, error) = run(folder.path(), &arguments, vec![]);
    assert_eq!((code, events.len()), (2, 0), "{error}");
}

#[test]
fn a_reader_that_leaves_ends_it_quietly() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = tune(folder.path(), &["--from", "-", "--raw", "s16le:48000:1"])
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut stdin = child.stdin.take().unwrap();
    let body = samples(5.0);
    let _ = stdin.write_all(&body);
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(String::from_utf8(output.stderr).unwrap(), "");
}

/// The demonstration's engines are heard hop by hop while they hold a speed (full throttle from 2 to
/// 6.2 s and idle from 7.4 s by their scenes), once they were heard at all, which takes a second or so.
#[test]
fn an_engine_that_holds_its_speed_is_read_at_nearly_every_hop() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["trimmer-rich", "trimmer-set", "trimmer-clean"] {
        let clip = format!("{}/fixtures/demo/{name}.wav", env!("CARGO_MANIFEST_DIR"));
        let (_, events, _) = run(folder.path(), &["--from", &clip], vec![]);
        let holds = |t: f64| (3.0..6.0).contains(&t) || (7.6..8.3).contains(&t);
        let readings = events
            .iter()
            .filter(|event| event["event"] == "reading" && holds(event["t_s"].as_f64().unwrap()));
        let read = readings
            .clone()
            .filter(|event| event["rpm"].is_number())
            .count();
        let all = readings.count();
        assert!(all > 220 && read * 50 > all * 49, "{name}: {read} of {all}");
    }
}
