//! The flags of `tune`.
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::args::Known;
use super::live_flags::LiveFlags;
use crate::procedure::{AsFound, Begin};

/// Guide the whole adjustment, step by step, by ear
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    long_about = "Listens while the technician works: says the next move, hears that it was made, and knows when to stop.\n\n\
        Steps advance by what is heard: throttle opened, screw turned, idle settled. Keys tell what cannot be heard, such as \
        that the attachment turns; they are shown on the screen. Put the screen where it can be read from beside the \
        machine: what to do and the speed stand in large letters. With --plain, in a small terminal or in a pipe it is lines \
        of text, and the answers are typed.\n\n\
        Sound comes from the microphone, or with --from from a file or standard input. The session is saved while it goes; \
        --resume goes on with it after a crash or a power cut. With `--events ndjson` each reading, prompt and the result is \
        a JSON object on a line of its own, in the order in which they arise.\n\n\
        What it says rests on sound alone. The maker's manual, local rules and licensed practice come first; in doubt \
        leave the engine rich, slow and stopped.",
    after_long_help = "\
Examples:
  engine-note tune --machine trimmer.toml
  engine-note tune --machine trimmer.toml --as-found warm --skip-checks --no-base --cue beep
  engine-note tune --resume
  arecord -f S16_LE -r 48000 -c 1 | engine-note tune --machine trimmer.toml --from - --events ndjson
  engine-note tune --machine trimmer.toml --from session.wav --events ndjson --answers answers.ndjson
  engine-note schema --events    # what the lines hold

Answers are lines such as {\"t_s\": 12.5, \"answer\": \"done\"}, from a file or a named pipe.

Ends with 0 where the engine is tuned and proved, with 1 where it is not."
)]
pub struct Tune {
    #[command(flatten)]
    pub known: Known,
    #[command(flatten)]
    pub sound: LiveFlags,
    /// Write each event as a line of data instead of showing a screen
    #[arg(long, value_enum, value_name = "FORMAT", conflicts_with_all = ["plain", "cue"])]
    pub events: Option<EventFormat>,
    /// Lines of text instead of a screen: for screen readers and small terminals
    #[arg(long)]
    pub plain: bool,
    /// A cue with each new prompt
    #[arg(long, value_enum, value_name = "CUE")]
    pub cue: Option<Cue>,
    /// Answers of the technician, NDJSON: a file or a named pipe, looked at before every hop
    #[arg(long, value_name = "FILE")]
    pub answers: Option<PathBuf>,
    /// Save the session in this new file [default: one in the user's data folder; with --events none]
    #[arg(long, value_name = "FILE")]
    pub session: Option<PathBuf>,
    /// Go on with a saved session: the file that is named, or the last one that did not come to its end
    #[arg(long, value_name = "FILE", num_args = 0..=1, conflicts_with_all = ["session", "machine"])]
    pub resume: Option<Option<PathBuf>>,
    /// In which state the machine is
    #[arg(long, value_enum, default_value_t = Found::Stopped)]
    pub as_found: Found,
    /// The checks before a screw is touched were already made
    #[arg(long)]
    pub skip_checks: bool,
    /// Leave the screws where they are instead of going to their base settings first
    #[arg(long)]
    pub no_base: bool,
}

impl Tune {
    /// How the tuning begins.
    pub fn begin(&self) -> Begin {
        Begin {
            as_found: match self.as_found {
                Found::Warm => AsFound::Warm,
                Found::Cold => AsFound::Cold,
                Found::Stopped => AsFound::Stopped,
            },
            skip_checks: self.skip_checks,
            no_base: self.no_base,
        }
    }
}

/// How events are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum EventFormat {
    /// One JSON object a line
    Ndjson,
}

/// What draws attention to a new prompt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Cue {
    /// The terminal's bell; three times where something has to be done at once
    Beep,
}

/// The state of the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Found {
    /// It runs and is warm
    Warm,
    /// It runs, but is cold
    Cold,
    /// It does not run
    Stopped,
}
