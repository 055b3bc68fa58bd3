//! The ledger of an archive: the bytes of its file, with results and a spool that it may or may not
//! fit. A run begins, looks at clips, reads some and ends; or it says why it cannot.
#![no_main]
use std::cell::OnceCell;
use std::fs;
use std::io::Write;
use std::path::Path;

use engine_note::archive::{Archive, ArchiveError, Entry, Place, Stamp};
use engine_note::book::Digest;
use engine_note::report::{Brief, Format, Look, Pieces};
use libfuzzer_sys::fuzz_target;
use tempfile::TempDir;

thread_local! {
    /// A folder for the files.
    static PLACE: OnceCell<TempDir> = const { OnceCell::new() };
}

const KEYS: [&[u8]; 4] = [b"a.wav", b"b.wav", b"c.wav", b"d.wav"];

fn refused(error: &ArchiveError) {
    assert!(!error.to_string().is_empty() && !error.hint().is_empty());
}

fn run(folder: &Path, since_last: bool, finish: bool) -> Result<(), ArchiveError> {
    let results = folder.join("out");
    let mut archive = Archive::begin(&Place::Beside(results), "ndjson", since_last)?;
    let clip = folder.join("clip");
    let profile = Digest([7; 32]);
    for (at, key) in KEYS.into_iter().enumerate() {
        let known = archive.knows(key, &clip, &profile)?;
        archive.brief(key)?;
        if known || at == 3 {
            continue;
        }
        let entry = Entry {
            key,
            stamp: Stamp::of(&clip).expect("the clip is there"),
            sha256: Digest::of(&clip).expect("the clip is there"),
            profile,
            brief: Brief::broken("machine", "no sound"),
        };
        archive.put(entry, |spool| spool.write_all(b"{}\n"))?;
    }
    let (named, count) = archive.gone()?;
    assert!(named.len() as i64 <= count);
    if finish {
        let pieces =
            Pieces::of(Format::Ndjson, Look::default()).expect("lines can be put together");
        archive.finish(KEYS.into_iter(), &pieces, b"")?;
    }
    Ok(())
}

fuzz_target!(|bytes: &[u8]| {
    let [choice, bytes @ ..] = bytes else {
        return;
    };
    PLACE.with(|place| {
        let folder = place.get_or_init(|| {
            let folder = tempfile::tempdir().expect("a folder for temporary files");
            fs::write(folder.path().join("clip"), b"no sound").expect("room for a clip");
            folder
        });
        let folder = folder.path();
        for name in ["out.ledger-journal", "out", "out.part", "out.new"] {
            let _ = fs::remove_file(folder.join(name));
        }
        let write = |name: &str, bytes: &[u8]| {
            fs::write(folder.join(name), bytes).expect("room for a file");
        };
        write("out.ledger", bytes);
        for (bit, name) in [(1, "out"), (2, "out.part"), (4, "out.new")] {
            if choice & bit != 0 {
                write(name, b"{\"a\":1}\n{\"b\":2}\n{\"c\":3}\n");
            }
        }
        for _ in 0..2 {
            if let Err(error) = run(folder, choice & 8 != 0, choice & 16 != 0) {
                refused(&error);
            }
        }
    });
});
