//! A run over many clips that may be interrupted anywhere.
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use super::error::ArchiveError;
use super::ledger::{Ledger, Lies, Line, Run, State};
use super::spool::{Spool, copy, rename};
use super::stamp::{Stamp, nanoseconds};
use crate::book::Digest;
use crate::report::{Brief, Pieces};

/// Time between two syncs: what a kill can cost.
const SYNC: Duration = Duration::from_millis(250);
/// The version that pieces are bound to: another program may read otherwise.
const PROGRAM: &str = env!("CARGO_PKG_VERSION");
/// Clips that are gone and are named.
const MOST_NAMED: i64 = 5;

/// Where the ledger lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// Beside the results, a file.
    Beside(PathBuf),
    /// By itself, where results are printed and no pieces are kept.
    Alone(PathBuf),
}

/// How a run begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Begun {
    /// Nothing was known.
    First,
    /// Everything is read again, as was asked.
    Again,
    /// Everything is read again: the last run was one of another version of the program.
    OtherProgram,
    /// Everything is read again: the last run wrote another format.
    OtherFormat,
    /// Everything whose piece lies in the results is read again: the file is not as it was left.
    ResultsChanged,
    /// The last run was interrupted; this one goes on.
    GoesOn,
    /// Only what is new or changed is read.
    SinceLast,
}

/// A clip that was read, or that could not be.
pub struct Entry<'a> {
    /// Its key.
    pub key: &'a [u8],
    /// Size and times of its file, taken before it was read.
    pub stamp: Stamp,
    /// Of its content, taken before it was read.
    pub sha256: Digest,
    /// Of what was known of its machine.
    pub profile: Digest,
    /// For the summary.
    pub brief: Brief,
}

/// A run over many clips that may be interrupted anywhere.
pub struct Archive {
    ledger: Ledger,
    run: Run,
    begun: Begun,
    kept: Option<Kept>,
    synced: Instant,
    /// Whether the results have to be put together anew.
    changed: bool,
}

struct Kept {
    results: PathBuf,
    spool: Spool,
}

impl Archive {
    /// Begins a run, or goes on with one that was interrupted.
    ///
    /// # Errors
    /// Where the ledger or the spool cannot be used.
    pub fn begin(place: &Place, format: &str, since_last: bool) -> Result<Archive, ArchiveError> {
        let path = match place {
            Place::Beside(results) => beside(results, ".ledger"),
            Place::Alone(path) => path.clone(),
        };
        let ledger = Ledger::open(&path)?;
        let mut last = ledger.last()?;
        if let (Place::Beside(results), Some(run)) = (place, &mut last) {
            recover(&ledger, results, run)?;
        }
        let mut begun = match &last {
            None => Begun::First,
            Some(run) if run.program != PROGRAM => Begun::OtherProgram,
            Some(run) if run.format != format => Begun::OtherFormat,
            Some(run) if run.state != State::Whole => Begun::GoesOn,
            Some(_) if since_last => Begun::SinceLast,
            Some(_) => Begun::Again,
        };
        if !matches!(begun, Begun::GoesOn | Begun::SinceLast) {
            ledger.forget_all()?;
        } else if let (Place::Beside(results), Some(run)) = (place, &last) {
            let (length, modified_ns) = facts(results);
            if (length, modified_ns) != (run.length, run.modified_ns) {
                ledger.forget_results()?;
                // A run that was interrupted before there were any results misses nothing.
                if run.length > 0 {
                    begun = Begun::ResultsChanged;
                }
            }
        }
        let whole = last.as_ref().is_some_and(|run| run.state == State::Whole);
        let run = Run {
            program: PROGRAM.into(),
            format: format.into(),
            state: State::Running,
            round: last.as_ref().map_or(1, |run| run.round.saturating_add(1)),
            length: last.as_ref().map_or(0, |run| run.length),
            modified_ns: last.as_ref().map_or(0, |run| run.modified_ns),
        };
        ledger.put_run(&run)?;
        let kept = match place {
            Place::Alone(_) => None,
            Place::Beside(results) => Some(Kept {
                results: results.clone(),
                spool: Spool::open(&beside(results, ".part"), |length| {
                    ledger.forget_beyond(length)
                })?,
            }),
        };
        ledger.commit()?;
        Ok(Archive {
            ledger,
            run,
            begun,
            kept,
            synced: Instant::now(),
            changed: !(whole && begun == Begun::SinceLast),
        })
    }

    /// How it began.
    pub fn begun(&self) -> Begun {
        self.begun
    }

    /// Whether a clip is known and need not be read. Its content is looked at only where size and
    /// times leave a doubt.
    ///
    /// # Errors
    /// Where the ledger cannot be used.
    pub fn knows(
        &mut self,
        key: &[u8],
        path: &Path,
        profile: &Digest,
    ) -> Result<bool, ArchiveError> {
        let Some(mut line) = self.ledger.find(key)? else {
            return Ok(false);
        };
        // What could not be read is tried again: it may have been the place, not the clip.
        if line.profile != *profile || line.brief.broken.is_some() {
            return Ok(false);
        }
        let Ok(stamp) = Stamp::of(path) else {
            return Ok(false);
        };
        let same = stamp.agrees(&line.stamp) && line.stamp.settled
            || stamp.size == line.stamp.size && Digest::of(path).is_ok_and(|d| d == line.sha256);
        if same {
            line.stamp = stamp;
            self.ledger.put(key, &line, self.run.round)?;
        }
        Ok(same)
    }

    /// Keeps a clip; `piece` writes its piece of the results, nothing where it could not be read.
    /// Where results are printed it is for the caller to print them before.
    ///
    /// # Errors
    /// Where the ledger or the spool cannot be written.
    pub fn put(
        &mut self,
        entry: Entry<'_>,
        piece: impl FnOnce(&mut Spool) -> io::Result<()>,
    ) -> Result<(), ArchiveError> {
        let mut lies = Lies::Nowhere;
        if let Some(kept) = &mut self.kept {
            let start = kept.spool.length();
            if let Err(error) = piece(&mut kept.spool) {
                // The clips before it are kept; the torn piece goes now or when the run goes on.
                let _ = kept.spool.cut(start);
                return Err(ArchiveError::results(&kept.results, &error));
            }
            let length = kept.spool.length() - start;
            if length > 0 {
                lies = Lies::Spool(start, length);
            }
        }
        let line = Line {
            stamp: entry.stamp,
            sha256: entry.sha256,
            profile: entry.profile,
            brief: entry.brief,
            lies,
        };
        let same = self.ledger.find(entry.key)?.is_some_and(|old| {
            old.lies == Lies::Nowhere && lies == Lies::Nowhere && old.brief == line.brief
        });
        self.changed |= !same;
        self.ledger.put(entry.key, &line, self.run.round)?;
        if self.synced.elapsed() > SYNC {
            self.sync()?;
        }
        Ok(())
    }

    /// Waits until all that was put is on the disk.
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn sync(&mut self) -> Result<(), ArchiveError> {
        if let Some(kept) = &mut self.kept {
            kept.spool.sync()?;
        }
        self.ledger.commit()?;
        self.synced = Instant::now();
        Ok(())
    }

    /// What is kept of a clip for the summary.
    ///
    /// # Errors
    /// Where the ledger cannot be used.
    pub fn brief(&self, key: &[u8]) -> Result<Option<Brief>, ArchiveError> {
        Ok(self.ledger.find(key)?.map(|line| line.brief))
    }

    /// Keys of clips that are known but were neither met nor read in this run, the first few, and
    /// how many there are.
    ///
    /// # Errors
    /// Where the ledger cannot be used.
    pub fn gone(&self) -> Result<(Vec<Vec<u8>>, i64), ArchiveError> {
        self.ledger.not_met(self.run.round, MOST_NAMED)
    }

    /// Ends the run: puts the results together in the order of `keys`, with `tail` after them, and
    /// forgets the clips that are gone.
    ///
    /// # Errors
    /// Where the ledger or the results cannot be written.
    pub fn finish<'a>(
        mut self,
        keys: impl Iterator<Item = &'a [u8]> + Clone,
        pieces: &Pieces,
        tail: &[u8],
    ) -> Result<(), ArchiveError> {
        let gone = self.gone()?.1 > 0;
        self.ledger.forget_not_met(self.run.round)?;
        let mut run = self.run.clone();
        let mut in_place = None;
        if let Some(kept) = &mut self.kept {
            kept.spool.sync()?;
            // The end of a text tells of clips that could not be read, too.
            if self.changed || gone || !tail.is_empty() {
                let bare = pieces.head.is_empty() && pieces.between.is_empty() && tail.is_empty();
                let in_order = bare
                    && pieces.tail.is_empty()
                    && pieces.none.is_empty()
                    && in_order(&self.ledger, &kept.spool, keys.clone())?;
                run.state = if in_order {
                    State::InOrder
                } else {
                    State::PutTogether
                };
                run.length = if in_order {
                    kept.spool.length()
                } else {
                    put_together(
                        &self.ledger,
                        kept,
                        self.run.round,
                        keys.clone(),
                        pieces,
                        tail,
                    )?
                };
                if in_order {
                    move_rows(&self.ledger, self.run.round, keys)?;
                }
                self.ledger.put_run(&run)?;
                self.ledger.commit()?;
            }
            in_place = Some(kept.results.clone());
        }
        match in_place {
            Some(results) if run.state != State::Running => {
                recover(&self.ledger, &results, &mut run)
            }
            results => {
                run.state = State::Whole;
                self.ledger.put_run(&run)?;
                self.ledger.commit()?;
                if let Some(results) = results {
                    let _ = fs::remove_file(beside(&results, ".part"));
                }
                Ok(())
            }
        }
    }
}

/// Whether the spool holds exactly the pieces of `keys` in their order.
fn in_order<'a>(
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
fn move_rows<'a>(
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
fn put_together<'a>(
    ledger: &Ledger,
    kept: &Kept,
    round: i64,
    keys: impl Iterator<Item = &'a [u8]>,
    pieces: &Pieces,
    tail: &[u8],
) -> Result<i64, ArchiveError> {
    let path = beside(&kept.results, ".new");
    let failed = |error: io::Error| ArchiveError::results(&path, &error);
    let mut spool = File::open(beside(&kept.results, ".part")).map_err(failed)?;
    let mut old = OpenOptions::new().read(true).open(&kept.results).ok();
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
fn recover(ledger: &Ledger, results: &Path, run: &mut Run) -> Result<(), ArchiveError> {
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
fn facts(path: &Path) -> (i64, i64) {
    let facts = fs::metadata(path).ok();
    let length = facts.as_ref().map_or(0, fs::Metadata::len);
    let modified = facts.and_then(|facts| facts.modified().ok());
    (
        i64::try_from(length).unwrap_or(i64::MAX),
        modified.map_or(0, nanoseconds),
    )
}

/// A file beside another, with an ending after its whole name.
fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}
