//! What keeps a command from doing its work: one line that says what is wrong, one that says what
//! to do.
use std::fmt::Display;
use std::io;

use super::exit::Outcome;
use crate::archive::ArchiveError;
use crate::capture::Fault;

/// Why a command stops.
#[derive(Clone, Debug)]
pub enum Trouble {
    /// The reader of the output went away: nothing to say, nobody to say it to.
    ClosedPipe,
    /// Something to tell the person at the keyboard.
    Told {
        /// What is wrong, one line.
        words: String,
        /// What to do, one line.
        hint: Option<String>,
        /// How the command ends.
        outcome: Outcome,
    },
}

impl Trouble {
    /// Trouble with the command line or with a file that belongs to the question.
    pub fn usage(words: impl Display, hint: impl Display) -> Trouble {
        Trouble::Told {
            words: words.to_string(),
            hint: Some(hint.to_string()),
            outcome: Outcome::Usage,
        }
    }

    /// Trouble with an input.
    pub fn input(words: impl Display, hint: impl Display, outcome: Outcome) -> Trouble {
        Trouble::Told {
            words: words.to_string(),
            hint: Some(hint.to_string()),
            outcome,
        }
    }

    /// A fault of the sound, with the name of its source where that helps.
    pub fn fault(source: Option<&str>, fault: &Fault) -> Trouble {
        let words = source.map_or_else(|| fault.to_string(), |name| format!("{name}: {fault}"));
        Trouble::input(words, fault.hint(), Outcome::from(fault))
    }

    /// Trouble with a file that was to be written.
    pub fn output(path: &str, error: &io::Error) -> Trouble {
        Trouble::Told {
            words: format!("cannot write `{path}`: {}", reason(error)),
            hint: Some("name a file in a folder that exists and that you may write to".into()),
            outcome: Outcome::Unreadable,
        }
    }

    /// How the command ends.
    pub fn outcome(&self) -> Outcome {
        match self {
            Trouble::ClosedPipe => Outcome::Read,
            Trouble::Told { outcome, .. } => *outcome,
        }
    }
}

impl From<io::Error> for Trouble {
    /// An error on standard output, or on the temporary file that frames wait in.
    fn from(error: io::Error) -> Trouble {
        if error.kind() == io::ErrorKind::BrokenPipe {
            return Trouble::ClosedPipe;
        }
        Trouble::Told {
            words: format!("cannot write the output: {}", reason(&error)),
            hint: Some("make room on the disk, or set TMPDIR to a folder with room".into()),
            outcome: Outcome::Unreadable,
        }
    }
}

impl From<ArchiveError> for Trouble {
    fn from(error: ArchiveError) -> Trouble {
        Trouble::input(&error, error.hint(), Outcome::from(&error))
    }
}

/// An error of the system in plain words, without its number.
pub fn reason(error: &io::Error) -> String {
    let text = error.to_string();
    let text = text.split(" (os error").next().unwrap_or(&text);
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_lowercase().chain(letters).collect(),
        None => "unknown reason".into(),
    }
}
