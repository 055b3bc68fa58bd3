//! Commands: the only folder that prints, knows the argument parser or exits.
use std::ffi::OsString;
use std::process::ExitCode;

/// Runs the program with its arguments, the program's name first.
pub fn run(_args: impl IntoIterator<Item = OsString>) -> ExitCode {
    ExitCode::from(2)
}
