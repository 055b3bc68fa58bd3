//! Results into a file.
use std::fs;

use super::bench::{Bench, RATE, tone};

#[test]
fn a_file_holds_what_would_have_been_printed() {
    let bench = Bench::new();
    bench
        .wav("a.wav", tone(1.0, 6_000.0, 0.5))
        .wav("b.wav", tone(1.0, 7_000.0, 0.5));
    for format in ["text", "json", "ndjson", "csv"] {
        let printed = bench.output(&["read", "a.wav", "b.wav", "--format", format]);
        let into = bench.output(&["read", "a.wav", "b.wav", "--format", format, "-o", "out"]);
        assert_eq!(
            (into.status, into.stdout, into.stderr),
            (printed.status, vec![], printed.stderr)
        );
        assert_eq!(fs::read(bench.path("out")).unwrap(), printed.stdout);
        assert!(!bench.path("out.part").exists());
    }
    let dash = bench.output(&["read", "a.wav", "-f", "csv", "-o", "-"]);
    assert!(dash.stdout.starts_with(b"path,"));
}

#[test]
fn a_file_that_cannot_be_written_is_named_before_anything_is_read() {
    let bench = Bench::new();
    bench.wav("a.wav", (0..RATE).map(|_| 0.0));
    fs::create_dir(bench.path("folder")).unwrap();
    for (place, words) in [
        (
            "no/such/folder/out",
            "cannot write `no/such/folder/out`: no such file or directory",
        ),
        ("folder", "cannot write `folder`: it is a folder"),
        ("a.wav", "`--output` names a clip that is to be read"),
        ("./a.wav", "`--output` names a clip that is to be read"),
    ] {
        let told = bench.run(&["read", "a.wav", "-o", place]);
        assert!(told.contains(words), "{told}");
        assert!(!told.contains("silence"), "{told}");
    }
}

#[cfg(unix)]
#[test]
fn two_runs_into_one_file_are_told_apart_and_a_device_is_written_straight() {
    let bench = Bench::new();
    bench.wav("a.wav", tone(1.0, 6_000.0, 0.5));
    let held = fs::File::create(bench.path("out.part")).unwrap();
    held.lock().unwrap();
    let told = bench.run(&["read", "a.wav", "-o", "out"]);
    assert!(
        told.starts_with("code: 3\n") && told.contains("`out` is being written by another program"),
        "{told}"
    );
    drop(held);
    bench.output(&["read", "a.wav", "-o", "out"]);
    assert!(bench.path("out").exists());
    let straight = bench.output(&["read", "a.wav", "-f", "csv", "-o", "/dev/stdout"]);
    assert!(straight.stdout.starts_with(b"path,"));
}
