//! A run over many clips that may be interrupted anywhere.
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use super::ending::{beside, facts, in_order, move_rows, put_together, recover};
use super::error::ArchiveError;
use super::ledger::{Ledger, Lies, Line, Run, State};
use super::spool::Spool;
use super::stamp::Stamp;
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
                        &kept.results,
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
