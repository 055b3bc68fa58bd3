//! Why the book cannot be used, and what to do.
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use thiserror::Error;

use super::file::VERSION;

/// Why the book cannot be used.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum BookError {
    /// The system names no folder for the user's data.
    #[error("there is no folder for your data on this system")]
    NoFolder,
    /// No file there.
    #[error("there is no job book at `{}`", path.display())]
    Missing {
        /// The book.
        path: PathBuf,
    },
    /// Something else lies there.
    #[error("`{}` is not a job book, or its first bytes are damaged", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// Written by a newer program.
    #[error("the job book `{}` has version {version}; this program knows versions up to {VERSION}", path.display())]
    Newer {
        /// The book.
        path: PathBuf,
        /// Its version.
        version: i64,
    },
    /// An older version where nothing can be written.
    #[error("the job book `{}` has the older version {version} and lies where it cannot be brought up to date", path.display())]
    OldReadOnly {
        /// The book.
        path: PathBuf,
        /// Its version.
        version: i64,
    },
    /// The file is damaged.
    #[error("the job book `{}` is damaged: {what}", path.display())]
    Damaged {
        /// The book.
        path: PathBuf,
        /// What was found.
        what: String,
    },
    /// Another program holds it.
    #[error("another program is using the job book `{}` and has not let go of it", path.display())]
    Busy {
        /// The book.
        path: PathBuf,
    },
    /// No room.
    #[error("the job book `{}` cannot grow: the disk is full", path.display())]
    Full {
        /// The book.
        path: PathBuf,
    },
    /// The file or its folder cannot be written.
    #[error("the job book `{}` cannot be written: file or folder is read-only", path.display())]
    ReadOnly {
        /// The book.
        path: PathBuf,
    },
    /// It cannot be opened at all.
    #[error("the job book `{}` cannot be opened", path.display())]
    CannotOpen {
        /// The book.
        path: PathBuf,
    },
    /// The disk failed.
    #[error("the job book `{}` cannot be read or written: {reason}", path.display())]
    Disk {
        /// The book.
        path: PathBuf,
        /// In the words of the library.
        reason: String,
    },
    /// No machine with this tag.
    #[error("the job book knows no machine `{tag}`")]
    UnknownMachine {
        /// As asked for.
        tag: String,
        /// The one that looks most like it.
        near: Option<String>,
    },
    /// No visit with this number.
    #[error("the job book has no visit {number}")]
    UnknownVisit {
        /// As asked for.
        number: u32,
    },
    /// The machine has no visit yet.
    #[error("`{tag}` has no visit yet")]
    NoVisit {
        /// The machine.
        tag: String,
    },
    /// A tag that cannot be used.
    #[error("a machine's tag is 1 to 100 characters on one line, without spaces at its ends")]
    Tag,
    /// A value that no engine, screw or weather has.
    #[error("{what}: {value} is outside {low} to {high}")]
    Value {
        /// What it is, with its unit.
        what: &'static str,
        /// As given.
        value: f64,
        /// Lowest that is taken.
        low: f64,
        /// Highest that is taken.
        high: f64,
    },
    /// A machine's profile contradicts itself.
    #[error("the profile of `{tag}` cannot be used: {reason}")]
    Profile {
        /// The machine.
        tag: String,
        /// Why.
        reason: String,
    },
    /// No JSON of a book.
    #[error("this is no exported job book: {reason}")]
    Json {
        /// With line and column.
        reason: String,
    },
    /// A visit of a machine that is not in the list.
    #[error("visit {place} in the list belongs to `{tag}`, which is not among the machines")]
    Stray {
        /// Place in the list, from 1.
        place: usize,
        /// The machine.
        tag: String,
    },
    /// Two machines with one tag.
    #[error("the machine `{tag}` stands in the list more than once")]
    Twice {
        /// The machine.
        tag: String,
    },
    /// A clip that cannot be read for its hash.
    #[error("`{}`: {reason}", path.display())]
    Clip {
        /// The clip.
        path: PathBuf,
        /// In the words of the system.
        reason: String,
    },
}

impl BookError {
    /// What to do next.
    pub fn hint(&self) -> String {
        match self {
            BookError::NoFolder => "say where the book is: `--book FILE`".into(),
            BookError::Missing { .. } => {
                "`engine-note book add TAG` begins one; `--book FILE` names another".into()
            }
            BookError::Foreign { .. } => {
                "name the book with `--book FILE`; put a copy back if this was one".into()
            }
            BookError::Newer { .. } => {
                "use the newer program; the file was left as it is".into()
            }
            BookError::OldReadOnly { .. } => {
                "copy it to a folder that you may write to and use the copy".into()
            }
            BookError::Damaged { path, .. } => format!(
                "put a copy back, or save what can be read: `engine-note book --book '{}' export --salvage > saved.json`, \
                 then `import` that into a new book",
                path.display()
            ),
            BookError::Busy { .. } => "wait until it is done, then try again".into(),
            BookError::Full { .. } => {
                "make room and try again; what was committed before is all there".into()
            }
            BookError::ReadOnly { .. } => {
                "copy it to a folder that you may write to and use the copy with `--book FILE`".into()
            }
            BookError::CannotOpen { .. } => {
                "check that the folder exists and that you may read and write in it".into()
            }
            BookError::Disk { .. } => {
                "check the disk and the room on it, then try again; what was committed before is all there".into()
            }
            BookError::UnknownMachine { near: Some(near), .. } => format!("did you mean `{near}`?"),
            BookError::UnknownMachine { near: None, .. } => {
                "`engine-note book list` shows the machines; `engine-note book add TAG` adds one".into()
            }
            BookError::UnknownVisit { .. } => "`engine-note book show TAG` shows the numbers".into(),
            BookError::NoVisit { .. } => "`engine-note book add TAG --complaint WORDS` adds one".into(),
            BookError::Tag => "use what stands on the machine or its label, for example `trimmer 4`".into(),
            BookError::Value { .. } => "check the number and its unit".into(),
            BookError::Profile { .. } => "correct it in the file and import again".into(),
            BookError::Json { .. } => "`engine-note book export` prints such a file".into(),
            BookError::Stray { .. } => "add the machine to `machines` in the file".into(),
            BookError::Twice { .. } => "give each machine a tag of its own".into(),
            BookError::Clip { .. } => "check the name of the clip".into(),
        }
    }

    /// What the library says of a file, by cause.
    pub(super) fn from_sqlite(path: &Path, error: &rusqlite::Error) -> BookError {
        let path = path.to_path_buf();
        let (code, reason) = match error {
            rusqlite::Error::SqliteFailure(failure, words) => (
                failure.code,
                words.clone().unwrap_or_else(|| failure.to_string()),
            ),
            // A column that does not hold what it should.
            other => {
                let what = one_line(&other.to_string());
                return BookError::Damaged { path, what };
            }
        };
        match code {
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => BookError::Busy { path },
            ErrorCode::DiskFull => BookError::Full { path },
            ErrorCode::ReadOnly | ErrorCode::PermissionDenied => BookError::ReadOnly { path },
            ErrorCode::CannotOpen => BookError::CannotOpen { path },
            ErrorCode::NotADatabase => BookError::Foreign { path },
            // A table or a column that should be there is not, or holds what it must not.
            ErrorCode::DatabaseCorrupt
            | ErrorCode::Unknown
            | ErrorCode::ConstraintViolation
            | ErrorCode::TypeMismatch
            | ErrorCode::SchemaChanged => BookError::Damaged {
                path,
                what: one_line(&reason),
            },
            _ => BookError::Disk {
                path,
                reason: one_line(&reason),
            },
        }
    }
}

fn one_line(words: &str) -> String {
    words.replace(['\n', '\r'], " ")
}
