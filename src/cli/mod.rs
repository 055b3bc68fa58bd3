//! Commands: the only folder that prints, knows the argument parser or exits.
//!
//! In: the arguments. Out: results on standard output, everything else on standard error, and an
//! exit code ([`Outcome`]). Each command is a file; what it needs to know of the terminal, of the
//! inputs and of the machine has its own.
mod answers;
mod args;
mod bench;
mod board;
mod book;
mod book_add;
mod book_args;
mod book_values;
mod check;
mod closing;
mod desk;
mod example;
mod exit;
mod feed;
mod folder;
mod glance;
mod goal;
mod hands;
mod hear;
mod in_order;
mod inputs;
mod keeper;
mod layout;
mod lines;
mod listen;
mod listen_flags;
mod live_flags;
#[cfg(feature = "mic")]
mod loudspeaker;
mod machine;
mod panel;
mod panel_screen;
mod paper;
mod picture;
mod practice;
mod practice_flags;
mod procedure;
mod profile;
mod progress;
mod read;
mod read_folder;
mod ready;
mod rehearsal;
mod results;
mod screen;
mod sheet;
mod sheet_pictures;
mod since_last;
mod stream;
mod synth;
mod terminal;
mod trouble;
mod truth;
mod tune;
mod tune_flags;
mod tune_screen;
mod values;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::Parser;
use clap::error::ErrorKind;

use args::{Arguments, Command};
pub use exit::Outcome;
use trouble::Trouble;

/// Runs the program with its arguments, the program's name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let given: Vec<OsString> = arguments.into_iter().collect();
    let arguments = match Arguments::try_parse_from(&given) {
        Ok(arguments) => arguments,
        Err(message) => {
            // Help and version come this way too, to standard output; a closed pipe is quiet.
            let asked_for = !message.use_stderr();
            let _ = message.print();
            if message.kind() == ErrorKind::MissingRequiredArgument
                && let Some(example) = example::of(&given)
            {
                terminal::hint(&format!("for example `{example}`"));
            }
            return if asked_for {
                Outcome::Read
            } else {
                Outcome::Usage
            }
            .into();
        }
    };
    let outcome = match command(arguments.command) {
        Ok(outcome) => outcome,
        Err(trouble) => {
            terminal::complain(&trouble);
            trouble.outcome()
        }
    };
    outcome.into()
}

fn command(command: Command) -> Result<Outcome, Trouble> {
    match command {
        Command::Read(arguments) => read::read(&arguments.settled()?),
        Command::Listen(arguments) => listen::listen(&arguments),
        Command::Synth(arguments) => synth::synth(&arguments),
        Command::Check(arguments) => check::check(&arguments),
        Command::Machine(command) => machine::machine(command),
        Command::Practice(arguments) => practice::practice(&arguments),
        Command::Tune(arguments) => tune::tune(&arguments),
        Command::Schema { events, summary } => {
            paper::schema(events, summary).map(|()| Outcome::Read)
        }
        Command::Procedure(arguments) => procedure::card(&arguments),
        Command::Book(command) => book::book(command),
        Command::Sheet(arguments) => sheet::sheet(&arguments),
        Command::Completions { shell } => paper::completions(shell).map(|()| Outcome::Read),
        Command::Man { command } => paper::man(&command).map(|()| Outcome::Read),
    }
}
