//! What can be wrong with the file of a session.
use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

/// Why a session cannot be kept or resumed. [`JournalError::hint`] says what to do.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum JournalError {
    /// A new session would overwrite a file.
    #[error("{}: the file exists", .path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file cannot be written.
    #[error("{}: the session cannot be saved: {reason}", .path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        reason: String,
    },
    /// The file cannot be read.
    #[error("{}: the session cannot be read: {reason}", .path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        reason: String,
    },
    /// Another program writes to it.
    #[error("{}: another program is writing this session", .path.display())]
    InUse {
        /// The file.
        path: PathBuf,
    },
    /// It does not begin like a session.
    #[error("{}: this is no session", .path.display())]
    NoSession {
        /// The file.
        path: PathBuf,
    },
    /// Another layout.
    #[error("{}: the layout `{schema}` is not known here", .path.display())]
    Layout {
        /// The file.
        path: PathBuf,
        /// The layout that it names.
        schema: String,
    },
    /// A line in the middle cannot be read.
    #[error("{}: line {line} is damaged, and others follow it", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The line, counted from 1.
        line: u64,
    },
    /// The session came to its end.
    #[error("{}: this session has come to its end", .path.display())]
    Ended {
        /// The file.
        path: PathBuf,
    },
}

impl JournalError {
    pub(super) fn unwritable(path: &Path, error: &io::Error) -> JournalError {
        JournalError::Unwritable {
            path: path.into(),
            reason: error.to_string(),
        }
    }

    pub(super) fn damaged(path: &Path, line: u64) -> JournalError {
        JournalError::Damaged {
            path: path.into(),
            line,
        }
    }

    pub(super) fn unreadable(path: &Path, error: &io::Error) -> JournalError {
        JournalError::Unreadable {
            path: path.into(),
            reason: error.to_string(),
        }
    }

    /// What to do next, one line.
    pub fn hint(&self) -> &'static str {
        match self {
            JournalError::Exists { .. } => {
                "`--resume FILE` goes on with it; `--session FILE` with another name begins a new one"
            }
            JournalError::Unwritable { .. } => {
                "make room on the disk, or name a file in a folder that you may write to with `--session FILE`"
            }
            JournalError::Unreadable { .. } => "check the name of the file and your rights to it",
            JournalError::InUse { .. } => "end the other program first",
            JournalError::NoSession { .. } => "give a file that `engine-note tune` has saved",
            JournalError::Layout { .. } => {
                "use the version of engine-note that saved it, or a newer one"
            }
            JournalError::Damaged { .. } => {
                "copy the lines before it into a new file to resume from there"
            }
            JournalError::Ended { .. } => "begin a new one with `engine-note tune --machine FILE`",
        }
    }
}
