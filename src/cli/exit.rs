//! The exit codes: the one place where they are decided.
use std::process::ExitCode;

use crate::archive::ArchiveError;
use crate::book::BookError;
use crate::capture::Fault;
use crate::machine::ProfileError;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// 0: read, and nothing to complain of.
    Read,
    /// 1: read, but not what was expected; or not tuned.
    Differs,
    /// 2: the command line, a profile, a scene or an expectation file is wrong.
    Usage,
    /// 3: an input or the job book cannot be read, or the output cannot be written.
    Unreadable,
    /// 4: read, but nothing was audible as an engine.
    NoEngine,
}

impl Outcome {
    /// From the best to the worst. A clip that could not be read is worse than one without an
    /// engine, since nothing at all is known of it; a mistake on the command line is worse still,
    /// since it puts everything in doubt.
    pub const FROM_BEST_TO_WORST: [Outcome; 5] = [
        Outcome::Read,
        Outcome::Differs,
        Outcome::NoEngine,
        Outcome::Unreadable,
        Outcome::Usage,
    ];

    /// The code that the shell sees.
    pub fn code(self) -> u8 {
        match self {
            Outcome::Read => 0,
            Outcome::Differs => 1,
            Outcome::Usage => 2,
            Outcome::Unreadable => 3,
            Outcome::NoEngine => 4,
        }
    }

    /// The worse of two.
    pub fn or_worse(self, other: Outcome) -> Outcome {
        let rank = |outcome| Self::FROM_BEST_TO_WORST.iter().position(|o| *o == outcome);
        if rank(other) > rank(self) {
            other
        } else {
            self
        }
    }
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> ExitCode {
        ExitCode::from(outcome.code())
    }
}

impl From<&Fault> for Outcome {
    fn from(fault: &Fault) -> Outcome {
        match fault {
            // Heard to its end, and there is nothing in it.
            Fault::Silent { .. } => Outcome::NoEngine,
            // Said on the command line, not by the clip.
            Fault::RawFormat { .. } => Outcome::Usage,
            Fault::Missing
            | Fault::Directory
            | Fault::Denied
            | Fault::Unreadable { .. }
            | Fault::Empty
            | Fault::Text
            | Fault::Unknown
            | Fault::Foreign { .. }
            | Fault::Unfinished
            | Fault::NeedsFile
            | Fault::NoSound
            | Fault::Coding { .. }
            | Fault::Broken { .. }
            | Fault::SampleRate { .. }
            | Fault::Channels { .. }
            | Fault::NoSamples
            | Fault::TooShort { .. }
            | Fault::NotFinite { .. }
            | Fault::NoMicrophoneBuilt
            | Fault::MicrophoneDenied
            | Fault::MicrophoneBusy
            | Fault::NoMicrophone { .. }
            | Fault::MicrophoneFormat
            | Fault::MicrophoneLost { .. }
            | Fault::MicrophoneMute { .. }
            | Fault::MicrophoneTooFast { .. } => Outcome::Unreadable,
        }
    }
}

impl From<&ProfileError> for Outcome {
    /// A profile is part of the question, not of the sound.
    fn from(_: &ProfileError) -> Outcome {
        Outcome::Usage
    }
}

impl From<&BookError> for Outcome {
    fn from(error: &BookError) -> Outcome {
        match error {
            // Said on the command line, not by a file.
            BookError::UnknownMachine { .. }
            | BookError::UnknownVisit { .. }
            | BookError::NoVisit { .. }
            | BookError::Tag
            | BookError::Value { .. } => Outcome::Usage,
            BookError::NoFolder
            | BookError::Missing { .. }
            | BookError::Foreign { .. }
            | BookError::Newer { .. }
            | BookError::OldReadOnly { .. }
            | BookError::Damaged { .. }
            | BookError::Busy { .. }
            | BookError::Full { .. }
            | BookError::ReadOnly { .. }
            | BookError::CannotOpen { .. }
            | BookError::Disk { .. }
            | BookError::Profile { .. }
            | BookError::Json { .. }
            | BookError::Stray { .. }
            | BookError::Twice { .. }
            | BookError::Clip { .. } => Outcome::Unreadable,
        }
    }
}

impl From<&ArchiveError> for Outcome {
    /// Each of them is about a file that cannot be read or written.
    fn from(_: &ArchiveError) -> Outcome {
        Outcome::Unreadable
    }
}

/// The codes as the help shows them.
pub const HELP: &str = "\
Exit codes:
  0  read; tuned (`tune`)
  1  read, but not what was expected (`check`); not tuned to the end (`tune`)
  2  the command line, a machine profile, a scene or an expectation file is wrong
  3  a clip or the job book cannot be read, or the output cannot be written
  4  nothing was audible as an engine
With several clips the worst one counts: 2, then 3, 4, 1, 0. Where the reader of the output goes \
away (as with `| head`), the program ends quietly with 0.";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_of_many_wins_in_any_order() {
        let worst = |outcomes: &[Outcome]| {
            outcomes
                .iter()
                .copied()
                .fold(Outcome::Read, Outcome::or_worse)
                .code()
        };
        use Outcome::{Differs, NoEngine, Read, Unreadable, Usage};
        assert_eq!(worst(&[]), 0);
        assert_eq!(worst(&[Read, NoEngine, Read]), 4);
        assert_eq!(worst(&[NoEngine, Unreadable, Read]), 3);
        assert_eq!(worst(&[Unreadable, NoEngine]), 3);
        assert_eq!(worst(&[Differs, NoEngine]), 4);
        assert_eq!(worst(&[Usage, Unreadable, NoEngine, Differs]), 2);
    }

    #[test]
    fn each_outcome_has_its_rank_and_its_own_code() {
        let mut codes = Outcome::FROM_BEST_TO_WORST.map(Outcome::code);
        codes.sort_unstable();
        assert_eq!(codes, [0, 1, 2, 3, 4]);
    }
}
