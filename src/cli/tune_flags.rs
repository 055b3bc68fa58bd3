//! The flags of `tune`.
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::args::Known;
use crate::procedure::{AsFound, Begin};

/// Guide the whole adjustment, step by step, by ear
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    long_about = "Listens while the technician works: says the next move, hears that it was made, and knows when to stop.\n\n\
        Sound comes from standard input (`--from -`: a WAV that is still being written, or samples without a header with \
        --raw) or from a file. With `--events ndjson` each reading, prompt and the result is a JSON object on a line of \
        its own, in the order in which they arise.\n\n\
        What it says rests on sound alone. The maker's manual, local rules and licensed practice come first; in doubt \
        leave the engine rich, slow and stopped.",
    after_long_help = "\
Examples:
  arecord -f S16_LE -r 48000 -c 1 | engine-note tune --machine trimmer.toml --from - --events ndjson
  engine-note tune --machine trimmer.toml --from session.wav --events ndjson --answers answers.ndjson
  engine-note schema --events    # what the lines hold

Answers are lines such as {\"t_s\": 12.5, \"answer\": \"done\"}, from a file or a named pipe.

Ends with 0 where the engine is tuned and proved, with 1 where it is not."
)]
pub struct Tune {
    #[command(flatten)]
    pub known: Known,
    /// Where the sound comes from: a file, or `-` for standard input
    #[arg(long, value_name = "FILE")]
    pub from: Option<PathBuf>,
    /// Samples without a header on standard input, for example s16le:48000:1
    #[arg(long, value_name = "CODING:RATE:CHANNELS", requires = "from")]
    pub raw: Option<String>,
    /// Write each event as a line of data instead of showing a screen
    #[arg(long, value_enum, value_name = "FORMAT")]
    pub events: Option<EventFormat>,
    /// Answers of the technician, NDJSON: a file or a named pipe, looked at before every hop
    #[arg(long, value_name = "FILE", requires = "events")]
    pub answers: Option<PathBuf>,
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
