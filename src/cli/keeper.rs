//! Where sessions are kept, and what becomes of them while they go.
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use etcetera::BaseStrategy;

use super::exit::Outcome;
use super::terminal::complain;
use super::trouble::{Trouble, reason};
use crate::machine::Profile;
use crate::procedure::{Answer, Begin};
use crate::session::{Event, Journal, JournalError, Session};

/// Ending of a session's file.
const ENDING: &str = "session.ndjson";

/// Keeps a session, as long as that works; the tuning goes on without it.
pub struct Keeper {
    journal: Option<Journal>,
}

impl Keeper {
    /// Keeps it in a journal, or not at all.
    pub fn new(journal: Option<Journal>) -> Keeper {
        Keeper { journal }
    }

    /// The file.
    pub fn path(&self) -> Option<&Path> {
        self.journal.as_ref().map(Journal::path)
    }

    /// Keeps what came of a hop.
    pub fn keep(&mut self, session: &Session, events: &[Event]) {
        self.with(|journal| journal.keep(session, events));
    }

    /// Keeps an answer.
    pub fn answer(&mut self, answer: Answer) {
        self.with(|journal| journal.answer(answer));
    }

    /// Keeps a note.
    pub fn note(&mut self, session: &Session, text: &str) {
        self.with(|journal| journal.note(session.now(), text));
    }

    /// Keeps that sound begins.
    pub fn sound(&mut self, session: &Session, rate: u32, channels: usize) {
        self.with(|journal| journal.sound(session, rate, channels));
    }

    fn with(&mut self, work: impl FnOnce(&mut Journal) -> Result<(), JournalError>) {
        let Some(journal) = &mut self.journal else {
            return;
        };
        if let Err(error) = work(journal) {
            self.journal = None;
            complain(&trouble(&error));
        }
    }
}

/// Begins a file for a session: the one that is named, or a new one in the user's data folder.
///
/// # Errors
/// Where it cannot be written.
pub fn begin(named: Option<&Path>, machine: &Profile, begin: Begin) -> Result<Journal, Trouble> {
    if let Some(path) = named {
        return Journal::create(path, machine, begin).map_err(|error| trouble(&error));
    }
    let folder = folder()?;
    fs::create_dir_all(&folder)
        .map_err(|error| Trouble::output(&folder.to_string_lossy(), &error))?;
    let tag = tag(machine.name.as_deref().unwrap_or_default());
    let mut number = 1u32;
    loop {
        let path = folder.join(format!("{tag}-{number}.{ENDING}"));
        match Journal::create(&path, machine, begin) {
            Err(JournalError::Exists { .. }) if number < u32::MAX => number += 1,
            other => return other.map_err(|error| trouble(&error)),
        }
    }
}

/// The session that was written last and has not come to its end.
///
/// # Errors
/// Where there is none.
pub fn latest() -> Result<PathBuf, Trouble> {
    let folder = folder()?;
    let none = || {
        Trouble::usage(
            format!("{}: no session to go on with", folder.display()),
            "name its file with `--resume FILE`, or begin one with `--machine FILE`",
        )
    };
    let entries = fs::read_dir(&folder).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => none(),
        _ => Trouble::usage(
            format!("{}: {}", folder.display(), reason(&error)),
            "name the file of the session with `--resume FILE`",
        ),
    })?;
    let mut files: Vec<(SystemTime, PathBuf)> = entries
        .filter_map(Result::ok)
        .filter(|entry| entry.file_name().to_string_lossy().ends_with(ENDING))
        .filter_map(|entry| Some((entry.metadata().ok()?.modified().ok()?, entry.path())))
        .collect();
    files.sort();
    let over = |path: &Path| matches!(Journal::resume(path), Err(JournalError::Ended { .. }));
    files
        .into_iter()
        .rev()
        .map(|(_, path)| path)
        .find(|path| !over(path))
        .ok_or_else(none)
}

/// A session's file that cannot be used.
pub fn trouble(error: &JournalError) -> Trouble {
    let outcome = match error {
        JournalError::Exists { .. }
        | JournalError::NoSession { .. }
        | JournalError::Ended { .. } => Outcome::Usage,
        JournalError::Unwritable { .. }
        | JournalError::Unreadable { .. }
        | JournalError::InUse { .. }
        | JournalError::Layout { .. }
        | JournalError::Damaged { .. } => Outcome::Unreadable,
    };
    Trouble::input(error, error.hint(), outcome)
}

fn folder() -> Result<PathBuf, Trouble> {
    let base = etcetera::choose_base_strategy().map_err(|_| {
        Trouble::usage(
            "there is no home folder to keep sessions in",
            "name a file with `--session FILE`",
        )
    })?;
    Ok(base.data_dir().join("engine-note").join("sessions"))
}

/// A name as part of a file's name.
fn tag(name: &str) -> String {
    let mut tag = String::new();
    for c in name.chars().take(40) {
        if c.is_alphanumeric() {
            tag.extend(c.to_lowercase());
        } else if !tag.ends_with('-') && !tag.is_empty() {
            tag.push('-');
        }
    }
    let tag = tag.trim_end_matches('-');
    if tag.is_empty() { "machine" } else { tag }.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_name_makes_a_file_name() {
        for (name, wanted) in [
            ("the Blue one", "the-blue-one"),
            ("../../etc/passwd", "etc-passwd"),
            ("", "machine"),
            ("///", "machine"),
            ("Säge 2", "säge-2"),
        ] {
            assert_eq!(tag(name), wanted);
        }
    }
}
