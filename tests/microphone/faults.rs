//! What goes wrong with microphones, provoked at a real sound system.
use std::fs;
use std::process::Stdio;
use std::thread;
use std::time::Duration;

use crate::program::{Program, clip, command};
use crate::server::{Server, signal};
use crate::shared;

/// What a run that fails says, and its exit code.
fn refused(server: &Server, arguments: &[&str]) -> (String, i32) {
    refused_by(command(server, arguments))
}

fn refused_by(mut command: std::process::Command) -> (String, i32) {
    let output = command.output().unwrap();
    assert_eq!(output.stdout, b"", "no result");
    let said = String::from_utf8(output.stderr).unwrap();
    (said, output.status.code().unwrap())
}

#[test]
fn no_microphone_is_one_line_and_what_to_do() {
    shared(|| {
        let nowhere = Server::none();
        for arguments in [&["--plain"][..], &["--list-mics"]] {
            let (said, code) = refused(&nowhere, arguments);
            assert!(
                said.contains("no microphone was found\nhint: plug one in"),
                "{said}"
            );
            assert_eq!((said.lines().count(), code), (2, 3), "{said}");
        }
        let server = Server::start();
        let (said, code) = refused(&server, &["--mic", "Nobody's"]);
        assert!(
            said.contains("no microphone is named `Nobody's`\nhint: "),
            "{said}"
        );
        assert!(said.contains("--list-mics"), "{said}");
        assert_eq!((said.lines().count(), code), (2, 3));
    });
}

#[test]
fn a_refusal_is_not_taken_for_an_absence() {
    shared(|| {
        let me = fs::read_to_string("/proc/self/status").unwrap();
        let root = me.lines().any(|line| line.starts_with("Uid:\t0\t"));
        if !root {
            let words = "NOT RUN: only root can start a sound server of another user";
            assert!(std::env::var_os("CI").is_none(), "{words}");
            eprintln!("\n{words}\n");
            return;
        }
        let server = Server::of_another_user();
        let (said, code) = refused(&server, &["--plain"]);
        assert!(
            said.contains("no permission to use the microphone\nhint: allow it"),
            "{said}"
        );
        assert_eq!((said.lines().count(), code), (2, 3), "{said}");
    });
}

#[test]
fn a_device_that_is_faster_than_time_is_refused() {
    shared(|| {
        let server = Server::none();
        let (noise, config) = (server.path("noise"), server.path("asound.conf"));
        let bytes: Vec<u8> = (0..1_u32 << 24)
            .map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8)
            .collect();
        fs::write(&noise, bytes).unwrap();
        let text = format!(
            "pcm.!default {{ type file slave.pcm null file /dev/null infile {} format raw }}\n\
             pcm.null {{ type null }}\n",
            noise.display()
        );
        fs::write(&config, text).unwrap();
        let mut command = command(&server, &["--plain"]);
        command.env("ALSA_CONFIG_PATH", &config);
        let output = command.output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(
            said.contains("so it is no microphone\nhint: choose a real microphone"),
            "{said}"
        );
        assert_eq!(output.status.code(), Some(3));
    });
}

#[test]
fn a_microphone_that_is_lost_is_waited_for_and_picked_up_again() {
    shared(|| {
        let mut server = Server::start();
        let kept = server.path("kept.flac");
        let path = kept.to_string_lossy().into_owned();
        let playing = server.play("bench", &clip("trimmer-set.wav"));
        let mut program = Program::start(&server, &["--seconds", "14", "--record", &path]);
        program.wait_to_read(true);
        server.kill();
        drop(playing);
        program.wait_to_say("waiting for it");
        program.wait_to_read(false);
        server.run();
        program.wait_to_say("is back after");
        let _playing = server.play("bench", &clip("trimmer-clean.wav"));
        assert_eq!(program.end(), 0);
        let said = program.said();
        assert_eq!(said.matches("waiting for it").count(), 1, "{said}");
        assert_eq!(said.matches("is back after").count(), 1, "{said}");
        assert!(said.lines().count() <= 5, "a line each:\n{said}");
        // The clock went on, and so did the session: readings before, silence, readings after.
        let readings = program.readings();
        assert!(
            readings
                .windows(2)
                .all(|two| (two[1].t - two[0].t - 0.016).abs() < 1e-3)
        );
        let read = |reading: &&crate::program::Reading| reading.rpm.is_some();
        let gap = readings
            .iter()
            .rposition(|reading| reading.rpm.is_none())
            .unwrap();
        assert!(readings[..gap].iter().filter(read).count() > 50);
        assert!(
            readings.iter().rev().take(200).filter(read).count() > 50,
            "{said}"
        );
        let came = readings.last().unwrap().came - readings[0].came;
        let heard = readings.last().unwrap().t - readings[0].t;
        assert!(
            (came.as_secs_f64() - heard).abs() < 1.5,
            "{came:?} for {heard} s"
        );
        let sound = crate::alike::sound(&kept);
        assert_eq!(
            sound.len(),
            14 * 8_000,
            "all of it was kept, the silence too"
        );
    });
}

#[test]
fn callbacks_that_cease_are_noticed() {
    shared(|| {
        let server = Server::start();
        let _playing = server.play("bench", &clip("trimmer-set.wav"));
        let program = Program::start(&server, &[]);
        program.wait_to_read(true);
        signal("STOP", server.id());
        program.wait_to_say("the microphone has given no sound for 3 s; waiting for it");
        program.wait_to_read(false);
        signal("CONT", server.id());
        program.wait_to_say("is back after");
        program.wait_to_read(true);
    });
}

#[test]
fn a_muted_microphone_is_told_and_so_is_its_return() {
    shared(|| {
        let server = Server::start();
        let _playing = server.play("bench", &clip("trimmer-set.wav"));
        let program = Program::start(&server, &[]);
        program.wait_to_read(true);
        server.pactl(&["set-source-mute", "bench.monitor", "1"]);
        program.wait_to_say("the microphone `Monitor of Null Output` is muted\nhint: unmute it");
        program.wait_to_read(false);
        server.pactl(&["set-source-mute", "bench.monitor", "0"]);
        program.wait_to_say("is no longer muted");
        // Nothing else was wrong, so nothing else was said.
        let said = program.said();
        assert_eq!(said.matches("note:").count(), 2, "{said}");
    });
}

#[test]
fn silence_that_no_open_microphone_gives_is_told() {
    shared(|| {
        // A null sink to which nobody plays gives exact zeros.
        let server = Server::start();
        let program = Program::start(&server, &[]);
        program.wait_to_say("digital silence for 2 s");
        assert_eq!(program.said().lines().count(), 2);
    });
}

#[test]
fn a_silent_switch_to_another_microphone_is_told() {
    shared(|| {
        let server = Server::start();
        let other = server.pactl(&[
            "load-module",
            "module-null-sink",
            "sink_name=other",
            "sink_properties=device.description=Other",
        ]);
        let _one = server.play("bench", &clip("trimmer-set.wav"));
        let program = Program::start(&server, &["--mic", "other.monitor"]);
        // The source is taken away under the recording; the server moves it without a word.
        server.pactl(&["unload-module", other.trim()]);
        program.wait_to_say(
            "the system switched from `Monitor of Other` to `Monitor of Null Output`\nhint: ",
        );
        program.wait_to_read(true);

        // The same by hand, in the sound settings.
        server.pactl(&[
            "load-module",
            "module-null-sink",
            "sink_name=third",
            "sink_properties=device.description=Third",
        ]);
        let recordings = server.pactl(&["list", "short", "source-outputs"]);
        // The first one is that of the server's own listener.
        let newest = recordings
            .lines()
            .last()
            .unwrap()
            .split('\t')
            .next()
            .unwrap();
        server.pactl(&["move-source-output", newest, "third.monitor"]);
        program.wait_to_say("from `Monitor of Null Output` to `Monitor of Third`");
    });
}

#[test]
fn sound_that_is_not_taken_in_time_is_counted_and_told() {
    shared(|| {
        let server = Server::start();
        // The whole program is held up, as on a machine that sleeps; then it goes on.
        let program = Program::start(&server, &[]);
        signal("STOP", program.id());
        thread::sleep(Duration::from_secs(12));
        signal("CONT", program.id());
        program.wait_to_say(
            "of sound were lost, so a reading may jump there\nhint: close other programs",
        );
    });
}

#[test]
fn a_reader_that_does_not_take_the_output_costs_sound_and_no_memory() {
    shared(|| {
        let server = Server::start();
        let mut command = command(&server, &["--events", "ndjson"]);
        let mut child = command.stdout(Stdio::piped()).spawn().unwrap();
        // A pipe of 64 KiB holds some seconds of readings; then the program has to wait, and the ring
        // of two seconds fills.
        thread::sleep(Duration::from_secs(14));
        let status = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
        let mut out = child.stdout.take().unwrap();
        let reader = thread::spawn(move || std::io::copy(&mut out, &mut std::io::sink()));
        thread::sleep(Duration::from_secs(1));
        // Not INT, which whoever starts this in the background may have set to be ignored.
        signal("TERM", child.id());
        let said = child.wait_with_output().unwrap().stderr;
        reader.join().unwrap().unwrap();
        let said = String::from_utf8(said).unwrap();
        assert!(said.contains("of sound were lost"), "{said}");
        let peak = status
            .lines()
            .find(|line| line.starts_with("VmHWM"))
            .unwrap();
        let kib: u64 = peak.split_whitespace().nth(1).unwrap().parse().unwrap();
        assert!(kib < 96 * 1024, "{kib} KiB");
    });
}
