//! Why a ledger cannot be used, and what to do.
use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use thiserror::Error;

use super::ledger::VERSION;

/// Why a ledger, or the results that it belongs to, cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ArchiveError {
    /// Another run holds it.
    #[error("another run is at work with `{}`", path.display())]
    Busy {
        /// The ledger or the results.
        path: PathBuf,
    },
    /// Something else lies there.
    #[error("`{}` is no ledger of this program", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// Written by a newer program.
    #[error("the ledger `{}` has version {version}; this program knows versions up to {VERSION}", path.display())]
    Newer {
        /// The ledger.
        path: PathBuf,
        /// Its version.
        version: i64,
    },
    /// What it holds makes no sense.
    #[error("the ledger `{}` is damaged: {what}", path.display())]
    Damaged {
        /// The ledger.
        path: PathBuf,
        /// What is wrong.
        what: String,
    },
    /// Nothing can be written there.
    #[error("the ledger `{}` cannot be written: {reason}", path.display())]
    ReadOnly {
        /// The ledger.
        path: PathBuf,
        /// What the system says.
        reason: String,
    },
    /// The disk is full, or gives an error.
    #[error("the ledger `{}` cannot be kept: {reason}", path.display())]
    Disk {
        /// The ledger.
        path: PathBuf,
        /// What the system says.
        reason: String,
    },
    /// The results, or a file beside them, cannot be written.
    #[error("cannot write `{}`: {reason}", path.display())]
    Results {
        /// The file.
        path: PathBuf,
        /// What the system says.
        reason: String,
    },
}

impl ArchiveError {
    /// What to do next, one line.
    pub fn hint(&self) -> String {
        match self {
            ArchiveError::Busy { .. } => {
                "wait until it has ended, or write into another file with `-o FILE`".into()
            }
            ArchiveError::Foreign { .. } => "move it away, or name other results".into(),
            ArchiveError::Newer { path, .. } => format!(
                "use the newer program, or delete `{}` to read everything again",
                path.display()
            ),
            ArchiveError::Damaged { path, .. } => {
                format!("delete `{}` to read everything again", path.display())
            }
            ArchiveError::ReadOnly { .. } => {
                "write the results elsewhere with `-o FILE`: the ledger then lies beside them"
                    .into()
            }
            ArchiveError::Disk { .. } | ArchiveError::Results { .. } => {
                "check the disk, the room on it and your rights, then run the same command again: it goes on where it stopped"
                    .into()
            }
        }
    }

    pub(super) fn results(path: &Path, error: &io::Error) -> ArchiveError {
        let words = error.to_string();
        ArchiveError::Results {
            path: path.into(),
            reason: words
                .split(" (os error")
                .next()
                .unwrap_or(&words)
                .to_lowercase(),
        }
    }

    /// What the library says of a file, by cause.
    pub(super) fn from_sqlite(path: &Path, error: &rusqlite::Error) -> ArchiveError {
        let path = path.to_path_buf();
        let rusqlite::Error::SqliteFailure(failure, words) = error else {
            // A column that does not hold what it should.
            let what = one_line(&error.to_string());
            return ArchiveError::Damaged { path, what };
        };
        let reason = one_line(&words.clone().unwrap_or_else(|| failure.to_string()));
        match failure.code {
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => ArchiveError::Busy { path },
            ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen => {
                ArchiveError::ReadOnly { path, reason }
            }
            ErrorCode::NotADatabase => ArchiveError::Foreign { path },
            ErrorCode::DatabaseCorrupt
            | ErrorCode::Unknown
            | ErrorCode::ConstraintViolation
            | ErrorCode::TypeMismatch
            | ErrorCode::SchemaChanged => ArchiveError::Damaged { path, what: reason },
            _ => ArchiveError::Disk { path, reason },
        }
    }
}

fn one_line(words: &str) -> String {
    words.replace(['\n', '\r'], " ")
}
