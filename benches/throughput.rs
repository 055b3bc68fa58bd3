//! The whole path, its parts, and a general-purpose pitch tracker on the same sound:
//! `cargo bench --bench throughput`. Times are for 10 s of sound: 10 s over the time is "times real
//! time".
//!
//! - whole: a WAV in memory (48 kHz, mono, 16 bits) through `Clip` and `Listener`, as for a file.
//! - transforms: the bare transforms of that path and nothing else: two of 2,048 real samples a hop for
//!   the lines, one for the look in crank angle (two where the speed moves; here it does not).
//! - tracker: YIN and McLeod of the crate `pitch-detection` (general-purpose, MIT or Apache-2.0), with a
//!   reading as often as ours and a window of two periods of the slowest speed, once on the sound as it is
//!   and once on the sound at our working rate, which spares it the work that we save.
use std::hint::black_box;
use std::io::Cursor;
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
use realfft::RealFftPlanner;

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

fn wav(sound: &[f32]) -> Vec<u8> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
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

fn whole(criterion: &mut Criterion) {
    let sound = sound();
    let bytes = wav(&sound);
    let machine = Profile::default();
    let mut group = criterion.benchmark_group("10 s, 48 kHz mono");
    group
        .measurement_time(Duration::from_secs(5))
        .sample_size(20);
    group.throughput(Throughput::Elements((RATE * SECONDS).into()));
    group.bench_function("whole", |bench| {
        let (mut block, mut frames) = (Vec::new(), Vec::new());
        bench.iter(|| {
            let mut clip = Clip::from_bytes(Cursor::new(bytes.clone())).unwrap();
            let mut listener = Listener::new(RATE, 1, &machine, Look::Ahead).unwrap();
            frames.clear();
            while clip.next_block(&mut block).unwrap() {
                listener.push(&block, &mut frames);
            }
            listener.finish(&mut frames);
            black_box(frames.len())
        });
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
        let hops = SECONDS as usize * WORKING_RATE as usize / HOP;
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(2_048);
        let (mut time, mut bins, mut scratch) = (
            fft.make_input_vec(),
            fft.make_output_vec(),
            fft.make_scratch_vec(),
        );
        bench.iter(|| {
            for hop in 0..3 * hops {
                time.fill(hop as f32);
                fft.process_with_scratch(&mut time, &mut bins, &mut scratch)
                    .unwrap();
            }
            black_box(bins[1])
        });
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
