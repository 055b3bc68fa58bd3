//! What reading costs: bytes to samples, samples to the working rate, and both, for one second of
//! sound. Run with `cargo bench --bench decode`.
use std::fs;
use std::hint::black_box;
use std::io::Cursor;
use std::path::PathBuf;
use std::time::Duration;

use criterion::{BatchSize, BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use engine_note::capture::{Clip, Resampler};

/// Seconds of sound in a clip that is made here.
const SECONDS: u32 = 10;

/// Noise that no coder and no branch predictor sees through, at half of full scale.
fn noise(samples: u32) -> impl Iterator<Item = f32> {
    let mut state = 0x2545_F491_u32;
    (0..samples).map(move |_| {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        (state as f32 / u32::MAX as f32) - 0.5
    })
}

fn wav(rate: u32, channels: u16) -> Vec<u8> {
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for x in noise(rate * SECONDS * u32::from(channels)) {
        writer.write_sample((x * 32_767.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

fn read(bytes: Vec<u8>, block: &mut Vec<f32>) -> u64 {
    let mut clip = Clip::from_bytes(Cursor::new(bytes)).unwrap();
    let mut samples = 0;
    while clip.next_block(block).unwrap() {
        samples += black_box(&block).len() as u64;
    }
    samples
}

fn plain(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("10 s of WAV");
    group.measurement_time(Duration::from_secs(3));
    for (rate, channels) in [(48_000, 1), (44_100, 2), (192_000, 1)] {
        let bytes = wav(rate, channels);
        let name = format!("{rate} Hz, {channels} ch");
        group.throughput(Throughput::Elements((rate * SECONDS).into()));
        group.bench_function(BenchmarkId::new("read", &name), |bench| {
            let mut block = Vec::new();
            bench.iter_batched(
                || bytes.clone(),
                |it| read(it, &mut block),
                BatchSize::LargeInput,
            );
        });
        let sound: Vec<f32> = noise(rate * SECONDS * u32::from(channels)).collect();
        group.bench_function(BenchmarkId::new("resample", &name), |bench| {
            let channels = usize::from(channels);
            let mut resampler = Resampler::new(rate, channels).unwrap();
            let mut out = vec![Vec::new(); channels];
            bench.iter(|| {
                out.iter_mut().for_each(Vec::clear);
                for block in sound.chunks(16_384) {
                    resampler.push(block, &mut out);
                }
                resampler.finish(&mut out);
                black_box(out[0].len())
            });
        });
    }
    group.finish();
}

fn compressed(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("1 s of a clip");
    group.measurement_time(Duration::from_secs(2));
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/formats");
    for file in [
        "plain.flac",
        "cbr.mp3",
        "vorbis.ogg",
        "aac.m4a",
        "alac.m4a",
        "voice.opus",
    ] {
        let bytes = fs::read(folder.join(file)).unwrap();
        let mut block = Vec::new();
        group.throughput(Throughput::Elements(read(bytes.clone(), &mut block)));
        group.bench_function(file, |bench| {
            bench.iter_batched(
                || bytes.clone(),
                |it| read(it, &mut block),
                BatchSize::SmallInput,
            );
        });
    }
    group.finish();
}

criterion_group!(benches, plain, compressed);
criterion_main!(benches);
