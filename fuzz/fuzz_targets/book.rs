//! The job book: a document that is imported (what begins with a brace) and the bytes of its file.
//! What goes in comes out again; what is refused says why and what to do.
#![no_main]
use std::cell::OnceCell;
use std::fs;
use std::path::Path;
use std::time::Duration;

use engine_note::book::{Book, BookError, Contents, salvage, trends};
use libfuzzer_sys::fuzz_target;
use tempfile::TempDir;

thread_local! {
    /// A folder for the files, and the bytes of a book that was just begun.
    static PLACE: OnceCell<(TempDir, Vec<u8>)> = const { OnceCell::new() };
}

/// Nobody else holds the file.
const PATIENCE: Duration = Duration::ZERO;

fn refused(error: &BookError) {
    assert!(!error.to_string().is_empty() && !error.hint().is_empty());
}

/// Imports a document into an empty book, which then holds just that, and once more, which changes
/// nothing.
fn document(path: &Path, contents: &Contents) {
    let mut book = Book::open(path, PATIENCE).expect("a book that was just begun");
    let done = match book.import(contents) {
        Ok(done) => done,
        Err(error) => return refused(&error),
    };
    assert_eq!(done.machines, contents.machines.len());
    assert_eq!(done.visits, contents.visits.len());
    let held = book.contents().expect("what was imported can be read");
    assert_eq!(held.visits, contents.visits);
    assert_eq!(held.machines.len(), contents.machines.len());
    let again = Contents::from_json(&held.to_json()).expect("what is exported can be imported");
    assert_eq!(again, held);
    let done = book
        .import(&again)
        .expect("what is exported can be imported");
    assert_eq!((done.machines, done.visits), (0, 0));
    assert_eq!(done.known, contents.visits.len());
    look(&book);
}

/// Whatever the book holds can be shown.
fn look(book: &Book) {
    let machines = match book.machines() {
        Ok(machines) => machines,
        Err(error) => return refused(&error),
    };
    for (machine, ..) in machines {
        match book.history(machine.tag.as_str()) {
            Ok((_, visits)) => drop(trends(&visits)),
            Err(error) => refused(&error),
        }
    }
}

/// Opens a file; what can be read of it, salvage reads too.
fn file(path: &Path) {
    let saved = salvage(path, PATIENCE);
    if let Err(error) = &saved {
        refused(error);
    }
    let book = match Book::open(path, PATIENCE) {
        Ok(book) => book,
        Err(error) => return refused(&error),
    };
    look(&book);
    match book.contents() {
        Ok(contents) => {
            let again = Contents::from_json(&contents.to_json());
            assert_eq!(again.as_ref().ok(), Some(&contents));
        }
        Err(error) => refused(&error),
    }
}

fuzz_target!(|bytes: &[u8]| {
    PLACE.with(|place| {
        let (folder, begun) = place.get_or_init(|| {
            let folder = tempfile::tempdir().expect("a folder for temporary files");
            let path = folder.path().join("begun");
            drop(Book::open_or_begin(&path, PATIENCE).expect("room for a book"));
            let begun = fs::read(path).expect("the book is there");
            (folder, begun)
        });
        let path = folder.path().join("book");
        let _ = fs::remove_file(folder.path().join("book-journal"));
        if bytes.first() == Some(&b'{') {
            let Ok(text) = std::str::from_utf8(bytes) else {
                return;
            };
            match Contents::from_json(text) {
                Ok(contents) => {
                    fs::write(&path, begun).expect("room for a book");
                    document(&path, &contents);
                }
                Err(error) => refused(&error),
            }
        } else {
            fs::write(&path, bytes).expect("room for a book");
            file(&path);
        }
    });
});
