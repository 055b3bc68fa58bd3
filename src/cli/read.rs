//! `read`: clips in, results out, in the order in which the clips were given.
use std::ops::ControlFlow;

use super::args::Read;
use super::book_add::Keeping;
use super::exit::Outcome;
use super::hear::{Part, hear_all};
use super::in_order::in_order;
use super::inputs::{Input, Inputs, inputs};
use super::picture::{Pictures, gathered_and_drawn};
use super::profile::{known, load, over};
use super::progress::Progress;
use super::read_folder::read_folders;
use super::results::{Results, over_no_clip};
use super::terminal::{complain, look, look_in_a_file};
use super::trouble::Trouble;
use crate::capture::RawFormat;
use crate::machine::Profile;
use crate::report::{Format, Gatherer, Look, Renderer, Report, Spectrogram};

/// A clip that was read.
pub struct Done {
    /// The result.
    pub report: Report,
    /// What is to be said beside it.
    pub aside: Option<Trouble>,
    /// Why its picture could not be written.
    pub picture: Option<Trouble>,
}

/// Runs the command.
pub fn read(arguments: &Read) -> Result<Outcome, Trouble> {
    let by_itself = arguments.keep.save.is_some() || arguments.raw.is_some();
    if !by_itself && arguments.clips.iter().all(|path| path.is_dir()) {
        return read_folders(arguments);
    }
    if arguments.since_last || arguments.summary.is_some() {
        let flag = if arguments.since_last {
            "--since-last"
        } else {
            "--summary"
        };
        return Err(Trouble::usage(
            format!("{flag} is for folders"),
            "put the clips into a folder and name that",
        ));
    }
    let machine = known(&arguments.known)?;
    let raw = raw_format(arguments)?;
    let found = inputs(&arguments.clips)?;
    let clips = found.list.iter().flatten().cloned();
    let pictures = Pictures::plan(&arguments.drawn, clips, found.several)?;
    if arguments.keep.save.is_some() {
        return read_and_keep(arguments, &found, pictures.as_ref());
    }
    let mut results = results(arguments, &found)?;
    let progress = Progress::new(found.list.len());
    let mut renderer = Renderer::new(
        &mut results,
        arguments.format,
        found.several,
        look_of(arguments),
    );
    let mut worst = Outcome::Read;
    let mut stopped = None;
    in_order(
        &found.list,
        |input| match input {
            Ok(input) => gathered_and_drawn(
                input,
                raw,
                &machine,
                arguments.format,
                &progress,
                pictures.as_ref(),
            ),
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
                let outcome = if done.report.heard_engine() {
                    Outcome::Read
                } else {
                    Outcome::NoEngine
                };
                Ok(outcome.or_worse(told(done.picture.as_ref())))
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
fn read_and_keep(
    arguments: &Read,
    found: &Inputs,
    pictures: Option<&Pictures>,
) -> Result<Outcome, Trouble> {
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
    let format = arguments.format;
    let done = gathered_and_drawn(input, None, &machine, format, &progress, pictures)?;
    let mut results = results(arguments, found)?;
    let mut renderer = Renderer::new(&mut results, arguments.format, false, look_of(arguments));
    progress.done(|| {
        renderer
            .write(&done.report)
            .and_then(|()| renderer.finish())
    })?;
    results.whole()?;
    if let Some(aside) = &done.aside {
        complain(aside);
    }
    let outcome = keeping.keep(path, &done.report)?;
    Ok(outcome.or_worse(told(done.picture.as_ref())))
}

/// Says why a picture could not be written, and how that ends.
pub fn told(trouble: Option<&Trouble>) -> Outcome {
    trouble.map_or(Outcome::Read, |trouble| {
        complain(trouble);
        trouble.outcome()
    })
}

/// How text is shown where the results go.
pub fn look_of(arguments: &Read) -> Look {
    match arguments.output.as_deref() {
        Some(path) if path.as_os_str() != "-" => look_in_a_file(),
        _ => look(),
    }
}

/// Where the results go; never over a clip that is read.
fn results(arguments: &Read, found: &Inputs) -> Result<Results, Trouble> {
    let clips = found.list.iter().flatten().filter_map(|input| match input {
        Input::File(path) => Some(path.as_path()),
        Input::Stream => None,
    });
    over_no_clip("--output", arguments.output.as_deref(), clips)?;
    Results::open(arguments.output.as_deref())
}

/// Reads one clip to its end.
pub fn gathered(
    input: &Input,
    raw: Option<RawFormat>,
    machine: &Profile,
    format: Format,
    progress: &Progress,
) -> Result<Done, Trouble> {
    gathered_with(input, raw, machine, format, progress, None)
}

/// Reads one clip to its end; what its picture needs is gathered along the way.
pub fn gathered_with(
    input: &Input,
    raw: Option<RawFormat>,
    machine: &Profile,
    format: Format,
    progress: &Progress,
    mut picture: Option<&mut Spectrogram>,
) -> Result<Done, Trouble> {
    let mut gatherer = Gatherer::new(machine, format);
    let heard = hear_all(input, raw, machine, progress, |part| {
        match (part, &mut picture) {
            (Part::Sound(sound), Some(picture)) => picture.hear(sound),
            (Part::Sound(_), None) => {}
            (Part::Frame(frame), picture) => {
                if let Some(picture) = picture {
                    picture.push(frame);
                }
                gatherer.push(frame)?;
            }
        }
        Ok(())
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
    Ok(Done {
        report,
        aside,
        picture: None,
    })
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
