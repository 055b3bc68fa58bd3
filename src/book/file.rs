//! The file: opening, its version, its soundness, and changes as single transactions.
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use super::error::BookError;

/// Marks the file as a job book ("ENjb"), in the header field that SQLite keeps for that.
const APPLICATION: i64 = 0x454E_6A62;

/// What brings a file from each version to the next; the first from nothing to version 1. A step is
/// never changed once it has been released.
const STEPS: [&str; 2] = [include_str!("version-1.sql"), include_str!("version-2.sql")];

/// The version that this program writes.
pub const VERSION: i64 = STEPS.len() as i64;

/// How long another program is waited for.
pub const PATIENCE: Duration = Duration::from_secs(5);

/// A job book.
#[derive(Debug)]
pub struct Book {
    pub(super) connection: Connection,
    path: PathBuf,
}

impl Book {
    /// Opens the book at `path`, which is begun if there is none, and brings an older one up to
    /// date. Another program is waited for as long as `patience`.
    ///
    /// # Errors
    /// Where it cannot be used.
    pub fn open_or_begin(path: &Path, patience: Duration) -> Result<Book, BookError> {
        let mut book = Book::connect(path, patience, OpenFlags::SQLITE_OPEN_CREATE)?;
        book.sound()?;
        book.make_current()?;
        Ok(book)
    }

    /// Opens the book at `path`. One that only can be read can be read.
    ///
    /// # Errors
    /// Where there is none or it cannot be used.
    pub fn open(path: &Path, patience: Duration) -> Result<Book, BookError> {
        let mut book = Book::unproved(path, patience)?;
        book.sound()?;
        book.make_current()?;
        Ok(book)
    }

    /// Opens a book of any version up to this program's, without a look at its soundness.
    pub(super) fn unproved(path: &Path, patience: Duration) -> Result<Book, BookError> {
        if !path.exists() {
            return Err(BookError::Missing {
                path: path.to_path_buf(),
            });
        }
        Book::connect(path, patience, OpenFlags::empty())
    }

    fn connect(path: &Path, patience: Duration, create: OpenFlags) -> Result<Book, BookError> {
        // Reading needs the right to write too: what a killed program left half-done is undone by
        // whoever comes next. Where nothing can be written, SQLite opens for reading by itself.
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | create;
        let failed = |error| BookError::from_sqlite(path, &error);
        let connection = Connection::open_with_flags(path, flags).map_err(failed)?;
        connection.busy_timeout(patience).map_err(failed)?;
        // EXTRA: the end of a transaction, the removal of its journal, is on the disk too before
        // anybody is told that it is done.
        connection
            .execute_batch(
                "PRAGMA synchronous = EXTRA; PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF;
                 PRAGMA cell_size_check = ON;",
            )
            .map_err(failed)?;
        let book = Book {
            connection,
            path: path.to_path_buf(),
        };
        book.is_ours()?;
        Ok(book)
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn failed(&self, error: &rusqlite::Error) -> BookError {
        BookError::from_sqlite(&self.path, error)
    }

    fn pragma(&self, name: &str) -> Result<i64, BookError> {
        self.connection
            .pragma_query_value(None, name, |row| row.get(0))
            .map_err(|error| self.failed(&error))
    }

    fn is_empty(&self) -> Result<bool, BookError> {
        self.connection
            .query_row(
                "SELECT NOT EXISTS (SELECT 1 FROM sqlite_schema)",
                [],
                |row| row.get(0),
            )
            .map_err(|error| self.failed(&error))
    }

    /// Whether the file is a job book, or an empty one that may become it.
    fn is_ours(&self) -> Result<(), BookError> {
        let path = self.path.clone();
        // One look at all of it: between two, another program may have begun the book.
        let _look = self
            .connection
            .unchecked_transaction()
            .map_err(|error| self.failed(&error))?;
        let (application, version) = (self.pragma("application_id")?, self.pragma("user_version")?);
        if application != APPLICATION && !(application == 0 && version == 0 && self.is_empty()?) {
            return Err(BookError::Foreign { path });
        }
        if version > VERSION {
            return Err(BookError::Newer { path, version });
        }
        Ok(())
    }

    /// Its version; 0 where it is still empty.
    pub(super) fn version(&self) -> Result<i64, BookError> {
        self.pragma("user_version")
    }

    /// Brings an older file up to date, in one transaction.
    pub(super) fn make_current(&mut self) -> Result<(), BookError> {
        let version = self.version()?;
        if version == VERSION {
            return Ok(());
        }
        let read_only = self.connection.is_readonly("main").unwrap_or(false);
        let path = self.path.clone();
        let result = self.write(|transaction| {
            // Another program may have been first.
            let version: i64 =
                transaction.pragma_query_value(None, "user_version", |row| row.get(0))?;
            let steps =
                usize::try_from(version).map_or(&[][..], |done| STEPS.get(done..).unwrap_or(&[]));
            for step in steps {
                transaction.execute_batch(step)?;
            }
            transaction.pragma_update(None, "application_id", APPLICATION)?;
            transaction.pragma_update(None, "user_version", VERSION)?;
            Ok(())
        });
        match result {
            Err(BookError::ReadOnly { .. } | BookError::CannotOpen { .. })
                if read_only && version > 0 =>
            {
                Err(BookError::OldReadOnly { path, version })
            }
            other => other,
        }
    }

    /// Looks through every page, so that nothing is written into a damaged file.
    fn sound(&self) -> Result<(), BookError> {
        let found: String = self
            .connection
            .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
            .map_err(|error| self.failed(&error))?;
        if found == "ok" {
            return Ok(());
        }
        let what = found.lines().last().unwrap_or("unknown damage").to_owned();
        Err(BookError::Damaged {
            path: self.path.clone(),
            what,
        })
    }

    /// One change: all of it or nothing, on the disk once this returns.
    pub(super) fn write<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, BookError> {
        let path = &self.path;
        let failed = |error| BookError::from_sqlite(path, &error);
        // The right to write is taken at the start: two programs that both read first and then both
        // want to write could not be served.
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(failed)?;
        let result = work(&transaction).map_err(failed)?;
        transaction.commit().map_err(failed)?;
        Ok(result)
    }
}
