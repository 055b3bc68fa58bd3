//! `tune`: the session in front of the technician, or as a stream of events.
use super::exit::Outcome;
use super::profile::known;
use super::stream;
use super::trouble::Trouble;
use super::tune_flags::Tune;
use crate::capture::{RawFormat, Source};
use crate::procedure::Verdict;

/// Runs the command.
pub fn tune(arguments: &Tune) -> Result<Outcome, Trouble> {
    if arguments.known.machine.is_none() {
        return Err(Trouble::usage(
            "no machine profile is given",
            "`engine-note machine new --class trimmer > trimmer.toml` makes one; then add `--machine trimmer.toml`",
        ));
    }
    let machine = known(&arguments.known)?;
    let source = source(arguments)?;
    let verdict = stream::run(arguments, &machine, source)?;
    Ok(match verdict {
        Some(Verdict::Tuned) => Outcome::Read,
        Some(Verdict::Stopped | Verdict::Unfinished) | None => Outcome::Differs,
    })
}

fn source(arguments: &Tune) -> Result<Source, Trouble> {
    let Some(path) = &arguments.from else {
        return Err(Trouble::usage(
            "no sound is given",
            "name a recording with `--from FILE`, or send one in with `--from -`",
        ));
    };
    let stream = path.as_os_str() == "-";
    match &arguments.raw {
        Some(text) if stream => text
            .parse::<RawFormat>()
            .map(Source::Raw)
            .map_err(|fault| Trouble::usage(format!("--raw: {fault}"), fault.hint())),
        Some(text) => Err(Trouble::usage(
            "--raw is for standard input only",
            format!("send the samples in: `--from - --raw {text} < FILE`"),
        )),
        None if stream => Ok(Source::Stdin),
        None => Ok(Source::File(path.clone())),
    }
}
