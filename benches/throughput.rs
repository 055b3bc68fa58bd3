//! The whole path, its parts, and a general-purpose pitch tracker on the same sound:
//! `cargo bench --bench throughput`. Times are for 10 s of sound: 10 s over the time is "times real
//! time".
//!
//! - whole: a WAV in memory (48 kHz, mono, 16 bits) through `Clip` and `Listener`, as for a file.
//! - transforms: the bare transforms of that path and nothing else: one of 2,048 complex samples a hop,
//!   which carries both looks for the lines, and one of 1,024 for the look in crank angle, which takes
//!   two real samples for a complex one. Steady sound is cut once a hop on average, saws three times.
//! - saws: the same of 10 s of real saws (two recordings of `fixtures/recordings`, 44.1 kHz), whose
//!   speed moves.
//! - tracker: YIN and McLeod of the crate `pitch-detection` (general-purpose, MIT or Apache-2.0), with a
//!   reading as often as ours and a window of two periods of the slowest speed, once on the sound as it is
//!   and once on the sound at our working rate, which spares it the work that we save.
use std::hint::black_box;
use std::io::Cursor;
use std::path::Path;
use std::time::Duration;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use engine_note::capture::{Clip, Resampler, WORKING_RATE};
use engine_note::machine::Profile;
use engine_note::reading::{Listener, Look};
use engine_note::spectrum::HOP;
use engine_note::synth::{Scene, render};
use pitch_detection::detector::PitchDetector;
use pitch_detection::detector::mcleod::McLeodDetector;
use pitch_detection::detector::yin::YINDetector;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

const RATE: u32 = 48_000;
const SECONDS: u32 = 10;

/// Ten seconds of an engine that four-strokes at full throttle.
fn sound() -> Vec<f32> {
    let text = include_str!("../fixtures/synth/every-second.scene.toml");
    let mut scene = Scene::from_toml(text).unwrap();
    scene.seconds.0 = f64::from(SECONDS);
    assert_eq!((scene.sample_rate, scene.channels), (RATE, 1));
    render(&scene).unwrap().finish().0
}

/// Ten seconds of real saws, and their sample rate.
fn saws() -> (Vec<f32>, u32) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/recordings/saw");
    let (mut sound, mut block, mut rate) = (Vec::new(), Vec::new(), 0);
    for name in ["1-19898-A.ogg", "2-77945-A.ogg"] {
        let mut clip = Clip::from_path(&folder.join(name)).unwrap();
        rate = clip.facts().sample_rate;
        while clip.next_block(&mut block).unwrap() {
            sound.extend_from_slice(&block);
        }
    }
    sound.truncate((rate * SECONDS) as usize);
    (sound, rate)
}

fn wav(sound: &[f32], rate: u32) -> Vec<u8> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for x in sound {
        writer
            .write_sample((x.clamp(-1.0, 1.0) * 32_767.0) as i16)
            .unwrap();
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

fn working(sound: &[f32]) -> Vec<f32> {
    let mut resampler = Resampler::new(RATE, 1).unwrap();
    let mut out = vec![Vec::new()];
    resampler.push(sound, &mut out);
    resampler.finish(&mut out);
    out.remove(0)
}

fn read(bytes: &[u8], rate: u32, machine: &Profile) -> usize {
    let (mut block, mut frames) = (Vec::new(), Vec::new());
    let mut clip = Clip::from_bytes(Cursor::new(bytes.to_vec())).unwrap();
    let mut listener = Listener::new(rate, 1, machine, Look::Ahead).unwrap();
    while clip.next_block(&mut block).unwrap() {
        listener.push(&block, &mut frames);
    }
    listener.finish(&mut frames);
    frames.len()
}

/// The bare transforms of 10 s, with so many cuts a hop.
fn transforms(cuts: usize) -> impl FnMut() -> f32 {
    let mut planner = FftPlanner::<f32>::new();
    let mut plan = |length: usize| {
        let fft = planner.plan_fft_forward(length);
        let scratch = vec![Complex::default(); fft.get_inplace_scratch_len()];
        (fft, vec![Complex::default(); length], scratch)
    };
    let (mut lines, mut look) = (plan(2_048), plan(1_024));
    move || {
        let hops = SECONDS as usize * WORKING_RATE as usize / HOP;
        for hop in 0..hops {
            let (fft, bins, scratch) = &mut lines;
            bins.fill(Complex::new(hop as f32, 1.0));
            fft.process_with_scratch(bins, scratch);
            for _ in 0..cuts {
                let (fft, bins, scratch) = &mut look;
                bins.fill(Complex::new(hop as f32, 1.0));
                fft.process_with_scratch(bins, scratch);
            }
        }
        lines.1[1].re + look.1[1].re
    }
}

fn whole(criterion: &mut Criterion) {
    let sound = sound();
    let bytes = wav(&sound, RATE);
    let machine = Profile::default();
    let mut group = criterion.benchmark_group("10 s, 48 kHz mono");
    group
        .measurement_time(Duration::from_secs(5))
        .sample_size(20);
    group.throughput(Throughput::Elements((RATE * SECONDS).into()));
    group.bench_function("whole", |bench| {
        bench.iter(|| black_box(read(&bytes, RATE, &machine)));
    });
    for (name, look) in [("listener", Look::Ahead), ("listener, live", Look::Live)] {
        group.bench_function(name, |bench| {
            let mut frames = Vec::new();
            bench.iter(|| {
                let mut listener = Listener::new(RATE, 1, &machine, look).unwrap();
                frames.clear();
                for block in sound.chunks(4_096) {
                    listener.push(block, &mut frames);
                }
                listener.finish(&mut frames);
                black_box(frames.len())
            });
        });
    }
    group.bench_function("resampler", |bench| {
        bench.iter(|| black_box(working(&sound).len()))
    });
    group.bench_function("transforms", |bench| {
        let mut run = transforms(1);
        bench.iter(|| black_box(run()));
    });
    let (sound, rate) = saws();
    let bytes = wav(&sound, rate);
    group.throughput(Throughput::Elements((rate * SECONDS).into()));
    group.bench_function("saws, whole", |bench| {
        bench.iter(|| black_box(read(&bytes, rate, &machine)));
    });
    group.bench_function("saws, transforms", |bench| {
        let mut run = transforms(3);
        bench.iter(|| black_box(run()));
    });
    group.finish();
}

fn tracker(criterion: &mut Criterion) {
    let full = sound();
    let low = working(&full);
    let mut group = criterion.benchmark_group("10 s, general-purpose tracker");
    group
        .measurement_time(Duration::from_secs(5))
        .sample_size(10);
    group.throughput(Throughput::Elements((RATE * SECONDS).into()));
    for (name, sound, rate) in [("48 kHz", &full, RATE), ("8 kHz", &low, WORKING_RATE)] {
        // Two periods of 1,200 rpm: 0.1 s.
        let window = rate as usize / 10;
        let hop = HOP * rate as usize / WORKING_RATE as usize;
        let mut run = |name: String, detector: &mut dyn PitchDetector<f32>| {
            group.bench_function(name, |bench| {
                bench.iter(|| {
                    let mut found = 0;
                    for from in (0..sound.len() - window).step_by(hop) {
                        let pitch = detector.get_pitch(
                            &sound[from..from + window],
                            rate as usize,
                            0.0,
                            0.3,
                        );
                        found += usize::from(pitch.is_some());
                    }
                    black_box(found)
                });
            });
        };
        run(
            format!("yin, {name}"),
            &mut YINDetector::new(window, window / 2),
        );
        run(
            format!("mcleod, {name}"),
            &mut McLeodDetector::new(window, window / 2),
        );
    }
    group.finish();
}

criterion_group!(benches, whole, tracker);
criterion_main!(benches);
