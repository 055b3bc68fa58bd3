//! One engine from found to left.
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use engine_note::procedure::{AsFound, Begin};
use engine_note::synth::{Live, Settings, Specimen, Surroundings, draw_specimen};
use serde_json::Value;

use super::hearing::{Errors, HOP_S, Perfect, Program};
use super::pipe::Pipe;
use super::technician::{Technician, View};

/// Samples a second of the engine's sound.
pub const RATE: u32 = 16_000;
/// Whoever is not done by then is unfinished.
const LONGEST: f64 = 3_600.0;
/// Share over the maker's maximum from which an engine counts as driven over it: its own wander.
const OVER: f64 = 1.005;

/// Who listens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ears {
    /// The truth without errors, late.
    Exact,
    /// The truth with stated errors.
    Perfect,
    /// The same with gaps, biases and wrong factors.
    Rough,
    /// Light skipping is heard too light on some engines.
    Dull,
    /// The program's session in this process, by sound.
    Sound,
    /// The program as a process, by sound through a pipe.
    Pipe,
}

/// How an engine was left.
#[derive(Clone, Debug, Default)]
pub struct Left {
    /// The program's verdict, or "unfinished".
    pub verdict: String,
    /// The faults it names, likeliest first.
    pub faults: Vec<String>,
    /// Where the screws were left.
    pub settings: Option<Settings>,
    /// Longest time over the maker's maximum without a pause, in seconds.
    pub over_longest: f64,
    /// All time over it.
    pub over_total: f64,
    /// Highest speed over the maximum, as a share of it.
    pub highest: f64,
    /// Longest time at full throttle.
    pub full_longest: f64,
    /// Screw prompts.
    pub moves: u32,
    /// Engine time, in seconds.
    pub seconds: f64,
    /// Times it stalled.
    pub stalls: u32,
}

/// One tuning of a specimen.
pub struct Case {
    /// Its seed.
    pub seed: u64,
    /// The planted fault.
    pub fault: Option<&'static str>,
    /// The engine.
    pub specimen: Specimen,
    /// Around it.
    pub around: Surroundings,
    /// The program for [`Ears::Pipe`].
    pub program: Option<PathBuf>,
    /// The screws stay as they are found.
    pub no_base: bool,
    /// Where the engine's sound is kept, as a WAV.
    pub sound: Option<PathBuf>,
}

impl Case {
    /// Draws it.
    pub fn new(seed: u64, fault: Option<&'static str>) -> Self {
        let (specimen, around) = draw_specimen(seed, fault);
        Case {
            seed,
            fault,
            specimen,
            around,
            program: None,
            no_base: false,
            sound: None,
        }
    }

    /// Tunes it; `trace` sees the time and each line of the stream and each answer.
    pub fn tune(
        &self,
        ears: Ears,
        mute: bool,
        mut trace: impl FnMut(f64, &str, &Live, &Settings),
    ) -> Result<Left, String> {
        let specimen = &self.specimen;
        // A third is found running warm, a third cold, a third stands.
        let (as_found, heat, runs) = match self.seed % 3 {
            0 => (AsFound::Warm, 1.0, true),
            1 => (AsFound::Cold, 0.1, true),
            _ => (AsFound::Stopped, 0.0, false),
        };
        let begin = Begin {
            as_found,
            skip_checks: self.seed.is_multiple_of(2),
            no_base: self.no_base,
        };
        let machine = &specimen.profile;
        let mut live = match ears {
            Ears::Sound | Ears::Pipe => {
                Live::sounding(specimen, &self.around, self.seed, RATE, heat, runs)
            }
            _ => Live::silent(specimen, self.seed, heat, runs),
        };
        let mut program = match ears {
            Ears::Sound => Some(Program::new(machine, begin, RATE)?),
            _ => None,
        };
        let mut pipe = match (ears, &self.program) {
            (Ears::Pipe, Some(program)) => {
                Some(Pipe::new(program, machine, begin, RATE).map_err(|e| e.to_string())?)
            }
            (Ears::Pipe, None) => return Err("--program is missing".into()),
            _ => None,
        };
        let errors = match ears {
            Ears::Exact => Errors::None,
            Ears::Rough => Errors::Rough,
            Ears::Dull => Errors::Dull,
            _ => Errors::Stated,
        };
        let mut perfect = Perfect::new(machine, begin, self.seed, errors);
        let mut technician = Technician::new(self.seed, specimen.found, runs, mute);
        let mut block = vec![0.0f32; (f64::from(RATE) * HOP_S).round() as usize];
        let mut lines: Vec<String> = vec![];
        let mut left = Left {
            verdict: "unfinished".into(),
            ..Left::default()
        };
        let mut sound = match &self.sound {
            Some(file) => Some(wav(file).map_err(|e| e.to_string())?),
            None => None,
        };
        let (mut over, mut full, mut ran) = (0.0, 0.0, runs);
        let maximum = specimen.maximum().0;
        let mut hop = 0u64;
        while left.seconds < LONGEST {
            let t = hop as f64 * HOP_S;
            let view = View {
                runs: live.runs(),
                attachment_turns: live.attachment_turns(),
            };
            let said = technician.tick(t, view);
            let mut answers = vec![];
            for line in &said {
                trace(t, line, &live, &technician.controls().settings);
                answers.push(serde_json::from_str(line).map_err(|e| e.to_string())?);
            }
            hop += 1;
            let now = hop as f64 * HOP_S;
            lines.clear();
            if let Some(pipe) = &mut pipe {
                live.pull(technician.controls(), &mut block);
                let heard = pipe.hop(&block, &said, &mut lines);
                heard.map_err(|e| e.to_string())?;
            } else if let Some(program) = &mut program {
                live.pull(technician.controls(), &mut block);
                program.hop(&block, &answers, &mut lines);
            } else {
                live.pass(technician.controls(), (1_000.0 * HOP_S) as u64);
                perfect.hop(now, &live, &answers, &mut lines);
            }
            if let Some(sound) = &mut sound {
                for sample in &block {
                    sound.write_sample(*sample).map_err(|e| e.to_string())?;
                }
            }
            // Under a limiter the shaft is slower than the engine would like to be.
            let ratio = live.speed().0.min(live.shaft_speed().0) / maximum;
            left.highest = left.highest.max(ratio);
            over = if ratio > OVER { over + HOP_S } else { 0.0 };
            left.over_longest = left.over_longest.max(over);
            left.over_total += if ratio > OVER { HOP_S } else { 0.0 };
            full = if live.throttle() > 0.8 && live.runs() {
                full + HOP_S
            } else {
                0.0
            };
            left.full_longest = left.full_longest.max(full);
            left.stalls += u32::from(ran && !live.runs() && technician.controls().ignition);
            ran = live.runs();
            left.seconds = now;
            let mut ended = false;
            for line in &lines {
                trace(now, line, &live, &technician.controls().settings);
                if line.contains("\"event\":\"reading\"") {
                    continue;
                }
                technician.hear(line, now);
                if line.contains("\"event\":\"result\"") {
                    result(line, &mut left)?;
                    ended = true;
                }
            }
            if ended {
                break;
            }
        }
        if let Some(sound) = sound {
            sound.finalize().map_err(|e| e.to_string())?;
        }
        left.moves = technician.moves;
        left.settings = Some(technician.controls().settings);
        Ok(left)
    }
}

/// Mono 32-bit floats at [`RATE`].
fn wav(file: &Path) -> hound::Result<hound::WavWriter<BufWriter<File>>> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    hound::WavWriter::create(file, spec)
}

fn result(line: &str, left: &mut Left) -> Result<(), String> {
    let value: Value = serde_json::from_str(line).map_err(|e| e.to_string())?;
    left.verdict = value["verdict"].as_str().unwrap_or("unfinished").into();
    let faults = value["faults"].as_array().cloned().unwrap_or_default();
    left.faults = faults
        .iter()
        .filter_map(|fault| fault["id"].as_str())
        .map(String::from)
        .collect();
    Ok(())
}
