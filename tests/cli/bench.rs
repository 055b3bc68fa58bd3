//! A folder of its own for each test, in which the real program runs; and sounds to give it.
use std::fs;
use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Output, Stdio};

use hound::{SampleFormat, WavSpec, WavWriter};
use serde_json::Value;
use tempfile::TempDir;

pub const RATE: u32 = 16_000;

/// A folder of its own for each test, in which the program runs.
pub struct Bench {
    folder: TempDir,
}

impl Bench {
    pub fn new() -> Bench {
        Bench {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn file(&self, name: &str, bytes: &[u8]) -> &Self {
        fs::create_dir_all(self.path(name).parent().unwrap()).unwrap();
        fs::write(self.path(name), bytes).unwrap();
        self
    }

    pub fn wav(&self, name: &str, samples: impl IntoIterator<Item = f32>) -> &Self {
        let bytes = wav(samples);
        self.file(name, &bytes)
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_engine-note"));
        command.args(arguments).current_dir(self.folder.path());
        for variable in [
            "COLUMNS",
            "LANG",
            "LC_ALL",
            "LC_CTYPE",
            "CLICOLOR_FORCE",
            "RUST_BACKTRACE",
        ] {
            command.env_remove(variable);
        }
        command
    }

    pub fn output(&self, arguments: &[&str]) -> Output {
        self.command(arguments)
            .stdin(Stdio::null())
            .output()
            .unwrap()
    }

    pub fn output_with_input(&self, arguments: &[&str], input: &[u8]) -> Output {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let input = input.to_vec();
        let feed = std::thread::spawn(move || stdin.write_all(&input));
        let output = child.wait_with_output().unwrap();
        // The program may end before it has read everything.
        let _ = feed.join().unwrap();
        output
    }

    pub fn run(&self, arguments: &[&str]) -> String {
        told(&self.output(arguments))
    }
}

/// Code, standard output and standard error as one text.
pub fn told(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    format!(
        "code: {}\n--- out\n{}--- err\n{}",
        output.status.code().unwrap(),
        text(&output.stdout),
        text(&output.stderr)
    )
}

/// A 16-bit WAV, one channel, 16 kHz.
pub fn wav(samples: impl IntoIterator<Item = f32>) -> Vec<u8> {
    let spec = WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut bytes = std::io::Cursor::new(vec![]);
    let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
    for sample in samples {
        writer.write_sample((sample * 32_767.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

/// A harmonic tone at a crank speed, so many seconds long: no engine needed for what is tested here.
pub fn tone(seconds: f64, rpm: f64, peak: f32) -> impl Iterator<Item = f32> {
    (0..(seconds * f64::from(RATE)) as usize).map(move |i| {
        let turn = i as f64 / f64::from(RATE) * rpm / 60.0 * std::f64::consts::TAU;
        (1..=6)
            .map(|order| (turn * f64::from(order)).sin() as f32 / order as f32)
            .sum::<f32>()
            * peak
            / 2.0
    })
}

/// Figures replaced, so that only words are left.
pub fn words(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '0'..='9' if out.ends_with('#') => {}
            '0'..='9' => out.push('#'),
            '.' | ',' if out.ends_with('#') => out.push('\u{0}'),
            other => out.push(other),
        }
        // "#<sep>#" is one figure.
        if out.ends_with("\u{0}#") {
            out.truncate(out.len() - 2);
        }
    }
    out.replace('\u{0}', ".")
}

pub fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {}", told(output)))
}

/// The head of a WAV with 16 bits, then `data`; `declared` is the length that the head claims.
pub fn headed(rate: u32, channels: u16, declared: u32, data: &[u8]) -> Vec<u8> {
    let mut out = b"RIFF".to_vec();
    out.extend((36 + declared).to_le_bytes());
    out.extend(b"WAVEfmt ");
    out.extend(16u32.to_le_bytes());
    out.extend(1u16.to_le_bytes());
    out.extend(channels.to_le_bytes());
    out.extend(rate.to_le_bytes());
    out.extend((rate * u32::from(channels) * 2).to_le_bytes());
    out.extend((channels * 2).to_le_bytes());
    out.extend(16u16.to_le_bytes());
    out.extend(b"data");
    out.extend(declared.to_le_bytes());
    out.extend(data);
    out
}

pub fn float_wav(samples: impl IntoIterator<Item = f32>) -> Vec<u8> {
    let spec = WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 32,
        sample_format: SampleFormat::Float,
    };
    let mut bytes = std::io::Cursor::new(vec![]);
    let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
    samples
        .into_iter()
        .for_each(|sample| writer.write_sample(sample).unwrap());
    writer.finalize().unwrap();
    bytes.into_inner()
}

/// Bytes without sense, the same each time.
pub fn noise(count: usize) -> Vec<u8> {
    let mut state = 1u64;
    (0..count)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 56) as u8
        })
        .collect()
}
