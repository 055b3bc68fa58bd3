//! The program at a real sound system: a virtual microphone plays, the program records it through
//! `cpal`. Faults are provoked, not made up.
//!
//! Needs a sound server that it starts itself (`.ci/need pulse` installs it) and says loudly where
//! there is none; with `CI` set that is a failure.
#![cfg(all(feature = "mic", target_os = "linux"))]
mod alike;
mod faults;
mod latency;
mod program;
mod server;

use std::process::Command;
use std::sync::RwLock;

use hound::WavReader;

use alike::{offset, sound};
use program::{Program, clip, command};
use server::Server;

/// One test measures time and wants the machine for itself.
static MACHINE: RwLock<()> = RwLock::new(());

/// Runs a test beside others that do not measure.
fn shared(test: impl FnOnce()) {
    if !server::can_run() {
        return;
    }
    let _beside = MACHINE.read().unwrap_or_else(|broken| broken.into_inner());
    test();
}

/// Time and speed of each frame of a clip that `read` gives a speed.
fn read(clip: &std::path::Path) -> Vec<(f64, f64)> {
    let mut command = Command::new(env!("CARGO_BIN_EXE_engine-note"));
    let output = command
        .args(["read", "--format", "csv"])
        .arg(clip)
        .output()
        .unwrap();
    assert!(output.status.success());
    let mut rows = csv::Reader::from_reader(&output.stdout[..]);
    let heads = rows.headers().unwrap().clone();
    let column = |name: &str| heads.iter().position(|head| head == name).unwrap();
    let (t, rpm) = (column("t_s"), column("rpm"));
    rows.records()
        .map(Result::unwrap)
        .filter_map(|row| Some((row[t].parse().unwrap(), row[rpm].parse().ok()?)))
        .collect()
}

#[test]
fn readings_agree_with_those_of_the_clip() {
    shared(|| {
        for name in ["trimmer-rich.wav", "trimmer-set.wav"] {
            let server = Server::start();
            let kept = server.path("kept.wav");
            let path = kept.to_string_lossy().into_owned();
            let _playing = server.play("bench", &clip(name));
            let mut program = Program::start(&server, &["--seconds", "10", "--record", &path]);
            assert_eq!(program.end(), 0, "{}", program.said());
            assert_eq!(program.said(), "", "nothing to tell");
            let readings = program.readings();
            assert!(
                readings
                    .windows(2)
                    .all(|two| (two[1].t - two[0].t - 0.016).abs() < 1e-3)
            );
            let wav = WavReader::open(&kept).unwrap();
            assert_eq!(wav.duration(), 480_000, "ten seconds were kept");

            // Where the clip lies in what was heard: the program began after the clip did.
            let late = offset(&sound(&clip(name)), &sound(&kept), 3.0..4.0, -1.0..4.0);
            let read = read(&clip(name));
            let (mut both, mut agree) = (0, 0);
            for reading in &readings {
                let t = reading.t + late;
                let near: Vec<f64> = read
                    .iter()
                    .filter(|(at, _)| (at - t).abs() < 0.033)
                    .map(|(_, rpm)| *rpm)
                    .collect();
                let (Some(live), false) = (reading.rpm, near.is_empty()) else {
                    continue;
                };
                both += 1;
                let low = near.iter().fold(f64::MAX, |low, rpm| low.min(*rpm));
                let high = near.iter().fold(0.0, |high: f64, rpm| high.max(*rpm));
                agree += usize::from((0.99 * low..1.01 * high).contains(&live));
            }
            let share = agree as f64 / both as f64;
            eprintln!(
                "{name}: {agree} of {both} readings within 1 % of `read`, {} frames of it",
                read.len()
            );
            assert!(
                both > 300,
                "{name}: only {both} of {} are read by both",
                read.len()
            );
            assert!(share > 0.95, "{name}: {agree} of {both}");
        }
    });
}

#[test]
fn a_microphone_is_listed_and_its_name_opens_it() {
    shared(|| {
        let server = Server::start();
        server.pactl(&[
            "load-module",
            "module-null-sink",
            "sink_name=other",
            "sink_properties=device.description=Other",
        ]);
        let listed = command(&server, &["--list-mics"]).output().unwrap();
        let listed = String::from_utf8(listed.stdout).unwrap();
        assert!(
            listed.starts_with("* Monitor of Null Output  (bench.monitor)\n"),
            "{listed}"
        );
        assert!(
            listed.contains("  Monitor of Other  (other.monitor)\n"),
            "{listed}"
        );
        let _playing = server.play("other", &clip("trimmer-set.wav"));
        for name in ["other.monitor", "Monitor of Other"] {
            let program = Program::start(&server, &["--mic", name]);
            program.wait_to_read(true);
            assert_eq!(program.said(), "");
        }
    });
}
