//! The end of a run: pieces put in order, and the file of results renamed into its place.
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use super::error::ArchiveError;
use super::ledger::{Ledger, Lies, Run, State};
use super::spool::{Spool, copy, rename};
use super::stamp::nanoseconds;
use crate::report::Pieces;

/// Whether the spool holds exactly the pieces of `keys` in their order.
pub fn in_order<'a>(
    ledger: &Ledger,
    spool: &Spool,
    keys: impl Iterator<Item = &'a [u8]>,
) -> Result<bool, ArchiveError> {
    let mut end = 0;
    for key in keys {
        match ledger.find(key)?.map(|line| line.lies) {
            Some(Lies::Spool(start, length)) if start == end => end += length,
            Some(Lies::Nowhere) | None => {}
            Some(Lies::Spool(..) | Lies::Results(..)) => return Ok(false),
        }
    }
    Ok(end == spool.length())
}

/// What lies in the spool will lie at the same place in the results.
pub fn move_rows<'a>(
    ledger: &Ledger,
    round: i64,
    keys: impl Iterator<Item = &'a [u8]>,
) -> Result<(), ArchiveError> {
    for key in keys {
        if let Some(mut line) = ledger.find(key)?
            && let Lies::Spool(start, length) = line.lies
        {
            line.lies = Lies::Results(start, length);
            ledger.put(key, &line, round)?;
        }
    }
    Ok(())
}

/// Puts the results together in a file beside their place; gives their length.
pub fn put_together<'a>(
    ledger: &Ledger,
    results: &Path,
    round: i64,
    keys: impl Iterator<Item = &'a [u8]>,
    pieces: &Pieces,
    tail: &[u8],
) -> Result<i64, ArchiveError> {
    let path = beside(results, ".new");
    let failed = |error: io::Error| ArchiveError::results(&path, &error);
    let mut spool = File::open(beside(results, ".part")).map_err(failed)?;
    let mut old = OpenOptions::new().read(true).open(results).ok();
    let mut out = BufWriter::new(File::create(&path).map_err(failed)?);
    let (mut at, mut written) = (0i64, 0u64);
    let put = |out: &mut BufWriter<File>, at: &mut i64, bytes: &[u8]| {
        *at += i64::try_from(bytes.len()).unwrap_or(i64::MAX);
        out.write_all(bytes).map(|()| *at).map_err(failed)
    };
    for key in keys {
        let Some(mut line) = ledger.find(key)? else {
            continue;
        };
        let (from, start, length) = match line.lies {
            Lies::Nowhere => continue,
            Lies::Spool(start, length) => (Some(&mut spool), start, length),
            Lies::Results(start, length) => (old.as_mut(), start, length),
        };
        let from = from.ok_or_else(|| ledger.damaged("the results are gone"))?;
        let before: &[u8] = if written == 0 {
            &pieces.head
        } else {
            pieces.between
        };
        let begin = put(&mut out, &mut at, before)?;
        copy(from, start, length, &mut out).map_err(failed)?;
        at += length;
        line.lies = Lies::Results(begin, length);
        ledger.put(key, &line, round)?;
        written += 1;
    }
    put(
        &mut out,
        &mut at,
        if written > 0 {
            pieces.tail
        } else {
            &pieces.none
        },
    )?;
    let length = put(&mut out, &mut at, tail)?;
    out.flush().map_err(failed)?;
    out.get_ref().sync_all().map_err(failed)?;
    Ok(length)
}

/// Finishes what a run that came to its end may have left half-done: the results get their name.
pub fn recover(ledger: &Ledger, results: &Path, run: &mut Run) -> Result<(), ArchiveError> {
    let failed = |error: io::Error| ArchiveError::results(results, &error);
    let (new, part) = (beside(results, ".new"), beside(results, ".part"));
    match run.state {
        State::Running | State::Whole => return Ok(()),
        State::PutTogether if new.exists() => rename(&new, results).map_err(failed)?,
        State::InOrder if part.exists() => rename(&part, results).map_err(failed)?,
        State::PutTogether | State::InOrder => {}
    }
    // The length stays as it was put down: where the file has another one, somebody else has written
    // it since, and the next run finds that out.
    *run = Run {
        state: State::Whole,
        modified_ns: facts(results).1,
        ..run.clone()
    };
    ledger.put_run(run)?;
    ledger.commit()?;
    let _ = fs::remove_file(part);
    Ok(())
}

/// Length and modification time of a file; nothing of one that is not there.
pub fn facts(path: &Path) -> (i64, i64) {
    let facts = fs::metadata(path).ok();
    let length = facts.as_ref().map_or(0, fs::Metadata::len);
    let modified = facts.and_then(|facts| facts.modified().ok());
    (
        i64::try_from(length).unwrap_or(i64::MAX),
        modified.map_or(0, nanoseconds),
    )
}

/// A file beside another, with an ending after its whole name.
pub fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}
