//! The job book: what goes in comes out, whatever happens to the program, the disk or the file.
#[path = "../cli/bench.rs"]
#[allow(dead_code, reason = "the tests of the command line use the rest")]
mod bench;
mod exchange;
mod hand;
#[cfg(unix)]
mod harm;
mod tuning;
mod versions;
