//! What is known of the machine before it is heard: cycle, cylinders, carburetor, coil, speeds.
//!
//! Data and validation only. Imported by `tach`, `firing`, `reading` and `guide`, never the reverse.
mod profile;

pub use profile::{Carburetor, Coil, Cycle, Profile, SpeedRange, Speeds, Use};
