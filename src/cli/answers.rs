//! Answers of the technician from a file or a named pipe, without ever waiting for one.
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

use super::terminal::say;
use super::trouble::reason;
use crate::procedure::Answer;

/// A longer line is no answer.
const LONGEST: usize = 4_096;
/// Bytes that are taken at a look.
const LOOK: usize = 4_096;
/// Times that bytes are taken before a hop, so that a flood of answers does not hold up the sound.
const MOST: usize = 16;

/// Where answers come from.
pub struct Answers {
    path: PathBuf,
    file: Option<File>,
    /// The beginning of a line that is not complete.
    begun: Vec<u8>,
    /// The line under way is too long and is passed over.
    passing: bool,
    /// Whether a trouble with the file itself was told.
    told: bool,
}

impl Answers {
    /// Opens a file or a named pipe; one that is not there yet is looked for again.
    pub fn new(path: &Path) -> Answers {
        let mut answers = Answers {
            path: path.into(),
            file: None,
            begun: vec![],
            passing: false,
            told: false,
        };
        answers.reopen();
        answers
    }

    /// Hands over what is there now.
    pub fn look(&mut self, mut take: impl FnMut(Answer)) {
        if self.file.is_none() {
            self.reopen();
        }
        let mut bytes = [0; LOOK];
        for _ in 0..MOST {
            let Some(file) = &mut self.file else { return };
            match file.read(&mut bytes) {
                // The end of a file may move, and a pipe may get another writer.
                Ok(0) => break,
                Ok(count) => self.begun.extend_from_slice(&bytes[..count]),
                Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                Err(error) if error.kind() == ErrorKind::WouldBlock => break,
                Err(error) => {
                    if !self.told {
                        self.told = true;
                        warn(&format!("{}: {}", self.path.display(), reason(&error)));
                    }
                    break;
                }
            }
            self.lines(&mut take);
        }
        // The last line of a file may lack its line break.
        if self.begun.ends_with(b"}")
            && !self.passing
            && let Ok(answer) = serde_json::from_slice(&self.begun)
        {
            self.begun.clear();
            take(answer);
        }
    }

    fn reopen(&mut self) {
        match open(&self.path) {
            Ok(file) => self.file = Some(file),
            Err(error) if !self.told => {
                self.told = true;
                warn(&format!(
                    "{}: {}; it is looked for again before every hop",
                    self.path.display(),
                    reason(&error)
                ));
            }
            Err(_) => {}
        }
    }

    /// Takes the complete lines off the front.
    fn lines(&mut self, take: &mut impl FnMut(Answer)) {
        while let Some(end) = self.begun.iter().position(|byte| *byte == b'\n') {
            let line: Vec<u8> = self.begun.drain(..=end).collect();
            let skip = std::mem::take(&mut self.passing);
            let line = line.trim_ascii();
            if skip || line.is_empty() {
                continue;
            }
            match serde_json::from_slice(line) {
                Ok(answer) => take(answer),
                Err(error) => warn(&format!(
                    "answer ignored: {}: {error}",
                    String::from_utf8_lossy(line)
                )),
            }
        }
        if self.begun.len() > LONGEST {
            if !self.passing {
                warn(&format!(
                    "answer ignored: a line of more than {LONGEST} bytes"
                ));
            }
            self.passing = true;
            self.begun.clear();
        }
    }
}

/// A named pipe is opened without waiting for its writer, and read without waiting for a line.
#[cfg(unix)]
fn open(path: &Path) -> std::io::Result<File> {
    use std::os::unix::fs::OpenOptionsExt;
    let flags = rustix::fs::OFlags::NONBLOCK.bits();
    OpenOptions::new()
        .read(true)
        .custom_flags(flags.cast_signed())
        .open(path)
}

#[cfg(not(unix))]
fn open(path: &Path) -> std::io::Result<File> {
    OpenOptions::new().read(true).open(path)
}

fn warn(words: &str) {
    let line: String = words
        .chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect();
    say(&format!("warning: {line}\n"));
}
