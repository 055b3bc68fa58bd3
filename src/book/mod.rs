//! The job book: every machine, every visit, kept in one file.
//!
//! In: [`Machine`]s and [`Visit`]s, typed by hand, heard in a clip ([`Measured`]) or made by a
//! tuning ([`Tuning`]). Out: the same again, [`Series`] of what changed from visit to visit with a
//! note where a machine left its own usual range, an [`AirChange`] where the air asks for a look at
//! the mixture, and [`Contents`], the whole book as plain JSON that [`Book::import`] takes back.
//! Speeds are in rpm of the crank, turns of screws in whole turns, temperatures in °C, altitudes in
//! metres, densities in kg/m³.
//!
//! The file is an SQLite database with a rollback journal: each change is one transaction, synced to
//! the disk before it is reported as done, so that a program killed half-way, a full disk or a
//! second program at work lose nothing that was committed. Its version rises with its layout; an
//! older file is brought up to date in one transaction when it is opened.
//!
//! Refused ([`BookError`]): a file that is no job book, one of a newer version, a damaged one, a
//! place that cannot be written, and values that no engine has.
mod air;
mod contents;
mod digest;
mod error;
mod file;
mod machine;
mod measured;
mod place;
mod salvage;
mod store;
mod trend;
mod tuning;
mod visit;

pub use air::{Air, AirAdvice, AirChange, air_change};
pub use contents::{Contents, Entry, Imported, Layout};
pub use digest::Digest;
pub use error::BookError;
pub use file::{Book, PATIENCE, VERSION};
pub use machine::{Machine, Tag};
pub use measured::{Held, How, Measured};
pub use place::usual_place;
pub use salvage::{Salvage, salvage};
pub use trend::{Moved, Point, Quantity, Series, When, trends};
pub use tuning::Tuning;
pub use visit::{Check, Clip, Finding, Moment, MoveMade, Numbered, Screws, Visit};
