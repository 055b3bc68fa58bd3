//! Each kind of recording and each layout of samples, against the closed form of the tone in it.
//!
//! The clips in fixtures/formats were made by other programs (fixtures/formats/make.sh): channel c
//! is a sine of 500 + 100·c Hz with amplitude 0.5 and phase 0 at the first sample.
use std::f64::consts::TAU;
use std::fs::File;
use std::io::Read;
use std::path::PathBuf;

use engine_note::capture::{Clip, Facts, Fault, Resampler, Source, WORKING_RATE, open};

/// How far a clip may be from the tone.
#[derive(Clone, Copy)]
enum Coding {
    /// Each sample within this many steps of 2^-bits of full scale.
    Exact(i32),
    /// The tone within 3 % of its amplitude and what is left of the sound 20 dB below it.
    Lossy,
}
use Coding::{Exact, Lossy};

struct Case {
    file: &'static str,
    format: &'static str,
    rate: u32,
    channels: usize,
    seconds: f64,
    coding: Coding,
}

const fn case(
    file: &'static str,
    format: &'static str,
    rate: u32,
    channels: usize,
    seconds: f64,
    coding: Coding,
) -> Case {
    Case {
        file,
        format,
        rate,
        channels,
        seconds,
        coding,
    }
}

const CASES: [Case; 41] = [
    case("u8.wav", "WAV, 8-bit", 8_000, 1, 0.6, Exact(7)),
    case("s16.wav", "WAV, 16-bit", 16_000, 1, 0.6, Exact(15)),
    case("s24.wav", "WAV, 24-bit", 11_025, 1, 0.6, Exact(23)),
    case("s32.wav", "WAV, 32-bit", 12_000, 1, 0.6, Exact(23)),
    case("f32.wav", "WAV, 32-bit float", 22_050, 1, 0.51, Exact(23)),
    case("f64.wav", "WAV, 64-bit float", 8_000, 1, 0.51, Exact(23)),
    case("stereo.wav", "WAV, 16-bit", 44_100, 2, 0.51, Exact(15)),
    case("six.wav", "WAV, 16-bit", 8_000, 6, 0.51, Exact(15)),
    case("eight.wav", "WAV, 16-bit", 8_000, 8, 0.51, Exact(15)),
    case("192k.wav", "WAV, 8-bit", 192_000, 1, 0.51, Exact(7)),
    case("rf64.wav", "WAV, 16-bit", 8_000, 1, 0.51, Exact(15)),
    case("mulaw.wav", "mu-law in WAV", 8_000, 1, 0.6, Lossy),
    case("alaw.wav", "A-law in WAV", 8_000, 1, 0.6, Lossy),
    case("adpcm.wav", "ADPCM in WAV", 22_050, 1, 1.0, Lossy),
    case("plain.flac", "FLAC", 48_000, 1, 0.8, Exact(15)),
    case("stereo.flac", "FLAC", 8_000, 2, 1.0, Exact(23)),
    case("flac.oga", "FLAC in Ogg", 16_000, 1, 1.0, Exact(15)),
    case("cbr.mp3", "MP3", 44_100, 1, 1.0, Lossy),
    case("vbr.mp3", "MP3", 22_050, 1, 1.0, Lossy),
    case("stereo.mp3", "MP3", 48_000, 2, 1.0, Lossy),
    case("bare.mp3", "MP3", 44_100, 1, 1.0, Lossy),
    case("vorbis.ogg", "Vorbis in Ogg", 44_100, 1, 1.0, Lossy),
    case("vorbis.webm", "Vorbis in WebM", 48_000, 2, 1.0, Lossy),
    case("aac.m4a", "AAC in MP4", 44_100, 1, 1.0, Lossy),
    case("index-first.m4a", "AAC in MP4", 44_100, 1, 1.0, Lossy),
    case("aac.mp4", "AAC in MP4", 48_000, 2, 1.0, Lossy),
    case("aac.mov", "AAC in MP4", 48_000, 1, 1.0, Lossy),
    case("aac.3gp", "AAC in MP4", 16_000, 1, 1.0, Lossy),
    case("fragments.mp4", "AAC in MP4", 44_100, 1, 1.0, Lossy),
    case("film.mp4", "AAC in MP4", 48_000, 1, 1.0, Lossy),
    case("adts.aac", "AAC", 44_100, 1, 1.0, Lossy),
    case("alac.m4a", "ALAC in MP4", 16_000, 1, 1.0, Exact(15)),
    case("alac.caf", "ALAC in CAF", 12_000, 2, 1.0, Exact(15)),
    case("s16.caf", "16-bit in CAF", 16_000, 1, 1.0, Exact(15)),
    case("s16.aiff", "16-bit in AIFF", 11_025, 1, 1.0, Exact(15)),
    case("s24.aif", "24-bit in AIFF", 8_000, 2, 1.0, Exact(23)),
    case("f32.aifc", "32-bit float in AIFF", 8_000, 1, 1.0, Exact(23)),
    case("voice.opus", "Opus in Ogg", 48_000, 1, 1.0, Lossy),
    case("stereo.opus", "Opus in Ogg", 48_000, 2, 1.0, Lossy),
    case("slow.opus", "Opus in Ogg", 48_000, 1, 1.0, Lossy),
    case("opus.webm", "Opus in WebM", 48_000, 1, 1.0, Lossy),
];

/// Clips that do not say how late their coder is, so that the tone starts late.
const DELAY_UNKNOWN: [&str; 3] = ["bare.mp3", "adts.aac", "fragments.mp4"];

/// Clips that are read from their end or back and forth.
const NEEDS_FILE: [&str; 8] = [
    "aac.m4a", "aac.mp4", "aac.mov", "aac.3gp", "film.mp4", "alac.m4a", "alac.caf", "s16.caf",
];

fn path(file: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/formats")
        .join(file)
}

fn read_all(mut clip: Clip) -> (Facts, Vec<f32>) {
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while clip.next_block(&mut block).unwrap() {
        all.extend_from_slice(&block);
    }
    assert_eq!(clip.warnings(), []);
    (clip.facts().clone(), all)
}

fn channel(interleaved: &[f32], at: usize, of: usize) -> Vec<f64> {
    interleaved[at..]
        .iter()
        .step_by(of)
        .map(|&x| f64::from(x))
        .collect()
}

/// The sine of this frequency in a sound by least squares: amplitude, phase in radians against the
/// first sample, and the root-mean-square of the rest.
fn sine(sound: &[f64], first: usize, cycles_per_sample: f64) -> (f64, f64, f64) {
    let wave = |n: usize| (TAU * cycles_per_sample * (n + first) as f64).sin_cos();
    let (mut ss, mut sc, mut cc, mut xs, mut xc) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (n, x) in sound.iter().enumerate() {
        let (s, c) = wave(n);
        (ss, sc, cc, xs, xc) = (ss + s * s, sc + s * c, cc + c * c, xs + x * s, xc + x * c);
    }
    let det = ss * cc - sc * sc;
    let (a, b) = ((xs * cc - xc * sc) / det, (xc * ss - xs * sc) / det);
    let rest: f64 = sound
        .iter()
        .enumerate()
        .map(|(n, x)| {
            let (s, c) = wave(n);
            (x - a * s - b * c).powi(2)
        })
        .sum();
    (a.hypot(b), b.atan2(a), (rest / sound.len() as f64).sqrt())
}

#[test]
fn every_format_and_layout_gives_its_tone() {
    for case in CASES {
        let Case {
            file,
            rate,
            channels,
            ..
        } = case;
        let (facts, all) = read_all(open(&Source::File(path(file))).expect(file));
        assert_eq!(
            (facts.sample_rate, facts.channels),
            (rate, channels),
            "{file}"
        );
        assert_eq!(facts.format, case.format, "{file}");
        assert_eq!(all.len() % channels, 0, "{file}");
        let seconds = (all.len() / channels) as f64 / f64::from(rate);
        match case.coding {
            Exact(bits) => {
                assert_eq!(
                    all.len(),
                    (case.seconds * f64::from(rate)).round() as usize * channels
                );
                // The writer of this one counts whole packets.
                let over = if file == "alac.caf" { 0.024 } else { 0.0 };
                let declared = facts.seconds.expect(file);
                assert!(
                    (declared - case.seconds - over).abs() < 1e-3,
                    "{file}: {declared} s"
                );
                for (n, &x) in all.iter().enumerate() {
                    let hertz = (500 + 100 * (n % channels)) as f64;
                    let expected =
                        0.5 * (TAU * hertz * (n / channels) as f64 / f64::from(rate)).sin();
                    let off = (f64::from(x) - expected).abs();
                    assert!(
                        off <= 2f64.powi(-bits),
                        "{file}, sample {n}: {x} for {expected}"
                    );
                }
            }
            Lossy => {
                // A coder may add up to a packet (0.06 s) and its delay (2,112 samples) at the end.
                assert!(
                    (-1e-3..0.11).contains(&(seconds - case.seconds)),
                    "{file}: {seconds} s"
                );
                if let Some(declared) = facts.seconds {
                    assert!(
                        (declared - seconds).abs() < 0.08,
                        "{file}: {declared} s, {seconds} s"
                    );
                }
                for at in 0..channels {
                    let hertz = (500 + 100 * at) as f64;
                    let sound = channel(&all, at, channels);
                    // The middle, since coders ring at both ends.
                    let (first, last) = (
                        rate as usize / 10,
                        (case.seconds * 0.9 * f64::from(rate)) as usize,
                    );
                    let sound = &sound[first..last];
                    let (amplitude, phase, rest) = sine(sound, first, hertz / f64::from(rate));
                    assert!(
                        (amplitude - 0.5).abs() < 0.015,
                        "{file}: amplitude {amplitude}"
                    );
                    assert!(rest < 0.035, "{file}: {rest} beside the tone");
                    if !DELAY_UNKNOWN.contains(&file) {
                        let late = -phase / TAU / hertz;
                        assert!(late.abs() < 60e-6, "{file}: starts {late} s late");
                    }
                }
            }
        }
    }
}

/// A clip from a pipe is the same sound, for all kinds that need no look ahead.
#[test]
fn pipe_gives_the_same_samples_as_a_file() {
    for case in CASES {
        let file = case.file;
        let from_file = read_all(open(&Source::File(path(file))).unwrap());
        let piped = Clip::from_pipe(Dribble {
            file: File::open(path(file)).unwrap(),
            turn: 0,
        });
        let piped = match piped {
            Ok(clip) => read_all(clip),
            Err(fault) => {
                assert_eq!(fault, Fault::NeedsFile, "{file}");
                assert!(NEEDS_FILE.contains(&file), "{file}");
                continue;
            }
        };
        // What only the end or the index tells is not known in a pipe: the delay of the coder and
        // the padding behind the sound.
        let (long, short) = (&piped.1, &from_file.1);
        assert!(long.len() >= short.len(), "{file}");
        assert!(
            long.windows(short.len())
                .step_by(case.channels)
                .any(|part| part == short),
            "{file}"
        );
    }
}

/// Gives a file in pieces of odd sizes, as a pipe does.
struct Dribble {
    file: File,
    turn: usize,
}

impl Read for Dribble {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.turn += 1;
        let size = [1, 3, 700, 4_093, 17][self.turn % 5].min(buffer.len());
        self.file.read(&mut buffer[..size])
    }
}

/// From any clip to the working rate: the tone is where it was.
#[test]
fn every_format_keeps_its_tone_at_the_working_rate() {
    for case in CASES {
        let (facts, all) = read_all(open(&Source::File(path(case.file))).unwrap());
        let mut resampler = Resampler::new(facts.sample_rate, facts.channels).unwrap();
        let mut out = vec![Vec::new(); facts.channels];
        resampler.push(&all, &mut out);
        resampler.finish(&mut out);
        for (at, sound) in out.iter().enumerate() {
            let hertz = (500 + 100 * at) as f64;
            let sound: Vec<f64> = sound.iter().map(|&x| f64::from(x)).collect();
            let (first, last) = (800, (case.seconds * 7_200.0) as usize);
            let (amplitude, phase, rest) =
                sine(&sound[first..last], first, hertz / f64::from(WORKING_RATE));
            assert!(
                (amplitude - 0.5).abs() < 0.015,
                "{}: {amplitude}",
                case.file
            );
            assert!(rest < 0.035, "{}: {rest} beside the tone", case.file);
            if !DELAY_UNKNOWN.contains(&case.file) {
                let late = -phase / TAU / hertz;
                assert!(late.abs() < 60e-6, "{}: {late} s late", case.file);
            }
        }
    }
}
