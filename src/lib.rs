//! engine-note hears the crank speed and the firing of a small engine and says which carburetor
//! screw to turn.
//!
//! The folders are the way of the sound; each stage imports only what stands to its left:
//!
//! ```text
//! capture -> spectrum -> tach -> firing -> reading -> guide -> report
//!  (sound)   (lines)    (speed)  (skips)   (frames,   (advice) (text, chart,
//!                                           spans)              JSON, CSV)
//! ```
//!
//! [`procedure`] and [`session`] stand between the last two and guide a whole tuning; [`book`] keeps
//! what was done to each machine, [`archive`] what was read of a folder of many clips.
//!
//! Beside them stand [`units`], [`machine`] (what the technician knows of the engine), [`synth`]
//! (test signals with a known truth) and [`cli`] (the only place that prints and exits).
#![warn(missing_docs)]

pub mod units;

pub mod machine;

pub mod archive;
pub mod book;
pub mod capture;
pub mod firing;
pub mod guide;
pub mod procedure;
pub mod reading;
pub mod report;
pub mod session;
pub mod spectrum;
pub mod tach;

pub mod synth;

pub mod cli;
