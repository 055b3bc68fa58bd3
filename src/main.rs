//! The `engine-note` program: parse, run, exit code; everything else is in the library.
use std::process::ExitCode;

fn main() -> ExitCode {
    engine_note::cli::run(std::env::args_os())
}
