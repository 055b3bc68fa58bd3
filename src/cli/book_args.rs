//! The command line of the job book as types.
use std::path::PathBuf;

use clap::{ArgGroup, Args, Subcommand};
use jiff::civil::Date;

use super::book_values::{celsius, check, date, metres, percent, positions, proof, turn};
use super::values::{classes, speed};
use crate::book::{Check, MoveMade, Screws};
use crate::machine::Class;
use crate::procedure::ProofLine;
use crate::units::Rpm;

/// Where the book is.
#[derive(Debug, Default, Args)]
pub struct Where {
    /// The job book [default: engine-note/book.sqlite3 in your data folder]
    #[arg(long, value_name = "PATH", global = true)]
    pub book: Option<PathBuf>,
}

/// Keep a record of each machine and each visit
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    long_about = "Keeps a record of each machine and each visit: what was found, what was turned, how it left. \
        `read --save TAG` writes what it heard into it.\n\n\
        The book is one file. Several programs may use it at once; what is written is on the disk before the program \
        says so. Copy the file to keep a copy of it, while no program is writing.",
    after_long_help = "\
Examples:
  engine-note book add \"trimmer 4\" --class trimmer --complaint \"no power\" --found high=1.25
  engine-note read before.m4a --save \"trimmer 4\"
  engine-note read after.m4a --save \"trimmer 4\" --after
  engine-note book show \"trimmer 4\"
  engine-note book export > book.json

To correct a visit, `add --to NUMBER` puts in what is given and leaves the rest; to take something out, export, edit \
        the JSON, and import it into a new book."
)]
pub struct BookCommand {
    #[command(flatten)]
    pub place: Where,
    /// What to do with it
    #[command(subcommand)]
    pub action: Action,
}

/// What to do with the book.
#[derive(Debug, Subcommand)]
pub enum Action {
    Add(Box<Add>),
    /// List the machines
    #[command(after_help = "Example:\n  engine-note book list")]
    List,
    Show(Show),
    /// Print the whole book as JSON
    #[command(after_help = "\
Examples:
  engine-note book export > book.json
  engine-note book --book damaged.sqlite3 export --salvage > saved.json")]
    Export {
        /// Take what can still be read of a damaged book
        #[arg(long)]
        salvage: bool,
    },
    /// Take in what `export` printed
    #[command(
        long_about = "Takes in what `export` printed, all of it or nothing. Visits that the book holds already, word for \
            word, are not taken twice; a machine that it knows keeps the class and the profile that it has here.",
        after_help = "Example:\n  engine-note book import book.json"
    )]
    Import {
        /// The JSON; `-` is standard input
        file: PathBuf,
    },
}

/// Add a machine or a visit by hand
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("visit").multiple(true),
    long_about = "Adds a machine, and a visit of it where anything about a visit is given. With --to the visit is one \
        that the book already holds: what is given is put in, and lists grow.",
    after_long_help = "\
Examples:
  engine-note book add \"trimmer 4\" --machine trimmer.toml
  engine-note book add \"trimmer 4\" --complaint \"no power\" --check \"air filter: good\" \\
      --check \"fuel line: cracked, replaced\" --check \"compression: not checked\" \\
      --full-before 8350 --skips-before 38 --found high=1.25,low=1 --move \"high in 1/8\" \\
      --full-after 9350 --skips-after 12 --left high=1.125,low=1 \\
      --proof \"back to idle, s=2.1::3\" --air-temperature 18 --altitude 430 --fuel \"fresh, 1:50\"
  engine-note book add \"trimmer 4\" --to 7 --note \"customer told to bring it back in spring\""
)]
pub struct Add {
    /// What stands on the machine or its label
    pub tag: String,
    /// Its class
    #[arg(long, value_parser = classes())]
    pub class: Option<Class>,
    /// Its profile (`engine-note machine new` makes one)
    #[arg(short, long, value_name = "FILE")]
    pub machine: Option<PathBuf>,
    /// Put it into this visit instead of a new one; its number is in `book show`
    #[arg(long, value_name = "VISIT")]
    pub to: Option<u32>,
    /// The day [default: today]
    #[arg(long, group = "visit", value_name = "YYYY-MM-DD", value_parser = date)]
    pub date: Option<Date>,
    /// Who does the work
    #[arg(long, group = "visit", value_name = "NAME")]
    pub technician: Option<String>,
    /// What is fitted to the machine: head and line, blade, bar and chain
    #[arg(long, group = "visit", value_name = "WORDS")]
    pub attachment: Option<String>,
    /// What the user complained of
    #[arg(long, group = "visit", value_name = "WORDS")]
    pub complaint: Option<String>,
    /// What was checked before a screw was touched, with what was found: good, not checked, or words
    #[arg(long = "check", group = "visit", value_name = "WHAT: FOUND", value_parser = check)]
    pub checks: Vec<Check>,
    /// Idle as found, in rpm
    #[arg(long, group = "visit", value_name = "RPM", value_parser = speed)]
    pub idle_before: Option<Rpm>,
    /// Full throttle as found, in rpm
    #[arg(long, group = "visit", value_name = "RPM", value_parser = speed)]
    pub full_before: Option<Rpm>,
    /// Turns without a full firing at full throttle as found, in percent
    #[arg(long, group = "visit", value_name = "PERCENT", value_parser = percent)]
    pub skips_before: Option<f64>,
    /// Idle as left, in rpm
    #[arg(long, group = "visit", value_name = "RPM", value_parser = speed)]
    pub idle_after: Option<Rpm>,
    /// Full throttle as left, in rpm
    #[arg(long, group = "visit", value_name = "RPM", value_parser = speed)]
    pub full_after: Option<Rpm>,
    /// Turns without a full firing at full throttle as left, in percent
    #[arg(long, group = "visit", value_name = "PERCENT", value_parser = percent)]
    pub skips_after: Option<f64>,
    /// Screws as found, in turns: high and low out from lightly seated, idle in from its first touch
    #[arg(long, group = "visit", value_name = "SCREW=TURNS,…", value_parser = positions)]
    pub found: Option<Screws>,
    /// Screws as left
    #[arg(long, group = "visit", value_name = "SCREW=TURNS,…", value_parser = positions)]
    pub left: Option<Screws>,
    /// A turn that was made, in order: screw (high, low, idle), way (in, out), turns
    #[arg(long = "move", group = "visit", value_name = "SCREW WAY TURNS", value_parser = turn)]
    pub moves: Vec<MoveMade>,
    /// A line of the proof: what, its value, its limits (either may be empty); without `=` it was not measured
    #[arg(long, group = "visit", value_name = "WHAT=VALUE:LOW:HIGH", value_parser = proof)]
    pub proof: Vec<ProofLine>,
    /// In your own words
    #[arg(long, group = "visit", value_name = "WORDS")]
    pub note: Option<String>,
    /// Air temperature in °C
    #[arg(long, group = "visit", value_name = "°C", allow_negative_numbers = true, value_parser = celsius)]
    pub air_temperature: Option<f64>,
    /// Height above the sea in metres
    #[arg(long, group = "visit", value_name = "M", allow_negative_numbers = true, value_parser = metres)]
    pub altitude: Option<f64>,
    /// Fuel and mix
    #[arg(long, group = "visit", value_name = "WORDS")]
    pub fuel: Option<String>,
    /// A clip recorded as the machine came in
    #[arg(long, group = "visit", value_name = "FILE")]
    pub clip_before: Vec<PathBuf>,
    /// A clip recorded during the work
    #[arg(long, group = "visit", value_name = "FILE")]
    pub clip_during: Vec<PathBuf>,
    /// A clip recorded as the machine left
    #[arg(long, group = "visit", value_name = "FILE")]
    pub clip_after: Vec<PathBuf>,
}

/// Show a machine, its visits and what changed between them
#[derive(Debug, Args)]
#[command(
    long_about = "Shows a machine with its visits, what changed from visit to visit, and a note where it left its own \
        usual range.\n\n\
        With the temperature and the height of the place where the machine will be used, it says whether the air there \
        asks for another mixture.",
    after_help = "\
Examples:
  engine-note book show \"trimmer 4\"
  engine-note book show \"trimmer 4\" --air-temperature -5 --altitude 1200"
)]
pub struct Show {
    /// The machine
    pub tag: String,
    /// Air temperature here and now, in °C
    #[arg(long, value_name = "°C", requires = "altitude", allow_negative_numbers = true, value_parser = celsius)]
    pub air_temperature: Option<f64>,
    /// Height here above the sea, in metres
    #[arg(long, value_name = "M", requires = "air_temperature", allow_negative_numbers = true, value_parser = metres)]
    pub altitude: Option<f64>,
}

/// Flags of the commands that write what they heard into the book.
#[derive(Debug, Default, Args)]
pub struct Save {
    /// Write what was heard into the job book: how this machine came in today
    #[arg(long, value_name = "TAG")]
    pub save: Option<String>,
    /// With --save: how the machine left, at the end of its latest visit
    #[arg(long, requires = "save")]
    pub after: bool,
    /// The job book [default: engine-note/book.sqlite3 in your data folder]
    #[arg(long, value_name = "PATH")]
    pub book: Option<PathBuf>,
}
