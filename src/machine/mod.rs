//! What is known of the machine before it is heard: cycle, cylinders, carburetor, coil, speeds.
//!
//! Data and validation only. Imported by `tach`, `firing`, `reading` and `guide`, never the reverse.
//!
//! In: the text of a TOML profile ([`Profile::from_toml`]) or a class of machine
//! ([`Class::profile`]). Out: a [`Profile`], every speed in rpm, and what is odd about it as data
//! ([`Profile::check`]). Refused, with the line and the key: whatever is no profile
//! ([`ProfileError`]). The speeds of the classes are common practice, no source; a maker's figure
//! is never overwritten.
mod check;
mod class;
mod error;
mod origin;
mod parse;
mod profile;
#[cfg(test)]
mod tests;
mod write;

pub use check::{IDLE_MARGIN, Oddity};
pub use class::{Class, UnknownClass};
pub use error::{Place, ProfileError};
pub use origin::{Origin, Sources};
pub use profile::{
    Carburetor, Coil, Cycle, DEFAULT_SEARCH, Figure, Profile, SpeedRange, Speeds, Use,
};
