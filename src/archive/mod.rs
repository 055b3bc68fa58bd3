//! Folders of many clips: what was read of them is kept, so that a run that was interrupted goes on
//! and a later one reads only what is new.
//!
//! In: clips by key (their path), each with a [`Stamp`] (size and times of the file), the digest of
//! what was known of its machine, its [`Brief`](crate::report::Brief) and its piece of the results.
//! Out: which clips are known already, the briefs of all, and the file of results, put together in
//! the order of the clips.
//!
//! An [`Archive`] is a ledger, an SQLite file, and where results go into a file, a spool to which
//! pieces are appended as they come. A few times a second the spool is synced and then the ledger's
//! transaction is ended: the ledger never knows of a piece that is not on the disk. Whatever the
//! spool holds beyond that after a kill is cut off. At the end the pieces are put together in a file
//! beside the results, the ledger is told, and the file is renamed: the results are the old ones or
//! the new ones, never a part.
//!
//! A clip is known again by its size and its times; where only the times differ, or where they are
//! too young to be trusted, by its SHA-256. The ledger is locked as long as a run lasts.
//!
//! Refused ([`ArchiveError`]): a ledger that another run holds, that is damaged, of a newer version
//! or no ledger at all, and a place that cannot be written.
mod ending;
mod error;
mod keeping;
mod ledger;
mod spool;
mod stamp;

pub use error::ArchiveError;
pub use keeping::{Archive, Begun, Entry, Place};
pub use ledger::VERSION;
pub use stamp::Stamp;
