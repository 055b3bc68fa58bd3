//! The session as a file that grows while it goes: what was heard, said and asked, and where the
//! procedure stood, so that a crash or a power cut costs at most the last second.
//!
//! Each line is a JSON object ([`Line`]). A line is written whole, and the file is synced on a thread
//! of its own, so that a slow disk never holds up the sound. A last line that is torn is cut off when
//! the session is resumed.
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, ErrorKind, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::delta::Delta;
use super::error::JournalError;
use super::event::Event;
use super::tuning::Session;
use crate::machine::Profile;
use crate::procedure::{Answer, Begin, Procedure, Prompt, Verdict};
use crate::units::Seconds;

/// Name of the layout.
const SCHEMA: &str = "engine-note/session/1";
/// Most sound between two states, in seconds.
const STATE: f64 = 0.5;
/// Changes between two whole states: a minute of them.
const CHANGES: u32 = 120;
/// One reading in so many is kept: eight a second.
const THINNED: u64 = 8;
/// Least time between two syncs.
const SYNC: Duration = Duration::from_millis(200);

/// A line of the file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "line", rename_all = "kebab-case")]
pub enum Line {
    /// The first line.
    Session {
        /// Name of the layout.
        schema: String,
        /// When it began, in seconds since 1970 (UTC).
        begun_unix_s: u64,
        /// The machine.
        machine: Box<Profile>,
        /// How it began.
        begin: Begin,
    },
    /// Sound begins: at the start, and each time that the session is resumed.
    Sound {
        /// Time of the session.
        t_s: Seconds,
        /// Samples a second.
        rate: u32,
        /// Channels.
        channels: usize,
    },
    /// An event of the stream; readings are thinned to eight a second.
    Event {
        /// The event.
        #[serde(flatten)]
        event: Event,
    },
    /// An answer of the technician.
    Answer {
        /// The answer.
        #[serde(flatten)]
        answer: Answer,
    },
    /// A note of the technician.
    Note {
        /// Time of the session.
        t_s: Seconds,
        /// The words.
        text: String,
    },
    /// Where the procedure stands.
    State {
        /// Time of the session.
        t_s: Seconds,
        /// The procedure.
        procedure: Value,
    },
    /// What has changed in the procedure since the line before this one that told its state.
    Moved {
        /// Time of the session.
        t_s: Seconds,
        /// The change.
        change: Option<Delta>,
    },
}

/// A file that a session is written to.
pub struct Journal {
    path: PathBuf,
    file: File,
    syncer: SyncSender<()>,
    text: Vec<u8>,
    /// The state that was written last, and when.
    state: Option<(f64, Value)>,
    /// Changes since a whole state was written.
    changes: u32,
    readings: u64,
}

/// What a file holds of a session that was left.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// The machine.
    pub machine: Profile,
    /// How it began.
    pub begin: Begin,
    /// The procedure as it was left; none where the session had hardly begun.
    pub procedure: Option<Procedure>,
    /// When it was left, on the session's clock.
    pub t: Seconds,
    /// The prompt that stood.
    pub prompt: Option<Prompt>,
    /// Notes and their times.
    pub notes: Vec<(Seconds, String)>,
    /// Bytes of a torn last line that were cut off.
    pub torn: u64,
}

impl Journal {
    /// Begins a file; it must not exist.
    ///
    /// # Errors
    /// Where the file exists or cannot be written.
    pub fn create(path: &Path, machine: &Profile, begin: Begin) -> Result<Journal, JournalError> {
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(path)
            .map_err(|error| match error.kind() {
                ErrorKind::AlreadyExists => JournalError::Exists { path: path.into() },
                _ => JournalError::unwritable(path, &error),
            })?;
        let mut journal = Journal::on(path, file)?;
        let since = SystemTime::now().duration_since(UNIX_EPOCH);
        journal.line(&Line::Session {
            schema: SCHEMA.into(),
            begun_unix_s: since.map_or(0, |since| since.as_secs()),
            machine: Box::new(machine.clone()),
            begin,
        })?;
        journal.flush()?;
        // The name of the file has to survive a power cut too.
        #[cfg(unix)]
        if let Some(folder) = path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty())
        {
            let _ = File::open(folder).and_then(|folder| folder.sync_all());
        }
        Ok(journal)
    }

    /// Goes on with a file: cuts off a torn last line and gives what it holds.
    ///
    /// # Errors
    /// Where the file cannot be read or written, is none of ours, is damaged, is being written by
    /// another program, or its session has ended.
    pub fn resume(path: &Path) -> Result<(Journal, Kept), JournalError> {
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .open(path)
            .map_err(|error| JournalError::unreadable(path, &error))?;
        let mut journal = Journal::on(path, file)?;
        let (kept, good) = read(path, &journal.file)?;
        let io = |error| JournalError::unwritable(path, &error);
        journal.file.set_len(good).map_err(io)?;
        journal.file.seek(SeekFrom::End(0)).map_err(io)?;
        Ok((journal, kept))
    }

    fn on(path: &Path, file: File) -> Result<Journal, JournalError> {
        if let Err(std::fs::TryLockError::WouldBlock) = file.try_lock() {
            return Err(JournalError::InUse { path: path.into() });
        }
        let syncer = syncer(&file).map_err(|error| JournalError::unwritable(path, &error))?;
        Ok(Journal {
            path: path.into(),
            file,
            syncer,
            text: vec![],
            state: None,
            changes: 0,
            readings: 0,
        })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Sound begins.
    ///
    /// # Errors
    /// Where the file cannot be written; so with all that follow.
    pub fn sound(
        &mut self,
        session: &Session,
        rate: u32,
        channels: usize,
    ) -> Result<(), JournalError> {
        self.line(&Line::Sound {
            t_s: session.now(),
            rate,
            channels,
        })?;
        self.flush()
    }

    /// An answer was given.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn answer(&mut self, answer: Answer) -> Result<(), JournalError> {
        self.line(&Line::Answer { answer })?;
        self.flush()
    }

    /// A note was made.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn note(&mut self, t_s: Seconds, text: &str) -> Result<(), JournalError> {
        let text = text.to_owned();
        self.line(&Line::Note { t_s, text })?;
        self.flush()
    }

    /// Keeps what came of a hop, before anybody else is told of it, and every half a second where
    /// the procedure stands. A result that only says that the session was left is not kept.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn keep(&mut self, session: &Session, events: &[Event]) -> Result<(), JournalError> {
        let mut moved = false;
        for event in events {
            match event {
                // Left, not ended: it can be resumed from the state before.
                Event::Result { outcome, .. } if outcome.verdict == Verdict::Unfinished => {
                    return self.flush();
                }
                Event::Start { .. } => continue,
                Event::Reading { .. } => {
                    self.readings += 1;
                    if !self.readings.is_multiple_of(THINNED) {
                        continue;
                    }
                }
                Event::Prompt { .. } | Event::Result { .. } => moved = true,
            }
            let event = event.clone();
            self.line(&Line::Event { event })?;
        }
        let now = session.now().0;
        if moved || self.state.as_ref().is_none_or(|(at, _)| now - at >= STATE) {
            self.state(session)?;
        }
        self.flush()
    }

    /// Where the procedure stands: as a whole now and then, else what has changed.
    fn state(&mut self, session: &Session) -> Result<(), JournalError> {
        let t_s = session.now();
        let new = serde_json::to_value(session.procedure())
            .map_err(|error| JournalError::unwritable(&self.path, &error.into()))?;
        let line = match &self.state {
            Some((_, old)) if self.changes < CHANGES => {
                self.changes += 1;
                Line::Moved {
                    t_s,
                    change: Delta::between(old, &new),
                }
            }
            _ => {
                self.changes = 0;
                Line::State {
                    t_s,
                    procedure: new.clone(),
                }
            }
        };
        self.state = Some((t_s.0, new));
        self.line(&line)
    }

    fn line(&mut self, line: &Line) -> Result<(), JournalError> {
        serde_json::to_writer(&mut self.text, line)
            .map_err(|error| JournalError::unwritable(&self.path, &error.into()))?;
        self.text.push(b'\n');
        Ok(())
    }

    fn flush(&mut self) -> Result<(), JournalError> {
        if self.text.is_empty() {
            return Ok(());
        }
        let written = self.file.write_all(&self.text);
        self.text.clear();
        written.map_err(|error| JournalError::unwritable(&self.path, &error))?;
        // Where a sync is under way already, the next one takes this along.
        let _ = self.syncer.try_send(());
        Ok(())
    }
}

impl Drop for Journal {
    fn drop(&mut self) {
        // Nobody is left to be told that the last of it may be lost.
        let _ = self.file.sync_data();
        // The thread that syncs may hold the file open a little longer.
        let _ = self.file.unlock();
    }
}

/// Syncs the file whenever it is asked to, not more than a few times a second.
fn syncer(file: &File) -> std::io::Result<SyncSender<()>> {
    let file = file.try_clone()?;
    let (sender, asked) = sync_channel(1);
    thread::spawn(move || {
        while asked.recv().is_ok() {
            // An error shows when the file is written.
            let _ = file.sync_data();
            thread::sleep(SYNC);
        }
    });
    Ok(sender)
}

/// Reads a session line by line; also the length of the file without a torn end.
fn read(path: &Path, file: &File) -> Result<(Kept, u64), JournalError> {
    let unreadable = |error: std::io::Error| JournalError::unreadable(path, &error);
    let mut reader = BufReader::new(file);
    let mut bytes = vec![];
    let mut found: Option<Found> = None;
    let (mut number, mut good, mut bad) = (0u64, 0u64, None);
    let mut torn = 0u64;
    loop {
        bytes.clear();
        let count = reader.read_until(b'\n', &mut bytes).map_err(unreadable)?;
        if count == 0 {
            break;
        }
        number += 1;
        let whole = bytes.ends_with(b"\n");
        let line = serde_json::from_slice::<Line>(&bytes)
            .ok()
            .filter(|_| whole);
        let Some(line) = line else {
            bad.get_or_insert(number);
            torn += count as u64;
            continue;
        };
        if let Some(line) = bad {
            // More than a torn end: nothing is cut off here.
            return Err(JournalError::damaged(path, line));
        }
        good += count as u64;
        match &mut found {
            None => found = Some(Found::first(path, line)?),
            Some(found) => found.take(path, number, line)?,
        }
    }
    match found {
        Some(found) => Ok((found.kept(path, number, torn)?, good)),
        None => Err(JournalError::NoSession { path: path.into() }),
    }
}

/// What was found of a session while its file is read.
struct Found {
    kept: Kept,
    state: Option<Value>,
}

impl Found {
    fn first(path: &Path, line: Line) -> Result<Found, JournalError> {
        let path = path.to_path_buf();
        match line {
            Line::Session {
                schema,
                machine,
                begin,
                ..
            } if schema == SCHEMA => Ok(Found {
                kept: Kept {
                    machine: *machine,
                    begin,
                    procedure: None,
                    t: Seconds(0.0),
                    prompt: None,
                    notes: vec![],
                    torn: 0,
                },
                state: None,
            }),
            Line::Session { schema, .. } => Err(JournalError::Layout { path, schema }),
            _ => Err(JournalError::NoSession { path }),
        }
    }

    fn take(&mut self, path: &Path, number: u64, line: Line) -> Result<(), JournalError> {
        match line {
            Line::State { t_s, procedure } => {
                self.state = Some(procedure);
                self.kept.t = t_s;
            }
            Line::Moved { t_s, change } => {
                let fits = match (&mut self.state, change) {
                    (Some(state), Some(change)) => change.apply(state),
                    (Some(_), None) => true,
                    (None, _) => false,
                };
                if !fits {
                    return Err(JournalError::damaged(path, number));
                }
                self.kept.t = t_s;
            }
            Line::Event {
                event: Event::Prompt { prompt, .. },
            } => self.kept.prompt = Some(prompt),
            Line::Event {
                event: Event::Result { .. },
            } => return Err(JournalError::Ended { path: path.into() }),
            Line::Note { t_s, text } => self.kept.notes.push((t_s, text)),
            Line::Session { .. }
            | Line::Sound { .. }
            | Line::Event { .. }
            | Line::Answer { .. } => {}
        }
        Ok(())
    }

    fn kept(self, path: &Path, number: u64, torn: u64) -> Result<Kept, JournalError> {
        let procedure = self
            .state
            .map(serde_json::from_value)
            .transpose()
            .map_err(|_| JournalError::damaged(path, number))?;
        Ok(Kept {
            procedure,
            torn,
            ..self.kept
        })
    }
}
