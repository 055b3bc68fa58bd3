//! Runs over folders that are killed, met by another, or have nowhere to write.
#![cfg(unix)]
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::{CommandExt, ExitStatusExt};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use super::bench::{Bench, told};
use super::folder::{part, rich};

/// Longer than anything takes; a wait that gets here has failed.
const PATIENCE: Duration = Duration::from_secs(60);

/// A folder of so many short clips, unlike each other.
fn many(count: usize) -> Bench {
    let bench = Bench::new();
    let kinds: Vec<Vec<u8>> = (0..5)
        .map(|i| part("trimmer-rich", 0.5 + 0.3 * f64::from(i), 3.5))
        .collect();
    for i in 0..count {
        let clip = &kinds[i % kinds.len()];
        bench.file(&format!("clips/m{}/{i:03}.wav", i % 3), clip);
    }
    bench.file("clips/m1/050.wav", b"no sound");
    bench
}

fn start(bench: &Bench, arguments: &[&str]) -> Child {
    let mut command = bench.command(arguments);
    command.stdin(Stdio::null()).stdout(Stdio::null());
    command.stderr(Stdio::piped()).spawn().unwrap()
}

fn signal(child: &Child, name: &str) {
    let id = child.id().to_string();
    let sent = Command::new("kill").args([name, &id]).status().unwrap();
    assert!(sent.success());
}

fn wait_for(what: &str, mut met: impl FnMut() -> bool) {
    let begin = Instant::now();
    while !met() {
        assert!(begin.elapsed() < PATIENCE, "waited for {what}");
        thread::sleep(Duration::from_millis(2));
    }
}

/// Kills that come only when clips are kept.
const SURELY: u64 = 2;

/// Changes when the ledger does.
fn ledger_stamp(bench: &Bench) -> Option<(u64, std::time::SystemTime)> {
    let facts = fs::metadata(bench.path("out.ledger")).ok()?;
    Some((facts.len(), facts.modified().ok()?))
}

/// Whether a commit is half done: its journal begins with a header, which goes last.
/// <https://sqlite.org/fileformat2.html>, "The Rollback Journal".
fn committing(bench: &Bench) -> bool {
    let journal = fs::read(bench.path("out.ledger-journal")).unwrap_or_default();
    journal.iter().take(8).any(|byte| *byte != 0)
}

/// Tells whether clips were surely kept since now: a sync makes the spool grow and commits to the
/// ledger after it. The ledger alone changes also while it is made.
fn keeping(bench: &Bench) -> impl FnMut() -> bool {
    let spool = || fs::metadata(bench.path("out.part")).map_or(0, |facts| facts.len());
    let had = spool();
    let (mut before, mut grown) = (None, false);
    move || {
        let now = ledger_stamp(bench);
        if grown {
            return now != before && !committing(bench);
        }
        // Looked at after the ledger, so that a change that follows the growth is not missed.
        grown = spool() > had;
        before = now;
        false
    }
}

#[test]
fn killed_at_any_moment_and_run_again_it_leaves_the_same_bytes() {
    for (format, count) in [("ndjson", 180), ("csv", 160), ("json", 160), ("text", 160)] {
        // A quick machine is through before anything is kept: it gets more clips.
        let counts = (0..5).map(|times| count << times);
        let (mut kills, mut resumed) = (0, 0);
        for count in counts {
            (kills, resumed) = killed_again_and_again(format, count);
            if kills >= SURELY && resumed >= SURELY {
                break;
            }
        }
        assert!(
            kills >= SURELY && resumed >= SURELY,
            "{format}: {kills} kills, {resumed} times resumed"
        );
    }
}

/// Kills a run over so many clips and runs it again until it comes to its end; the results are
/// those of a run that nobody disturbed. Gives how often it was killed and went on.
fn killed_again_and_again(format: &str, count: usize) -> (u64, u64) {
    let bench = many(count);
    let whole = bench.output(&[
        "read",
        "clips",
        "-f",
        format,
        "-o",
        "whole",
        "--summary",
        "w",
    ]);
    let (mut kills, mut resumed) = (0u64, 0u64);
    let arguments = ["read", "clips", "-f", format, "-o", "out", "--summary", "o"];
    let last = loop {
        let mut surely = keeping(&bench);
        let mut child = start(&bench, &arguments);
        // Moments that drift through the run; longer ones later, so that it comes to an end.
        let moment = Duration::from_millis(20 + kills * 37 % 190 + kills * 12);
        let begin = Instant::now();
        // The first ones wait besides until clips are surely kept, however slow the machine is.
        let mut kept = || kills >= SURELY || surely();
        while begin.elapsed() < moment || !kept() {
            if child.try_wait().unwrap().is_some() {
                break;
            }
            thread::sleep(Duration::from_millis(1));
        }
        signal_if_alive(
            &mut child,
            if kills.is_multiple_of(4) {
                "-INT"
            } else {
                "-KILL"
            },
        );
        let output = child.wait_with_output().unwrap();
        let err = String::from_utf8(output.stderr.clone()).unwrap();
        resumed += u64::from(err.contains("going on with a run that was interrupted"));
        if output.status.code().is_some() {
            break output;
        }
        // Whole or not there at all.
        if let Ok(bytes) = fs::read(bench.path("out")) {
            assert_eq!(bytes, fs::read(bench.path("whole")).unwrap());
        }
        kills += 1;
    };
    assert_eq!(last.status.code(), whole.status.code());
    for (one, other) in [("out", "whole"), ("o", "w")] {
        let (one, other) = (bench.path(one), bench.path(other));
        assert!(
            fs::read(one).unwrap() == fs::read(other).unwrap(),
            "{format}"
        );
    }
    assert!(!bench.path("out.part").exists() && !bench.path("out.new").exists());
    (kills, resumed)
}

fn signal_if_alive(child: &mut Child, name: &str) {
    if child.try_wait().unwrap().is_none() {
        signal(child, name);
    }
}

/// Kills a run as soon as clips are kept; `false` where it came to its end before that.
fn killed_once_clips_are_kept(bench: &Bench, arguments: &[&str]) -> bool {
    let mut child = start(bench, arguments);
    let begin = Instant::now();
    // On a busy machine the first keeping may hold no more than the clips that the test then changes.
    for _ in 0..3 {
        let mut kept = keeping(bench);
        while !kept() {
            if child.try_wait().unwrap().is_some() {
                return false;
            }
            assert!(begin.elapsed() < PATIENCE, "waited for clips that are kept");
            thread::sleep(Duration::from_millis(1));
        }
    }
    signal(&child, "-KILL");
    // It may have come to its end before the signal came.
    let output = child.wait_with_output().unwrap();
    output.status.signal().is_some()
}

#[test]
fn the_folder_may_change_while_a_run_is_interrupted() {
    let arguments = ["read", "clips", "-f", "csv", "-o", "out"];
    // A quick machine is through before anything is kept: it gets more clips.
    let bench = (0..5)
        .map(|times| many(120 << times))
        .find(|bench| killed_once_clips_are_kept(bench, &arguments))
        .expect("a run that lasts long enough");
    bench
        .file("clips/a first.wav", &rich())
        .file("clips/m0/000.wav", &rich());
    fs::remove_file(bench.path("clips/m0/003.wav")).unwrap();
    let output = bench.output(&arguments);
    let told = told(&output);
    assert!(
        told.contains("going on with a run that was interrupted"),
        "{told}"
    );
    bench.output(&["read", "clips", "-f", "csv", "-o", "fresh"]);
    let (out, fresh) = (bench.path("out"), bench.path("fresh"));
    assert!(fs::read(out).unwrap() == fs::read(fresh).unwrap());
}

#[test]
fn a_kill_between_the_last_steps_loses_nothing() {
    let bench = many(6);
    let since = ["read", "clips", "-f", "ndjson", "-o", "out", "--since-last"];
    bench.output(&since);
    let before = fs::read(bench.path("out")).unwrap();
    // Told to the ledger, not yet renamed: what each way of ending leaves behind.
    for (state, file) in [("put-together", "out.new"), ("in-order", "out.part")] {
        let ledger = rusqlite::Connection::open(bench.path("out.ledger")).unwrap();
        ledger
            .execute("UPDATE run SET state = ?1, modified_ns = 0", [state])
            .unwrap();
        drop(ledger);
        fs::rename(bench.path("out"), bench.path(file)).unwrap();
        let told = bench.run(&since);
        // One cannot be read and is tried again.
        assert!(told.contains("note: 1 of 7 clips are new"), "{told}");
        assert_eq!(fs::read(bench.path("out")).unwrap(), before);
        // And renamed, but not yet told.
        let ledger = rusqlite::Connection::open(bench.path("out.ledger")).unwrap();
        ledger
            .execute("UPDATE run SET state = ?1, modified_ns = 0", [state])
            .unwrap();
        drop(ledger);
        bench.output(&since);
        assert_eq!(fs::read(bench.path("out")).unwrap(), before);
    }
}

#[test]
fn a_second_run_into_the_same_file_is_refused_and_the_first_is_not_disturbed() {
    let bench = many(30);
    bench.output(&["read", "clips", "-f", "ndjson", "-o", "whole"]);
    let arguments = ["read", "clips", "-f", "ndjson", "-o", "out"];
    let first = start(&bench, &arguments);
    wait_for("the first run", || {
        fs::metadata(bench.path("out.part")).is_ok_and(|facts| facts.len() > 10_000)
    });
    signal(&first, "-STOP");
    let second = bench.output(&arguments);
    signal(&first, "-CONT");
    let told = told(&second);
    assert!(
        told.starts_with("code: 3\n") && told.contains("error: another run is at work with `out"),
        "{told}"
    );
    assert_eq!(
        told.lines()
            .filter(|line| line.starts_with("error:"))
            .count(),
        1
    );
    first.wait_with_output().unwrap();
    let (out, whole) = (bench.path("out"), bench.path("whole"));
    assert!(fs::read(out).unwrap() == fs::read(whole).unwrap());
}

#[test]
fn in_a_read_only_folder_it_still_reads_and_says_what_to_do() {
    let bench = Bench::new();
    bench.file("clips/a.wav", &rich());
    let copy = bench.path("engine-note");
    fs::copy(env!("CARGO_BIN_EXE_engine-note"), &copy).unwrap();
    let mode = |mode: u32| {
        let folder = bench.path("clips");
        fs::set_permissions(folder, fs::Permissions::from_mode(mode)).unwrap();
    };
    fs::set_permissions(bench.path(""), fs::Permissions::from_mode(0o755)).unwrap();
    mode(0o555);
    // Somebody who has no rights beyond those of the files: root may write everywhere.
    let nobody = |arguments: &[&str]| {
        let mut command = Command::new(&copy);
        command.args(arguments).current_dir(bench.path(""));
        let facts = fs::metadata("/proc/self");
        if facts.is_ok_and(|facts| std::os::unix::fs::MetadataExt::uid(&facts) == 0) {
            command.uid(65_534).gid(65_534);
        }
        command.stdin(Stdio::null()).output().unwrap()
    };
    let printed = nobody(&["read", "clips", "-f", "ndjson", "--since-last"]);
    let beside = nobody(&["read", "clips", "-f", "ndjson", "-o", "clips/out"]);
    mode(0o755);
    assert_eq!(printed.status.code(), Some(0), "{}", told(&printed));
    assert_eq!(
        printed.stdout.iter().filter(|byte| **byte == b'\n').count(),
        1
    );
    let err = String::from_utf8(printed.stderr).unwrap();
    assert!(
        err.starts_with("note: the ledger `clips/.engine-note.ledger` cannot be written: ")
            && err.contains("; everything is read, and nothing is remembered\nhint: "),
        "{err}"
    );
    let told = told(&beside);
    assert!(
        told.starts_with("code: 3\n") && told.contains("cannot be written"),
        "{told}"
    );
}

/// The most memory that the program had, in KiB (proc_pid_status(5), VmHWM).
#[cfg(target_os = "linux")]
fn peak(bench: &Bench, arguments: &[&str]) -> u64 {
    let mut command = bench.command(arguments);
    command.stdout(Stdio::null()).stderr(Stdio::null());
    let mut child = command.spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut most = 0;
    while child.try_wait().unwrap().is_none() {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let now = line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok());
        most = most.max(now.unwrap_or(0));
        thread::sleep(Duration::from_millis(2));
    }
    most
}

#[cfg(target_os = "linux")]
#[test]
fn hundreds_of_clips_need_the_memory_of_ten() {
    let bench = Bench::new();
    let clip = part("trimmer-rich", 1.0, 2.0);
    for i in 0..250 {
        bench.file(&format!("all/{i:03}.wav"), &clip);
    }
    for i in 0..10 {
        bench.file(&format!("ten/{i}.wav"), &clip);
    }
    let of = |folder: &str| {
        let printed = peak(&bench, &["read", folder, "-f", "ndjson"]);
        printed.max(peak(
            &bench,
            &["read", folder, "-f", "ndjson", "-o", folder.split_at(2).0],
        ))
    };
    let (ten, all) = (of("ten"), of("all"));
    assert!(ten > 1_000, "{ten} KiB is not what a program needs");
    assert!(
        all < ten + 8 * 1_024,
        "{ten} KiB for ten, {all} KiB for all"
    );
}
