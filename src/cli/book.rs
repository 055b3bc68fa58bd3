//! `book`: add, list, show, export, import.
use std::fs;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use super::book_add::add;
use super::book_args::{Action, BookCommand};
use super::exit::Outcome;
use super::terminal::{look, print, say};
use super::trouble::{Trouble, reason};
use crate::book::{Air, Book, BookError, Contents, PATIENCE, salvage, usual_place};
use crate::report;

/// Longest JSON that is taken in: a hundred thousand visits fit.
const LONGEST: u64 = 1 << 28;

impl From<BookError> for Trouble {
    fn from(error: BookError) -> Trouble {
        Trouble::Told {
            words: error.to_string(),
            hint: Some(error.hint()),
            outcome: Outcome::from(&error),
        }
    }
}

/// Runs the command.
pub fn book(command: BookCommand) -> Result<Outcome, Trouble> {
    let place = command.place.book;
    match command.action {
        Action::Add(fields) => add(place.as_deref(), &fields)?,
        Action::List => {
            let machines = existing(place.as_deref())?.machines()?;
            if machines.is_empty() {
                say("the job book knows no machine yet\n");
            } else {
                print(&report::machines(&machines, &look()))?;
            }
        }
        Action::Show(fields) => {
            let (machine, visits) = existing(place.as_deref())?.history(&fields.tag)?;
            let now = fields.air_temperature.map(|temperature| Air {
                temperature_c: Some(temperature),
                altitude_m: fields.altitude,
            });
            print(&report::history(&machine, &visits, now, &look()))?;
        }
        Action::Export { salvage: false } => {
            print(&existing(place.as_deref())?.contents()?.to_json())?;
        }
        Action::Export { salvage: true } => {
            let saved = salvage(&path(place.as_deref())?, PATIENCE)?;
            print(&saved.contents.to_json())?;
            say(&format!(
                "saved {} visits of {} machines; {} could not be read\n",
                saved.contents.visits.len(),
                saved.contents.machines.len(),
                saved.lost
            ));
        }
        Action::Import { file } => import(place.as_deref(), &file)?,
    }
    Ok(Outcome::Read)
}

/// Where the book is.
pub fn path(place: Option<&Path>) -> Result<PathBuf, Trouble> {
    match place {
        Some(path) => Ok(path.to_path_buf()),
        None => Ok(usual_place()?),
    }
}

/// The book, to be read.
pub fn existing(place: Option<&Path>) -> Result<Book, Trouble> {
    Ok(Book::open(&path(place)?, PATIENCE)?)
}

/// The book, to be written; begun where there is none.
pub fn to_write(place: Option<&Path>) -> Result<Book, Trouble> {
    let path = path(place)?;
    // Its own folder in the user's data folder is made; a folder that was named must be there.
    if let (None, Some(folder)) = (place, path.parent()) {
        fs::create_dir_all(folder)
            .map_err(|error| Trouble::output(&folder.to_string_lossy(), &error))?;
    }
    Ok(Book::open_or_begin(&path, PATIENCE)?)
}

fn import(place: Option<&Path>, file: &Path) -> Result<(), Trouble> {
    let name = file.to_string_lossy();
    let failed = |words: String| {
        Trouble::input(
            format!("{name}: {words}"),
            "`engine-note book export` prints such a file",
            Outcome::Unreadable,
        )
    };
    let mut bytes = vec![];
    let read = if name == "-" {
        io::stdin().lock().take(LONGEST + 1).read_to_end(&mut bytes)
    } else {
        fs::File::open(file).and_then(|file| file.take(LONGEST + 1).read_to_end(&mut bytes))
    };
    read.map_err(|error| failed(reason(&error)))?;
    if bytes.len() as u64 > LONGEST {
        return Err(failed("far too long for a job book".into()));
    }
    let text = String::from_utf8(bytes).map_err(|_| failed("this is no text file".into()))?;
    let contents = Contents::from_json(&text)?;
    let done = to_write(place)?.import(&contents)?;
    print(&format!(
        "{} machines and {} visits taken in, {} visits known already\n",
        done.machines, done.visits, done.known
    ))?;
    for tag in done.differing {
        say(&format!(
            "note: `{tag}` is known otherwise here; the class and profile of this book stay\n"
        ));
    }
    Ok(())
}
