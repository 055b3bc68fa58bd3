//! What can still be read of a damaged book.
use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::Path;
use std::time::Duration;

use super::contents::{Contents, Entry, Layout};
use super::error::BookError;
use super::file::{Book, VERSION};
use super::machine::{Machine, Tag};
use super::store::{machines, one_visit};

/// What can still be read of a damaged book.
#[derive(Clone, Debug, PartialEq)]
pub struct Salvage {
    /// All that could be read.
    pub contents: Contents,
    /// How many visits are known to have been there and could not be read.
    pub lost: u32,
}

/// Reads every visit by itself, and leaves out those that cannot be read. The file is not written.
///
/// # Errors
/// Where the file cannot be opened, or is of a newer version than this program's.
pub fn salvage(path: &Path, patience: Duration) -> Result<Salvage, BookError> {
    let book = Book::unproved(path, patience)?;
    if book.version()? == VERSION {
        return Ok(saved(&book));
    }
    // An older one is brought up to date in a copy.
    drop(book);
    let failed = |error: io::Error| BookError::Disk {
        path: path.to_path_buf(),
        reason: error.to_string(),
    };
    let folder = tempfile::tempdir().map_err(failed)?;
    let copy = folder.path().join("book");
    fs::copy(path, &copy).map_err(failed)?;
    let mut book = Book::unproved(&copy, patience)?;
    book.make_current()?;
    Ok(saved(&book))
}

fn saved(book: &Book) -> Salvage {
    let connection = &book.connection;
    let highest = |query: &str| connection.query_row(query, [], |row| row.get::<_, Option<u32>>(0));
    // The counter of numbers lies on another page than the visits: one of the two is likely whole.
    let last = [
        "SELECT seq FROM sqlite_sequence WHERE name = 'visit'",
        "SELECT max(id) FROM visit",
    ]
    .into_iter()
    .filter_map(|query| highest(query).ok().flatten())
    .max()
    .unwrap_or(0);
    let mut known: BTreeMap<Tag, Machine> = machines(connection)
        .unwrap_or_default()
        .into_iter()
        .map(|machine| (machine.tag.clone(), machine))
        .collect();
    let mut visits = vec![];
    for number in 1..=last {
        if let Ok(Some((machine, visit))) = one_visit(connection, number) {
            visits.push(Entry {
                machine: machine.tag.clone(),
                visit,
            });
            known.insert(machine.tag.clone(), machine);
        }
    }
    Salvage {
        lost: last.saturating_sub(visits.len() as u32),
        contents: Contents {
            schema: Layout::Book1,
            machines: known.into_values().collect(),
            visits,
        },
    }
}
