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

/// Hops that a reading may be behind the sound.
const BEHIND: u64 = 40;

/// A running `engine-note tune`.
pub struct Pipe {
    child: Child,
    sound: Option<ChildStdin>,
    answers: File,
    lines: Receiver<String>,
    hops: u64,
    readings: u64,
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
        while !self.ended && self.readings + BEHIND < self.hops {
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

    fn take(&mut self, line: String, lines: &mut Vec<String>) {
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
