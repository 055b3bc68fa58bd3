//! A session that is saved while it goes: killed at any moment it loses at most its last second.
use std::fs;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::thread;
use std::time::Duration;

use engine_note::machine::Profile;
use engine_note::procedure::{AsFound, Begin};
use engine_note::session::{Event, Journal, JournalError, Session};
use engine_note::synth::{draw_engine, render};
use serde_json::Value;

const RATE: u32 = 16_000;

fn machine() -> String {
    format!("{}/fixtures/demo/trimmer.toml", env!("CARGO_MANIFEST_DIR"))
}

fn profile() -> Profile {
    Profile::from_toml(&fs::read_to_string(machine()).unwrap()).unwrap()
}

fn begin() -> Begin {
    Begin {
        as_found: AsFound::Warm,
        skip_checks: true,
        no_base: true,
    }
}

/// Samples of an engine, 16 bit, one channel.
fn samples(seconds: f64) -> Vec<u8> {
    let mut scene = draw_engine(11);
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

fn tune(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_engine-note"));
    command
        .args([
            "tune",
            "--from",
            "-",
            "--raw",
            "s16le:16000:1",
            "--events",
            "ndjson",
        ])
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// Code, events and standard error.
fn run(folder: &Path, arguments: &[&str], input: Vec<u8>) -> (i32, Vec<Value>, String) {
    let mut child = tune(folder, arguments).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let feed = thread::spawn(move || {
        let _ = stdin.write_all(&input);
    });
    let output = child.wait_with_output().unwrap();
    feed.join().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    (
        output.status.code().unwrap(),
        text.lines()
            .map(|line| serde_json::from_str(line).unwrap())
            .collect(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

/// A number that looks like chance and is the same each time.
fn dice(state: &mut u64) -> u64 {
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    *state >> 33
}

/// Kills the program after this long, and looks at what is left: everything that it told but the
/// last second of sound.
fn kill(folder: &Path, number: u32, second: &Arc<Vec<u8>>, after: Duration) -> bool {
    let name = format!("{number}.ndjson");
    let begin = [
        "--machine",
        &machine(),
        "--as-found",
        "warm",
        "--skip-checks",
        "--session",
        &name,
    ];
    let mut child = tune(folder, &begin).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let second = Arc::clone(second);
    let feed = thread::spawn(move || while stdin.write_all(&second).is_ok() {});
    let mut out = child.stdout.take().unwrap();
    let told = thread::spawn(move || {
        let mut text = String::new();
        let _ = out.read_to_string(&mut text);
        text
    });
    thread::sleep(after);
    child.kill().unwrap();
    child.wait().unwrap();
    feed.join().unwrap();
    let told = told.join().unwrap();
    // The last line may be torn in the pipe.
    let lines: Vec<Value> = told
        .lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect();
    let path = folder.join(&name);
    let last = lines
        .iter()
        .filter_map(|line| line["t_s"].as_f64())
        .fold(None, |last: Option<f64>, t| {
            Some(last.map_or(t, |last| last.max(t)))
        });
    let Some(last) = last else {
        // Killed before anything was told: there is nothing to lose.
        return false;
    };
    let (_, kept) = Journal::resume(&path).unwrap_or_else(|e| panic!("{number}: {e}"));
    assert!(
        kept.t.0 >= last - 1.0 && kept.procedure.is_some(),
        "{number}: told until {last} s, kept until {}",
        kept.t
    );
    let prompt = lines.iter().rfind(|line| line["event"] == "prompt");
    if let Some(prompt) = prompt {
        let kept = kept.prompt.expect("a prompt was told");
        assert!(u64::from(kept.id) >= prompt["id"].as_u64().unwrap());
    }
    fs::remove_file(path).unwrap();
    true
}

fn kills(count: u32, seed: u64) {
    let folder = tempfile::tempdir().unwrap();
    let second = Arc::new(samples(1.0));
    let mut state = seed;
    let told = (0..count)
        .filter(|number| {
            let after = Duration::from_micros(dice(&mut state) % 150_000);
            kill(folder.path(), *number, &second, after)
        })
        .count();
    assert!(
        told as u32 * 2 > count,
        "only {told} of {count} had begun when they were killed"
    );
}

#[test]
fn killed_at_200_random_moments_it_loses_at_most_the_last_second() {
    kills(200, 4);
}

#[test]
fn a_session_goes_on_where_it_was_left() {
    let folder = tempfile::tempdir().unwrap();
    let first = [
        "--machine",
        &machine(),
        "--as-found",
        "warm",
        "--skip-checks",
        "--session",
        "s",
    ];
    let (code, before, error) = run(folder.path(), &first, samples(6.0));
    assert_eq!((code, error.as_str()), (1, ""));
    let (_, kept) = Journal::resume(&folder.path().join("s")).unwrap();
    assert!(kept.t.0 > 5.4, "{}", kept.t);
    let (code, after, error) = run(folder.path(), &["--resume", "s"], samples(2.0));
    assert_eq!((code, error.as_str()), (1, ""));
    // The clock goes on, and the prompt that stood is said again.
    let end = after.last().unwrap()["t_s"].as_f64().unwrap();
    assert!(
        (end - kept.t.0 - 2.0).abs() < 0.01,
        "{end} after {}",
        kept.t
    );
    let prompts = |events: &[Value]| -> Vec<u64> {
        let prompts = events.iter().filter(|event| event["event"] == "prompt");
        prompts
            .map(|prompt| prompt["id"].as_u64().unwrap())
            .collect()
    };
    assert_eq!(prompts(&after).first(), prompts(&before).last());
    // And again, from where the second left.
    let (_, again) = Journal::resume(&folder.path().join("s")).unwrap();
    assert!(again.t.0 > kept.t.0 + 1.4);
}

#[test]
fn a_session_is_not_overwritten_and_what_is_none_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    file("there", "mine");
    let begin = ["--machine", &machine(), "--session", "there"];
    let (code, events, error) = run(folder.path(), &begin, vec![]);
    assert_eq!((code, events.len()), (2, 0), "{error}");
    assert!(error.contains("the file exists"), "{error}");
    assert_eq!(
        fs::read_to_string(folder.path().join("there")).unwrap(),
        "mine"
    );
    let (code, _, error) = run(folder.path(), &["--resume", "there"], vec![]);
    assert_eq!(code, 2, "{error}");
    assert!(error.contains("this is no session"), "{error}");
    let (code, _, error) = run(folder.path(), &["--resume", "gone"], vec![]);
    assert_eq!(code, 3, "{error}");
    file(
        "later",
        "{\"line\":\"session\",\"schema\":\"engine-note/session/9\",\"begun_unix_s\":1,\"machine\":{},\"begin\":{}}\n",
    );
    let (code, _, error) = run(folder.path(), &["--resume", "later"], vec![]);
    assert_eq!(code, 2, "{error}");
}

/// Writes a session and gives the bytes of its file.
fn written(path: &Path) -> Vec<u8> {
    let mut journal = Journal::create(path, &profile(), begin()).unwrap();
    let mut session = Session::new(RATE, 1, &profile(), begin()).unwrap();
    journal.sound(&session, RATE, 1).unwrap();
    let sound: Vec<f32> = samples(4.0)
        .as_chunks()
        .0
        .iter()
        .map(|b| f32::from(i16::from_le_bytes(*b)) / 32_768.0)
        .collect();
    let mut events = vec![];
    for hop in sound.chunks(256) {
        session.push(hop, &mut events);
        journal.keep(&session, &events).unwrap();
        events.clear();
    }
    journal.note(session.now(), "spark plug is new").unwrap();
    drop(journal);
    fs::read(path).unwrap()
}

/// A power cut can leave the file cut off at any byte.
#[test]
fn a_file_cut_off_anywhere_is_resumed_from_its_last_whole_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("s");
    let bytes = written(&path);
    let mut state = 9;
    let first = bytes.iter().position(|b| *b == b'\n').unwrap() + 1;
    let mut cuts: Vec<usize> = (0..200)
        .map(|_| dice(&mut state) as usize % bytes.len())
        .collect();
    cuts.extend([0, 1, first - 1, first, first + 1, bytes.len()]);
    for cut in cuts {
        fs::write(&path, &bytes[..cut]).unwrap();
        let whole = bytes[..cut]
            .iter()
            .rposition(|b| *b == b'\n')
            .map_or(0, |at| at + 1);
        match Journal::resume(&path) {
            Ok((journal, kept)) => {
                assert!(cut >= first);
                assert_eq!(kept.torn, (cut - whole) as u64);
                drop(journal);
                assert_eq!(fs::read(&path).unwrap(), &bytes[..whole]);
                // The last state before the cut.
                let text = String::from_utf8_lossy(&bytes[..whole]);
                let state = text.lines().rfind(|line| {
                    ["state", "moved"]
                        .iter()
                        .any(|kind| line.starts_with(&format!("{{\"line\":\"{kind}\"")))
                });
                let t = state.map_or(0.0, |line| {
                    serde_json::from_str::<Value>(line).unwrap()["t_s"]
                        .as_f64()
                        .unwrap()
                });
                assert_eq!(kept.t.0, t);
            }
            Err(error) => {
                assert!(cut < first, "{cut}: {error}");
                assert_eq!(error, JournalError::NoSession { path: path.clone() });
            }
        }
    }
    fs::write(&path, &bytes).unwrap();
    let (_, kept) = Journal::resume(&path).unwrap();
    assert_eq!(kept.notes.len(), 1);
    assert_eq!(kept.machine, profile());
}

#[test]
fn a_damaged_line_in_the_middle_is_named_and_nothing_is_cut() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("s");
    let mut bytes = written(&path);
    let second = bytes.iter().position(|b| *b == b'\n').unwrap() + 1;
    bytes[second] = b'#';
    fs::write(&path, &bytes).unwrap();
    let error = Journal::resume(&path).err();
    assert_eq!(
        error,
        Some(JournalError::Damaged {
            path: path.clone(),
            line: 2
        })
    );
    assert_eq!(fs::read(&path).unwrap(), bytes);
}

#[test]
fn two_programs_do_not_write_the_same_session() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("s");
    written(&path);
    let held = Journal::resume(&path).unwrap();
    assert_eq!(
        Journal::resume(&path).err(),
        Some(JournalError::InUse { path: path.clone() })
    );
    drop(held);
    assert!(Journal::resume(&path).is_ok());
}

/// The procedure that is read back is the one that was written, at every hop.
#[test]
fn a_state_that_is_read_back_is_the_same() {
    let mut session = Session::new(RATE, 1, &profile(), begin()).unwrap();
    let mut events: Vec<Event> = vec![];
    let sound = samples(3.0);
    for hop in sound.as_chunks::<512>().0 {
        let hop: Vec<f32> = hop
            .as_chunks()
            .0
            .iter()
            .map(|b| f32::from(i16::from_le_bytes(*b)) / 32_768.0)
            .collect();
        session.push(&hop, &mut events);
        let text = serde_json::to_string(session.procedure()).unwrap();
        let back: engine_note::procedure::Procedure = serde_json::from_str(&text).unwrap();
        assert_eq!(&back, session.procedure(), "at {}", session.now());
    }
}

/// A full disk: the tuning goes on, and one line says that it is no longer saved.
#[cfg(unix)]
#[test]
fn where_the_disk_is_full_the_tuning_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let program = env!("CARGO_BIN_EXE_engine-note");
    let script = format!(
        "trap '' XFSZ; ulimit -f 8; exec '{program}' tune --from - --raw s16le:16000:1 --events ndjson \
         --machine '{}' --session s",
        machine()
    );
    let mut child = Command::new("sh")
        .args(["-c", &script])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let feed = thread::spawn(move || {
        let _ = stdin.write_all(&samples(30.0));
    });
    let output = child.wait_with_output().unwrap();
    feed.join().unwrap();
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(
        error.matches("the session cannot be saved").count(),
        1,
        "{error}"
    );
    let last = String::from_utf8(output.stdout).unwrap();
    let last: Value = serde_json::from_str(last.lines().last().unwrap()).unwrap();
    assert_eq!(last["event"], "result");
}
