//! `read`: clips in, results out, in the order in which the clips were given.
use std::ops::ControlFlow;

use super::args::Read;
use super::book_add::Keeping;
use super::exit::Outcome;
use super::hear::hear;
use super::in_order::in_order;
use super::inputs::{Input, Inputs, inputs};
use super::profile::{known, load, over};
use super::progress::Progress;
use super::results::Results;
use super::terminal::{complain, look};
use super::trouble::Trouble;
use crate::capture::RawFormat;
use crate::machine::Profile;
use crate::report::{Format, Gatherer, Renderer, Report};

/// A clip that was read.
pub struct Done {
    /// The result.
    pub report: Report,
    /// What is to be said beside it.
    pub aside: Option<Trouble>,
}

/// Runs the command.
pub fn read(arguments: &Read) -> Result<Outcome, Trouble> {
    let machine = known(&arguments.known)?;
    let raw = raw_format(arguments)?;
    let found = inputs(&arguments.clips)?;
    if arguments.keep.save.is_some() {
        return read_and_keep(arguments, &found);
    }
    let mut results = results(arguments, &found)?;
    let progress = Progress::new(found.list.len());
    let mut renderer = Renderer::new(&mut results, arguments.format, found.several, look());
    let mut worst = Outcome::Read;
    let mut stopped = None;
    in_order(
        &found.list,
        |input| match input {
            Ok(input) => gathered(input, raw, &machine, arguments.format, &progress),
            Err(trouble) => Err(trouble.clone()),
        },
        |result| {
            let printed = progress.done(|| -> Result<Outcome, Trouble> {
                let done = match result {
                    Ok(done) => done,
                    Err(trouble) => {
                        complain(&trouble);
                        return Ok(trouble.outcome());
                    }
                };
                renderer.write(&done.report)?;
                if let Some(aside) = &done.aside {
                    complain(aside);
                }
                Ok(if done.report.heard_engine() {
                    Outcome::Read
                } else {
                    Outcome::NoEngine
                })
            });
            match printed {
                Ok(outcome) => {
                    worst = worst.or_worse(outcome);
                    ControlFlow::Continue(())
                }
                Err(trouble) => {
                    stopped = Some(trouble);
                    ControlFlow::Break(())
                }
            }
        },
    );
    match stopped {
        Some(trouble) => Err(trouble),
        None => {
            renderer.finish()?;
            results.whole()?;
            Ok(worst)
        }
    }
}

/// Reads one clip and writes what was heard into the job book, under the profile that the book knows
/// where none is given.
fn read_and_keep(arguments: &Read, found: &Inputs) -> Result<Outcome, Trouble> {
    let [Ok(input @ Input::File(path))] = &found.list[..] else {
        return Err(Trouble::usage(
            "--save is for one file",
            "save each clip by itself; `-` leaves no file that could be found again",
        ));
    };
    let flags = &arguments.known;
    let given = flags.machine.as_deref().map(load).transpose()?;
    let Some(keeping) = Keeping::begin(&arguments.keep, given.as_ref())? else {
        return Ok(Outcome::Read);
    };
    let machine = over(keeping.profile().clone(), flags)?;
    let progress = Progress::new(1);
    let done = gathered(input, None, &machine, arguments.format, &progress)?;
    let mut results = results(arguments, found)?;
    let mut renderer = Renderer::new(&mut results, arguments.format, false, look());
    progress.done(|| {
        renderer
            .write(&done.report)
            .and_then(|()| renderer.finish())
    })?;
    results.whole()?;
    if let Some(aside) = &done.aside {
        complain(aside);
    }
    keeping.keep(path, &done.report)
}

/// Where the results go; never over a clip that is read.
fn results(arguments: &Read, found: &Inputs) -> Result<Results, Trouble> {
    let output = arguments.output.as_deref();
    let place = output.and_then(|path| path.canonicalize().ok());
    let clip = |input: &Input| match input {
        Input::File(path) => path.canonicalize().ok() == place,
        Input::Stream => false,
    };
    if place.is_some() && found.list.iter().flatten().any(clip) {
        return Err(Trouble::usage(
            "`--output` names a clip that is to be read",
            "name another file: the results would take the place of the clip",
        ));
    }
    Results::open(output)
}

/// Reads one clip to its end.
pub fn gathered(
    input: &Input,
    raw: Option<RawFormat>,
    machine: &Profile,
    format: Format,
    progress: &Progress,
) -> Result<Done, Trouble> {
    let mut gatherer = Gatherer::new(machine, format);
    let heard = hear(input, raw, machine, progress, |frame| {
        Ok(gatherer.push(frame)?)
    })?;
    let name = heard.facts.path.clone();
    let report = gatherer.finish(heard.facts, heard.warnings)?;
    let aside = match heard.silent {
        Some(silent) => Some(silent),
        // The text says it in its first sentence; data do not say it as plainly.
        None if format != Format::Text && !report.heard_engine() => Some(Trouble::input(
            format!("{name}: nothing is audible as an engine"),
            "record half a metre to a metre beside the muffler outlet; `--format text` says more",
            Outcome::NoEngine,
        )),
        None => None,
    };
    Ok(Done { report, aside })
}

/// The format of samples without a header; only standard input can have one.
fn raw_format(arguments: &Read) -> Result<Option<RawFormat>, Trouble> {
    let Some(text) = &arguments.raw else {
        return Ok(None);
    };
    let format = text
        .parse::<RawFormat>()
        .map_err(|fault| Trouble::usage(format!("--raw: {fault}"), fault.hint()))?;
    if arguments.clips.iter().any(|clip| clip.as_os_str() != "-") {
        return Err(Trouble::usage(
            "--raw is for standard input only",
            format!("send the samples in: `engine-note read - --raw {text} < FILE`"),
        ));
    }
    Ok(Some(format))
}
