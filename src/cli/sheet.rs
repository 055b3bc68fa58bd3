//! `sheet`: the page that goes with a machine, from a clip, a tuning or a visit.
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Read as _};
use std::path::{Path, PathBuf};

use clap::Args;

use super::args::Known;
use super::book::existing;
use super::book_add::{clip, today};
use super::exit::Outcome;
use super::profile::{known, load, over};
use super::sheet_pictures::{of_visit as pictures_of_visit, with_picture};
use super::terminal::say;
use super::trouble::{Trouble, reason};
use crate::book::{Machine, Measured, Moment, Tag, Tuning, Visit};
use crate::machine::Profile;
use crate::procedure::Answer;
use crate::report::Sheet as Page;
use crate::session::Event;

/// Longest line of a tuning's record.
const LONGEST_LINE: u64 = 1 << 20;

/// Write a job sheet: one page for the customer and the shop
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    long_about = "Writes a job sheet: one HTML page that needs nothing else and prints on one page, A4 or Letter (any \
        browser makes a PDF of it). It says what was found, what was turned, what was proved and what was not checked.\n\n\
        It is made from a visit in the job book (its number, or a machine's tag for its latest visit), from the events of \
        a tuning, or from a clip alone. Recordings that are still where they were are read again for their pictures.",
    after_long_help = "\
Examples:
  engine-note sheet 7 -o sheet.html
  engine-note sheet \"trimmer 4\" -o sheet.html
  engine-note sheet before.m4a --machine trimmer.toml -o sheet.html
  engine-note sheet tuning.ndjson --machine trimmer.toml -o sheet.html

A file of that name comes before a visit or a machine."
)]
pub struct Sheet {
    /// A clip, the events of a tuning, the number of a visit, or a machine's tag
    #[arg(value_name = "CLIP|SESSION|VISIT")]
    pub what: String,
    /// The page to write
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    #[command(flatten)]
    pub known: Known,
    /// With the events of a tuning: the answers that were given, where they are in a file of their own
    #[arg(long, value_name = "FILE")]
    pub answers: Option<PathBuf>,
    /// The job book [default: engine-note/book.sqlite3 in your data folder]
    #[arg(long, value_name = "PATH")]
    pub book: Option<PathBuf>,
}

/// Runs the command.
pub fn sheet(arguments: &Sheet) -> Result<Outcome, Trouble> {
    let path = Path::new(&arguments.what);
    let (page, outcome) = if path.is_file() {
        if is_record(path) {
            of_tuning(arguments, path)?
        } else {
            of_clip(arguments, path)?
        }
    } else {
        (of_visit(arguments)?, Outcome::Read)
    };
    fs::write(&arguments.output, page.page())
        .map_err(|error| Trouble::output(&arguments.output.to_string_lossy(), &error))?;
    say(&format!("wrote {}\n", arguments.output.display()));
    Ok(outcome)
}

fn of_visit(arguments: &Sheet) -> Result<Page, Trouble> {
    let what = &arguments.what;
    let looks_like_a_file = Path::new(what).extension().is_some() || what.contains('/');
    if looks_like_a_file && what.parse::<Tag>().is_ok() {
        let book = existing(arguments.book.as_deref());
        if !book.is_ok_and(|book| matches!(book.machine(what), Ok(Some(_)))) {
            return Err(Trouble::input(
                format!("{what}: no such file"),
                "name a clip, the events of a tuning, the number of a visit, or a machine's tag",
                Outcome::Unreadable,
            ));
        }
    }
    let book = existing(arguments.book.as_deref())?;
    let (machine, visit, number) = match what.parse::<u32>() {
        Ok(number) if book.machine(what)?.is_none() => {
            let (machine, visit) = book.visit(number)?;
            (machine, visit, number)
        }
        _ => {
            let (machine, mut visits) = book.history(what)?;
            let Some(last) = visits.pop() else {
                return Err(crate::book::BookError::NoVisit { tag: what.clone() }.into());
            };
            (machine, last.visit, last.number)
        }
    };
    let machine = Machine {
        profile: with_flags(machine.profile, &arguments.known)?,
        ..machine
    };
    let pictures = pictures_of_visit(&visit, &machine.profile)?;
    let page = Page::of_visit(&machine, &visit, Some(number));
    Ok(pictures.into_iter().fold(page, Page::with_picture))
}

/// A profile with the one from the command line in its place, and the flags over it.
fn with_flags(profile: Profile, flags: &Known) -> Result<Profile, Trouble> {
    let given = flags.machine.as_deref().map(load).transpose()?;
    over(given.unwrap_or(profile), flags)
}

fn of_clip(arguments: &Sheet, path: &Path) -> Result<(Page, Outcome), Trouble> {
    let profile = known(&arguments.known)?;
    let (done, picture) = with_picture(path, &profile, "As heard")?;
    let mut visit = Visit::on(today());
    let heard = Measured::from(&done.report.reading);
    visit.before = (!heard.is_empty()).then_some(heard);
    visit.clips.push(clip(Moment::Before, path)?);
    let outcome = if done.report.heard_engine() {
        Outcome::Read
    } else {
        Outcome::NoEngine
    };
    let page = Page::of_visit(&named(profile, path), &visit, None);
    let page = page.with_advice(&done.report.advice).with_picture(picture);
    Ok((page, outcome))
}

fn of_tuning(arguments: &Sheet, path: &Path) -> Result<(Page, Outcome), Trouble> {
    let profile = known(&arguments.known)?;
    let (events, mut answers) = record(path)?;
    if events.is_empty() {
        return Err(Trouble::input(
            format!("{}: no event of a tuning in this file", path.display()),
            "`engine-note tune --events ndjson` writes such a file",
            Outcome::Unreadable,
        ));
    }
    if let Some(path) = &arguments.answers {
        answers.extend(record(path)?.1);
    }
    let mut visit = Visit::on(today());
    visit.take_tuning(&Tuning::from_events(&events, &answers));
    Ok((
        Page::of_visit(&named(profile, path), &visit, None),
        Outcome::Read,
    ))
}

/// A machine that is not in the book, under the name that it has in its profile or that of its file.
fn named(profile: Profile, path: &Path) -> Machine {
    let stem = path
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let tag = [profile.name.clone().unwrap_or_default(), stem]
        .iter()
        .find_map(|name| name.trim().parse::<Tag>().ok())
        .unwrap_or_else(Tag::unnamed);
    Machine {
        profile,
        ..Machine::new(tag)
    }
}

/// Whether a file holds lines of JSON: no sound begins with a brace.
fn is_record(path: &Path) -> bool {
    let mut first = [0; 1];
    File::open(path)
        .and_then(|mut file| file.read_exact(&mut first))
        .is_ok()
        && first == *b"{"
}

/// The events and answers in a file of JSON lines; what else stands there is for others.
fn record(path: &Path) -> Result<(Vec<Event>, Vec<Answer>), Trouble> {
    let failed = |error: io::Error| {
        Trouble::input(
            format!("{}: {}", path.display(), reason(&error)),
            "check the name of the file",
            Outcome::Unreadable,
        )
    };
    let mut lines = BufReader::new(File::open(path).map_err(failed)?);
    let (mut events, mut answers, mut line) = (vec![], vec![], vec![]);
    loop {
        line.clear();
        let count = lines
            .by_ref()
            .take(LONGEST_LINE)
            .read_until(b'\n', &mut line)
            .map_err(failed)?;
        if count == 0 {
            return Ok((events, answers));
        }
        if let Ok(event) = serde_json::from_slice(&line) {
            events.push(event);
        } else if let Ok(answer) = serde_json::from_slice(&line) {
            answers.push(answer);
        }
    }
}
