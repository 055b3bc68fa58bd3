//! The program as a process: sound into its standard input, events out of its standard output,
//! answers through a named pipe.
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use engine_note::machine::Profile;
use engine_note::procedure::{AsFound, Begin};
use serde_json::Value;

use super::hearing::HOP_S;

/// Seconds that the readings may be behind the sound before the sound waits for them.
const BEHIND: f64 = 0.5;

/// A running `engine-note tune`.
pub struct Pipe {
    child: Child,
    sound: Option<ChildStdin>,
    answers: File,
    lines: Receiver<String>,
    hops: u64,
    readings: u64,
    /// Time between readings, as the first event says it.
    hop_s: f64,
    ended: bool,
    _folder: tempfile::TempDir,
}

impl Pipe {
    /// Starts `program` for a machine; the sound has `rate` samples a second.
    pub fn new(
        program: &Path,
        machine: &Profile,
        begin: Begin,
        rate: u32,
    ) -> Result<Self, std::io::Error> {
        let folder = tempfile::tempdir()?;
        let profile = folder.path().join("machine.toml");
        std::fs::write(&profile, machine.to_toml())?;
        let fifo = folder.path().join("answers");
        let made = Command::new("mkfifo").arg(&fifo).status()?;
        if !made.success() {
            return Err(std::io::Error::other("mkfifo failed"));
        }
        // Open both ways, so that neither side waits for the other.
        let answers = OpenOptions::new().read(true).write(true).open(&fifo)?;
        let as_found = match begin.as_found {
            AsFound::Warm => "warm",
            AsFound::Cold => "cold",
            AsFound::Stopped => "stopped",
        };
        let mut command = Command::new(program);
        command
            .args(["tune", "--from", "-", "--events", "ndjson", "--raw"])
            .arg(format!("s16le:{rate}:1"))
            .args(["--as-found", as_found, "--machine"])
            .arg(&profile)
            .arg("--answers")
            .arg(&fifo)
            .current_dir(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped());
        if begin.skip_checks {
            command.arg("--skip-checks");
        }
        let mut child = command.spawn()?;
        let sound = child.stdin.take();
        let out = child.stdout.take();
        let (send, lines) = channel();
        std::thread::spawn(move || {
            let Some(out) = out else { return };
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    return;
                }
            }
        });
        Ok(Pipe {
            child,
            sound,
            answers,
            lines,
            hops: 0,
            readings: 0,
            hop_s: HOP_S,
            ended: false,
            _folder: folder,
        })
    }

    /// One hop of sound and the answers before it; appends the lines that came.
    pub fn hop(
        &mut self,
        block: &[f32],
        answers: &[String],
        lines: &mut Vec<String>,
    ) -> Result<(), std::io::Error> {
        for answer in answers {
            writeln!(self.answers, "{answer}")?;
        }
        let bytes: Vec<u8> = block
            .iter()
            .flat_map(|x| ((x * 32_767.0) as i16).to_le_bytes())
            .collect();
        if let Some(sound) = &mut self.sound {
            // Whoever has given the result may be gone.
            let _ = sound.write_all(&bytes);
        }
        self.hops += 1;
        while !self.ended && self.behind() > BEHIND {
            let Ok(line) = self.lines.recv_timeout(Duration::from_secs(30)) else {
                return Err(std::io::Error::other("the program says nothing any more"));
            };
            self.take(line, lines);
        }
        while let Ok(line) = self.lines.try_recv() {
            self.take(line, lines);
        }
        Ok(())
    }

    fn behind(&self) -> f64 {
        self.hops as f64 * HOP_S - self.readings as f64 * self.hop_s
    }

    fn take(&mut self, line: String, lines: &mut Vec<String>) {
        if line.contains("\"event\":\"start\"") {
            let start: Value = serde_json::from_str(&line).unwrap_or_default();
            self.hop_s = start["hop_s"].as_f64().unwrap_or(HOP_S);
        }
        self.readings += u64::from(line.contains("\"event\":\"reading\""));
        self.ended |= line.contains("\"event\":\"result\"");
        lines.push(line);
    }
}

impl Drop for Pipe {
    fn drop(&mut self) {
        self.sound = None;
        let _ = self.child.wait();
    }
}
