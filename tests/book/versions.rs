//! Books of every version that was ever written are read.
use std::fs;
use std::path::{Path, PathBuf};

use engine_note::book::{Book, Contents, PATIENCE, VERSION};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/book")
        .join(name)
}

/// The stored book of each version, opened by this program, holds what its maker put in.
#[test]
fn books_of_every_version_are_brought_up_to_date() {
    let folder = tempfile::tempdir().unwrap();
    for version in 1..=VERSION {
        let json = fs::read_to_string(fixture(&format!("version-{version}.json"))).unwrap();
        let stored_contents = Contents::from_json(&json).unwrap();
        assert!(stored_contents.visits.len() > 3, "there is something in it");
        let stored = fixture(&format!("version-{version}.sqlite3"));
        let file = rusqlite::Connection::open(&stored).unwrap();
        let found: i64 = file
            .pragma_query_value(None, "user_version", |row| row.get(0))
            .unwrap();
        drop(file);
        assert_eq!(
            found, version,
            "the stored file is of the version that its name says"
        );
        let copy = folder.path().join(format!("{version}"));
        fs::copy(&stored, &copy).unwrap();
        let mut book = Book::open(&copy, PATIENCE).unwrap();
        assert_eq!(
            book.contents().unwrap(),
            stored_contents,
            "version {version}"
        );
        // It can be written as one of today.
        book.import(&stored_contents).unwrap();
        let number = book
            .add_visit(
                &stored_contents.machines[0],
                &stored_contents.visits[0].visit,
            )
            .unwrap();
        assert_eq!(number as usize, stored_contents.visits.len() + 1);
        drop(book);
        let file = rusqlite::Connection::open(&copy).unwrap();
        let now: i64 = file
            .pragma_query_value(None, "user_version", |row| row.get(0))
            .unwrap();
        assert_eq!(now, VERSION);
    }
}
