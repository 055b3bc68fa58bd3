//! Windows, transforms and speeds against other libraries. Their output is stored in
//! fixtures/reference with the script that makes it and the versions that made it.
mod tones;

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

use engine_note::machine::Profile;
use engine_note::reading::{Listener, Look};
use engine_note::spectrum::{Lines, LogAxis, Spectrum, Window};
use engine_note::synth::{Scene, render};
use engine_note::tach::angle::{Angle, SAMPLES, Track};
use engine_note::tach::curve::Curve;
use engine_note::units::Hertz;
use serde_json::Value;
use tones::{RATE, median};

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

fn stored(name: &str) -> Value {
    let text = std::fs::read_to_string(fixtures().join("reference").join(name)).unwrap();
    serde_json::from_str(&text).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

#[test]
fn windows_are_those_of_scipy() {
    let reference = stored("windows.json");
    let length = reference["length"].as_u64().unwrap() as usize;
    for (name, window) in [
        ("Rectangle", Window::Rectangle),
        ("Hann", Window::Hann),
        ("Hamming", Window::Hamming),
        ("Blackman", Window::Blackman),
        ("BlackmanHarris", Window::BlackmanHarris),
        ("FlatTop", Window::FlatTop),
    ] {
        let theirs = numbers(&reference["windows"][name]);
        assert_eq!(theirs.len(), length);
        for (i, (ours, theirs)) in window.samples(length).iter().zip(theirs).enumerate() {
            assert!(
                (ours - theirs).abs() < 1e-8,
                "{name}, sample {i}: {ours} instead of {theirs}"
            );
        }
    }
}

/// The signal of a case: cosines of (cycles a sample, amplitude, phase).
fn signal(case: &Value) -> Vec<f32> {
    let lines: Vec<Vec<f64>> = case["lines"]
        .as_array()
        .unwrap()
        .iter()
        .map(numbers)
        .collect();
    (0..SAMPLES)
        .map(|n| {
            lines
                .iter()
                .map(|l| l[1] * (TAU * l[0] * n as f64 + l[2]).cos())
                .sum::<f64>() as f32
        })
        .collect()
}

#[test]
fn order_spectra_are_those_of_scipy() {
    for case in stored("spectra.json")["cases"].as_array().unwrap() {
        // At 31.25 revolutions a second a look has 256 samples a turn: the samples as they are. The
        // look takes the sound from half its length before the hop that it is cut around.
        let mut sound = vec![0.0; 4];
        sound.extend(signal(case));
        sound.extend([0.0; 4]);
        let path = [31.25; 64];
        let mut curve = Curve::default();
        curve.push(&sound);
        let track = Track {
            sound: curve.cubics(),
            origin: 4 + (SAMPLES / 2) as isize,
            hop: 128,
            path: &path,
        };
        let mut angle = Angle::new();
        let look = angle.cut(&track, 0, 1.0, false);
        assert_eq!(look.per_turn, 256);
        let theirs = numbers(&case["orders_db"]);
        assert_eq!(look.orders.len(), theirs.len());
        let strong = theirs.iter().filter(|t| **t > -70.0).count();
        assert!(strong > 5, "{strong} bins to compare");
        for (bin, (ours, theirs)) in look.orders.iter().zip(&theirs).enumerate() {
            let ours = 10.0 * f64::from(*ours);
            if *theirs > -70.0 {
                assert!(
                    (ours - theirs).abs() < 0.01,
                    "bin {bin}: {ours:.3} dB instead of {theirs:.3} dB"
                );
            } else {
                assert!(
                    ours < -69.0,
                    "bin {bin}: {ours:.3} dB instead of {theirs:.3} dB"
                );
            }
        }
    }
}

#[test]
fn line_spectra_are_those_of_scipy() {
    for case in stored("spectra.json")["cases"].as_array().unwrap() {
        let mut lines = Lines::default();
        Spectrum::new().lines(&signal(case), &mut lines);
        let looks = [numbers(&case["long_db"]), numbers(&case["short_db"])];
        let width = RATE / SAMPLES as f64;
        for line in case["lines"].as_array().unwrap().iter().map(numbers) {
            let hertz = line[0] * RATE;
            let bin = LogAxis::bin(Hertz(hertz)).round();
            let edge = |b: f64| LogAxis::frequency(b).0 / width;
            let (low, high) = (edge(bin - 0.5), edge(bin + 0.5));
            // Narrow bins of the axis lie between two of the transform, wide ones take the highest.
            let level = |look: &[f64]| {
                if high - low > 1.0 {
                    look[low.ceil() as usize..=high.floor() as usize]
                        .iter()
                        .fold(f64::MIN, |m, v| m.max(*v))
                } else {
                    let x = edge(bin);
                    let at = x as usize;
                    look[at] + (look[at + 1] - look[at]) * x.fract()
                }
            };
            let theirs = 0.5 * (level(&looks[0]) + level(&looks[1]));
            let ours = 10.0 * f64::from(lines.level[bin as usize]);
            assert!(
                (ours - theirs).abs() < 0.02,
                "{hertz:.1} Hz: {ours:.3} dB instead of {theirs:.3} dB"
            );
        }
    }
}

/// Speed on steady clips against three general-purpose pitch libraries. They do not know the octave
/// of a skipping engine, so a library counts where it found the firing note of the clip's truth
/// (within 3 %); where at least two did, our median has to be within 0.5 % of theirs.
#[test]
fn speed_on_steady_clips_agrees_with_pitch_libraries() {
    let mut compared = 0;
    for clip in stored("pitch.json")["clips"].as_array().unwrap() {
        let name = clip["scene"].as_str().unwrap();
        let (from, to) = (
            clip["from_s"].as_f64().unwrap(),
            clip["to_s"].as_f64().unwrap(),
        );
        let file = fixtures().join(format!("synth/{name}.scene.toml"));
        let scene = Scene::from_toml(&std::fs::read_to_string(file).unwrap()).unwrap();
        let (sound, truth) = render(&scene).unwrap().finish();
        let (cycle, cylinders) = (truth.cycle.unwrap(), truth.cylinders.unwrap());
        let machine = Profile {
            cycle,
            cylinders,
            ..Profile::default()
        };
        let inside = |t: f64| t >= from && t <= to;
        let rows = truth.rows.iter().filter(|r| inside(r.t_s));
        let truth = median(rows.filter_map(|r| r.rpm).map(|r| r.0).collect());
        let theirs: Vec<f64> = clip["hertz"]
            .as_object()
            .unwrap()
            .values()
            .filter_map(Value::as_f64)
            .map(|hertz| 60.0 * hertz / machine.firings_per_revolution())
            .filter(|rpm| (rpm / truth - 1.0).abs() < 0.03)
            .collect();
        if theirs.len() < 2 {
            continue;
        }
        let agreed =
            0.5 * (median(theirs.clone()) + median(theirs.iter().map(|r| -r).collect()).abs());
        let mut listener = Listener::new(scene.sample_rate, 1, &machine, Look::Ahead).unwrap();
        let mut frames = Vec::new();
        listener.push(&sound, &mut frames);
        listener.finish(&mut frames);
        let read: Vec<f64> = frames
            .iter()
            .filter(|f| inside(f.t.0))
            .filter_map(|f| f.speed.ok())
            .map(|s| s.rpm.0)
            .collect();
        assert!(
            read.len() > 60,
            "{name}: {} frames with a speed",
            read.len()
        );
        let ours = median(read);
        println!("{name}: {ours:.1} rpm, libraries {agreed:.1} rpm, truth {truth:.1} rpm");
        assert!(
            (ours / agreed - 1.0).abs() < 0.005,
            "{name}: {ours:.1} rpm, libraries {agreed:.1} rpm"
        );
        compared += 1;
    }
    assert!(compared >= 8, "only {compared} clips to compare");
}
