//! How far the work is: on a real terminal only.
#![cfg(unix)]
use std::io::Read;

use portable_pty::{CommandBuilder, PtySize, native_pty_system};

use super::bench::Bench;

/// Enough that some clips are done after the line has come and before the end.
fn bench() -> Bench {
    let bench = Bench::new();
    let clip = format!(
        "{}/fixtures/demo/trimmer-rich.wav",
        env!("CARGO_MANIFEST_DIR")
    );
    let bytes = std::fs::read(clip).unwrap();
    for i in 0..60 {
        bench.file(&format!("clips/{i:03}.wav"), &bytes);
    }
    bench
}

#[test]
fn a_terminal_shows_clips_and_the_time_that_is_left_and_a_pipe_nothing() {
    let bench = bench();
    let pair = native_pty_system()
        .openpty(PtySize {
            rows: 24,
            cols: 100,
            pixel_width: 0,
            pixel_height: 0,
        })
        .unwrap();
    let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_engine-note"));
    command.args(["read", "clips", "-f", "ndjson", "-o", "out"]);
    command.cwd(bench.path(""));
    command.env("TERM", "xterm-256color");
    let mut child = pair.slave.spawn_command(command).unwrap();
    drop(pair.slave);
    let mut out = pair.master.try_clone_reader().unwrap();
    let mut screen = vt100::Parser::new(
        std::num::NonZero::new(24).unwrap(),
        std::num::NonZero::new(100).unwrap(),
        0,
    );
    let (mut seen, mut bytes) = (vec![], [0; 256]);
    while let Ok(count @ 1..) = out.read(&mut bytes) {
        screen.process(&bytes[..count]);
        let now = screen.screen().contents();
        seen.extend(
            now.lines()
                .find(|line| line.contains(" of 60 clips"))
                .map(String::from),
        );
    }
    child.wait().unwrap();
    assert!(
        seen.iter()
            .any(|line| line.contains(" left, heard ") && line.starts_with('[')),
        "{seen:?}"
    );
    // It is gone at the end, when the summary stands there.
    let end = screen.screen().contents();
    assert!(
        end.contains("machine, worst first") && !end.contains(" left, heard "),
        "{end}"
    );

    let piped = bench.output(&["read", "clips", "-f", "ndjson", "-o", "out"]);
    let err = String::from_utf8(piped.stderr).unwrap();
    assert!(
        !err.contains(" left") && !err.contains('\r') && !err.contains('\u{1b}'),
        "{err}"
    );
}
