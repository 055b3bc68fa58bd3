//! The ledger: an SQLite file with a row for each clip that was read.
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, OptionalExtension, Row, params};

use super::error::ArchiveError;
use super::stamp::Stamp;
use crate::book::Digest;
use crate::report::Brief;

/// Marks the file as a ledger ("ENal"), in the header field that SQLite keeps for that.
const APPLICATION: i64 = 0x454E_616C;
/// The version that this program writes.
pub const VERSION: i64 = 1;
/// How long another run is waited for: one that has just been killed may still be on its way out.
const PATIENCE: Duration = Duration::from_secs(1);

/// How far a run has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Clips are being read.
    Running,
    /// The results are put together in a file beside their place, ready to be renamed.
    PutTogether,
    /// The spool is the results, ready to be renamed.
    InOrder,
    /// The results are in their place.
    Whole,
}

const STATES: [(State, &str); 4] = [
    (State::Running, "running"),
    (State::PutTogether, "put-together"),
    (State::InOrder, "in-order"),
    (State::Whole, "whole"),
];

/// The last run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// Version of the program.
    pub program: String,
    /// Format of the pieces.
    pub format: String,
    /// How far it has come.
    pub state: State,
    /// Counts the runs.
    pub round: i64,
    /// Bytes of the results as the last whole run left them.
    pub length: i64,
    /// Their modification time.
    pub modified_ns: i64,
}

/// Where the piece of a clip lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lies {
    /// Nothing is kept of it.
    Nowhere,
    /// In the results, from this byte, so many bytes.
    Results(i64, i64),
    /// In the spool.
    Spool(i64, i64),
}

/// What is kept of a clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Size and times.
    pub stamp: Stamp,
    /// Of its content.
    pub sha256: Digest,
    /// Of what was known of its machine.
    pub profile: Digest,
    /// For the summary.
    pub brief: Brief,
    /// Where its piece lies.
    pub lies: Lies,
}

/// The ledger. All changes wait for [`Ledger::commit`].
pub struct Ledger {
    connection: Connection,
    path: PathBuf,
}

impl Ledger {
    /// Opens or begins a ledger and holds it alone.
    pub fn open(path: &Path) -> Result<Ledger, ArchiveError> {
        let failed = |error| ArchiveError::from_sqlite(path, &error);
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).map_err(failed)?;
        connection.busy_timeout(PATIENCE).map_err(failed)?;
        let ledger = Ledger {
            connection,
            path: path.into(),
        };
        ledger.run(
            "PRAGMA locking_mode = EXCLUSIVE; PRAGMA synchronous = FULL; PRAGMA trusted_schema = OFF;
             PRAGMA cell_size_check = ON; BEGIN EXCLUSIVE;",
        )?;
        ledger.make_ours()?;
        ledger.sound()?;
        Ok(ledger)
    }

    fn run(&self, sql: &str) -> Result<(), ArchiveError> {
        self.connection
            .execute_batch(sql)
            .map_err(|error| self.failed(&error))
    }

    fn failed(&self, error: &rusqlite::Error) -> ArchiveError {
        ArchiveError::from_sqlite(&self.path, error)
    }

    fn number(&self, sql: &str) -> Result<i64, ArchiveError> {
        self.connection
            .query_row(sql, [], |row| row.get(0))
            .map_err(|error| self.failed(&error))
    }

    fn make_ours(&self) -> Result<(), ArchiveError> {
        let path = self.path.clone();
        let application = self.number("PRAGMA application_id")?;
        let version = self.number("PRAGMA user_version")?;
        if application == APPLICATION {
            return match version {
                VERSION => Ok(()),
                version => Err(ArchiveError::Newer { path, version }),
            };
        }
        let tables = self.number("SELECT count(*) FROM sqlite_schema")?;
        if application != 0 || version != 0 || tables != 0 {
            return Err(ArchiveError::Foreign { path });
        }
        self.run(include_str!("version-1.sql"))?;
        self.run(&format!(
            "PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {VERSION};"
        ))
    }

    fn sound(&self) -> Result<(), ArchiveError> {
        let found: String = self
            .connection
            .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
            .map_err(|error| self.failed(&error))?;
        match found.as_str() {
            "ok" => Ok(()),
            other => Err(self.damaged(other.lines().last().unwrap_or("unknown damage"))),
        }
    }

    pub(super) fn damaged(&self, what: &str) -> ArchiveError {
        ArchiveError::Damaged {
            path: self.path.clone(),
            what: what.into(),
        }
    }

    /// Ends what was changed: it is on the disk when this returns.
    pub fn commit(&self) -> Result<(), ArchiveError> {
        self.run("COMMIT; BEGIN IMMEDIATE;")
    }

    /// The last run.
    pub fn last(&self) -> Result<Option<Run>, ArchiveError> {
        let row = |row: &Row<'_>| {
            let state: String = row.get(2)?;
            let state = STATES.iter().find(|(_, word)| *word == state);
            Ok(Run {
                program: row.get(0)?,
                format: row.get(1)?,
                state: state.map_or(State::Running, |(state, _)| *state),
                round: row.get(3)?,
                length: row.get(4)?,
                modified_ns: row.get(5)?,
            })
        };
        let sql = "SELECT program, format, state, round, length, modified_ns FROM run";
        self.connection
            .query_row(sql, [], row)
            .optional()
            .map_err(|error| self.failed(&error))
    }

    /// Puts down how far the run has come.
    pub fn put_run(&self, run: &Run) -> Result<(), ArchiveError> {
        let state = STATES.iter().find(|(state, _)| *state == run.state);
        let sql = "INSERT OR REPLACE INTO run VALUES (1, ?1, ?2, ?3, ?4, ?5, ?6)";
        self.change(
            sql,
            params![
                run.program,
                run.format,
                state.map_or("running", |(_, word)| *word),
                run.round,
                run.length,
                run.modified_ns
            ],
        )
    }

    fn change(&self, sql: &str, values: impl rusqlite::Params) -> Result<(), ArchiveError> {
        self.connection
            .prepare(sql)
            .and_then(|mut statement| statement.execute(values))
            .map(drop)
            .map_err(|error| self.failed(&error))
    }

    /// Forgets every clip.
    pub fn forget_all(&self) -> Result<(), ArchiveError> {
        self.run("DELETE FROM clip")
    }

    /// Forgets the clips whose pieces lie in the results.
    pub fn forget_results(&self) -> Result<(), ArchiveError> {
        self.run("DELETE FROM clip WHERE place = 1")
    }

    /// Forgets the clips whose pieces the spool does not hold to their end, and gives how much of
    /// it the others need.
    pub fn forget_beyond(&self, length: i64) -> Result<i64, ArchiveError> {
        self.change(
            "DELETE FROM clip WHERE place = 2 AND start + length > ?1",
            [length],
        )?;
        self.number("SELECT coalesce(max(start + length), 0) FROM clip WHERE place = 2")
    }

    /// What is kept of a clip.
    pub fn find(&self, key: &[u8]) -> Result<Option<Line>, ArchiveError> {
        let sql = "SELECT size, modified_ns, changed_ns, settled, sha256, profile, brief, place, start, length
                   FROM clip WHERE key = ?1";
        let line = |row: &Row<'_>| {
            let stamp = Stamp {
                size: row.get(0)?,
                modified_ns: row.get(1)?,
                changed_ns: row.get(2)?,
                settled: row.get(3)?,
            };
            let brief: String = row.get(6)?;
            let (start, length) = (row.get(8)?, row.get(9)?);
            let lies = match row.get::<_, i64>(7)? {
                1 => Lies::Results(start, length),
                2 => Lies::Spool(start, length),
                _ => Lies::Nowhere,
            };
            let (sha256, profile) = (Digest(row.get(4)?), Digest(row.get(5)?));
            Ok((stamp, sha256, profile, brief, lies))
        };
        let found = self
            .connection
            .prepare(sql)
            .and_then(|mut statement| statement.query_row([key], line).optional())
            .map_err(|error| self.failed(&error))?;
        found
            .map(|(stamp, sha256, profile, brief, lies)| {
                let brief = serde_json::from_str(&brief)
                    .map_err(|error| self.damaged(&format!("a clip's summary: {error}")))?;
                Ok(Line {
                    stamp,
                    sha256,
                    profile,
                    brief,
                    lies,
                })
            })
            .transpose()
    }

    /// Keeps a clip in this round.
    pub fn put(&self, key: &[u8], line: &Line, round: i64) -> Result<(), ArchiveError> {
        let (place, start, length) = match line.lies {
            Lies::Nowhere => (0, 0, 0),
            Lies::Results(start, length) => (1, start, length),
            Lies::Spool(start, length) => (2, start, length),
        };
        let brief =
            serde_json::to_string(&line.brief).map_err(|error| self.damaged(&error.to_string()))?;
        let Line {
            stamp,
            sha256,
            profile,
            ..
        } = line;
        self.change(
            "INSERT OR REPLACE INTO clip VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
            params![
                key,
                stamp.size,
                stamp.modified_ns,
                stamp.changed_ns,
                stamp.settled,
                sha256.0,
                profile.0,
                brief,
                place,
                start,
                length,
                round
            ],
        )
    }

    /// The first keys of clips that were not met in this round, and how many there are.
    pub fn not_met(&self, round: i64, most: i64) -> Result<(Vec<Vec<u8>>, i64), ArchiveError> {
        let failed = |error| self.failed(&error);
        let mut statement = self
            .connection
            .prepare("SELECT key FROM clip WHERE round <> ?1 ORDER BY key LIMIT ?2")
            .map_err(failed)?;
        let keys = statement
            .query_map([round, most], |row| row.get(0))
            .and_then(Iterator::collect::<rusqlite::Result<Vec<Vec<u8>>>>)
            .map_err(failed)?;
        let count = self
            .connection
            .query_row(
                "SELECT count(*) FROM clip WHERE round <> ?1",
                [round],
                |row| row.get(0),
            )
            .map_err(failed)?;
        Ok((keys, count))
    }

    /// Forgets the clips that were not met in this round.
    pub fn forget_not_met(&self, round: i64) -> Result<(), ArchiveError> {
        self.change("DELETE FROM clip WHERE round <> ?1", [round])
    }
}
