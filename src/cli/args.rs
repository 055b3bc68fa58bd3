//! The command line as types, and the help that teaches it.
use std::path::PathBuf;

use clap::{ArgGroup, Args, Parser, Subcommand, ValueEnum, value_parser};
use clap_complete::Shell;

use super::book_args::{BookCommand, Save};
use super::exit;
use super::listen_flags::Listen;
use super::picture::PictureFlags;
use super::practice_flags::Practice;
use super::sheet::Sheet;
use super::tune_flags::Tune;
use super::values::{
    CARBURETORS, COILS, CYCLES, USES, classes, ready_names, speed, speed_range, words,
};
use crate::machine::{Carburetor, Class, Coil, Cycle, Origin, SpeedRange, Use};
use crate::report::{Format, Rows};
use crate::units::Rpm;

/// Hears the crank speed and the firing of a small engine from a recording, and says which
/// carburetor screw to turn
#[derive(Debug, Parser)]
#[command(
    name = "engine-note",
    version,
    max_term_width = 100,
    arg_required_else_help = true,
    after_long_help = exit::HELP,
    long_about = "Hears the crank speed and the firing of a small two-stroke (trimmer, brush cutter, saw, blower) from a \
        recording, and says which carburetor screw to turn.\n\n\
        Record ten seconds, half a metre to a metre beside the muffler outlet: some seconds of idle, a snap to full throttle, three \
        seconds there, back to idle. Then run `engine-note read` on the recording."
)]
pub struct Arguments {
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    Read(Read),
    Listen(Listen),
    Tune(Tune),
    Practice(Practice),
    Synth(Synth),
    Check(Check),
    /// Make, show or check a machine profile
    #[command(
        subcommand,
        arg_required_else_help = true,
        after_help = "\
Examples:
  engine-note machine new --class trimmer > trimmer.toml
  engine-note machine check trimmer.toml
  engine-note read clip.m4a --machine trimmer.toml"
    )]
    Machine(Machine),
    Book(BookCommand),
    Sheet(Sheet),
    /// Print the JSON Schema of the data that `read` or `tune` writes
    #[command(
        after_help = "Examples:\n  engine-note schema > reading.schema.json\n  engine-note schema --events > events.schema.json"
    )]
    Schema {
        /// The lines of `tune --events ndjson` instead of the results of `read`
        #[arg(long)]
        events: bool,
        /// The summary that `read --summary FILE` writes
        #[arg(long, conflicts_with = "events")]
        summary: bool,
    },
    Procedure(Procedure),
    /// Print the completions for a shell
    #[command(
        after_help = "Example:\n  engine-note completions fish > ~/.config/fish/completions/engine-note.fish"
    )]
    Completions {
        /// The shell
        shell: Shell,
    },
    /// Print a man page
    #[command(
        after_help = "Example:\n  engine-note man read > engine-note-read.1 && man ./engine-note-read.1"
    )]
    Man {
        /// The command whose page is wanted, as in `man machine new`; without it the page of the program
        command: Vec<String>,
    },
}

/// Flags that say what is known of the machine.
#[derive(Debug, Default, Args)]
pub struct Known {
    /// Machine profile (`engine-note machine new` makes one)
    #[arg(short, long, value_name = "FILE")]
    pub machine: Option<PathBuf>,
    /// Strokes of a working cycle; over the profile
    #[arg(long, value_parser = words::<Cycle>(CYCLES))]
    pub cycle: Option<Cycle>,
    /// Number of cylinders; over the profile
    #[arg(long, value_name = "1 to 4", value_parser = value_parser!(u8).range(1..=4))]
    pub cylinders: Option<u8>,
    /// Where to search for the crank speed, in rpm; over the profile [default: 1200:16000]
    #[arg(long, value_name = "LOW:HIGH", value_parser = speed_range)]
    pub speed_range: Option<SpeedRange>,
}

/// Read clips: speed, firing, spans, advice
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    long_about = "Reads clips: how fast the crank turns, whether it fires cleanly, four-strokes or hits its ignition \
        limiter, and what to do with which screw.\n\n\
        Reads WAV, FLAC, MP3, Ogg (Vorbis, Opus), WebM, what phones record (m4a, mp4, mov, 3gp with AAC or ALAC), CAF \
        and AIFF. Folders are searched for such files. `-` reads a WAV from standard input, with --raw samples without \
        a header.\n\n\
        The advice rests on sound alone. The maker's manual, local rules and licensed practice come first; in doubt \
        leave the engine rich, slow and stopped.",
    after_long_help = "\
Examples:
  engine-note read trimmer.m4a
  engine-note read trimmer.m4a --machine trimmer.toml
  engine-note read saw.wav --cylinders 1 --speed-range 2000:15000
  engine-note read trimmer.m4a --picture trimmer.svg
  engine-note read recordings/ --picture pictures/
  engine-note read trimmer.m4a --save \"trimmer 4\"
  engine-note read recordings/                                            # a line for each clip, then each machine
  engine-note read recordings/ --format ndjson -o readings.ndjson         # interrupted: run it again, it goes on
  engine-note read recordings/ --format ndjson -o readings.ndjson --since-last --summary machines.json
  engine-note read a.wav b.wav --format csv -o frames.csv
  engine-note read recordings/ --format csv --rows clips -o clips.csv
  engine-note read recordings/ --format parquet -o clips.parquet
  arecord -f S16_LE -r 48000 -c 1 -d 10 -t raw | engine-note read - --raw s16le:48000:1

The machine profile decides what the advice can say: the maker's figures are in no recording. \
        --cycle and --cylinders matter for the speed itself.

In folders, the nearest `machine.toml` above a clip is the profile of its machine, --machine over it. A machine goes by \
        the name in its profile, without one by its folder. Clips that cannot be read are named when they are met and \
        once more at the end. Folders into a file leave FILE.ledger beside it, by which --since-last knows what it has \
        read; without -o that is .engine-note.ledger in the folder.

In JSON one clip is an object; several clips or a folder are a list in the order of the command line, \
        and a clip that cannot be read is left out of it and named on standard error.

The picture shows speed, firing, level and what was heard by frequency and by engine order over one time axis: \
        whole orders are straight lines where the speed is right, lines at the even orders only mean that it is half of \
        the truth. Several clips go into a folder as SVG.

Columns of tables have the names of the JSON Schema (`engine-note schema`), which end in their unit."
)]
pub struct Read {
    /// Files or folders; `-` is standard input
    #[arg(required = true, value_name = "CLIP")]
    pub clips: Vec<PathBuf>,
    /// How to write the result
    #[arg(short, long, value_enum, default_value_t)]
    pub format: Format,
    /// What a row of the table is [default: a frame in csv, a clip in parquet]
    #[arg(long, value_enum)]
    pub rows: Option<Rows>,
    /// Write the results into a file, which is there once they are whole, instead of printing them
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// With folders: write the summary of all clips, machine by machine, as JSON into a file
    #[arg(long, value_name = "FILE")]
    pub summary: Option<PathBuf>,
    /// With a folder: read only what is new or changed since the last run
    #[arg(long)]
    pub since_last: bool,
    #[command(flatten)]
    pub known: Known,
    /// Samples without a header, for example s16le:48000:1 (codings u8, s16le, s24le, s32le, f32le)
    #[arg(long, value_name = "CODING:RATE:CHANNELS")]
    pub raw: Option<String>,
    #[command(flatten)]
    pub drawn: PictureFlags,
    #[command(flatten)]
    pub keep: Save,
}

/// Make a test signal with a known truth from a scene file
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    group = ArgGroup::new("from").required(true).args(["scene", "ready", "drawn"]),
    long_about = "Makes a test signal from a scene file, and beside it the truth: when each turn of the crank began, \
        which ones fired, and the speed every 10 ms. The sound is invented; it says nothing about real engines and is \
        good for regression tests only. The same scene gives the same samples.",
    after_long_help = "\
Examples:
  engine-note synth --ready trimmer-rich -o clip.wav          # writes clip.wav and clip.truth.json
  engine-note check clip.wav --truth clip.truth.json
  engine-note synth --ready trimmer-rich --print > mine.toml  # a scene to look at and to change
  engine-note synth mine.toml -o mine.wav
  engine-note synth --drawn 7 -o drawn.wav                    # a scene by lot"
)]
pub struct Synth {
    /// The scene, a TOML file
    #[arg(value_name = "SCENE")]
    pub scene: Option<PathBuf>,
    /// A scene that comes with the program
    #[arg(long, value_name = "NAME", value_parser = ready_names())]
    pub ready: Option<String>,
    /// A scene with an engine drawn by lot, the same for the same seed
    #[arg(long, value_name = "SEED")]
    pub drawn: Option<u64>,
    /// The clip to write, 16-bit WAV; the truth goes beside it
    #[arg(short, long, value_name = "FILE", required_unless_present = "print")]
    pub output: Option<PathBuf>,
    /// Print the scene instead of rendering it
    #[arg(long, conflicts_with = "output")]
    pub print: bool,
}

/// Read a clip and compare it with what it should read
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    long_about = "Reads a clip, compares it with what it should read, prints what differs and ends with 1 if anything \
        does: a test for a CI job.",
    after_long_help = "\
Examples:
  engine-note check trimmer.wav --expect trimmer.expect.toml
  engine-note check clip.wav --truth clip.truth.json --within 1

An expectation file, in which everything may be left out that is not expected:

  engine = true                  # something is heard as an engine (false: nothing is)
  readable = [0.8, 1.0]          # share of the clip with a speed

  [[stretch]]                    # as many as you like
  from_s = 3.0                   # seconds from the start of the clip
  to_s = 6.0
  rpm = [9300, 9500]             # the crank speed lies in this range
  firing = \"four-stroking\"       # clean, four-stroking, limiter, unclear
  skip_ratio = [0.3, 0.6]        # mean share of turns without a full firing
  share = 0.95                   # of the frames that must agree on rpm and firing [default: 0.95]
  readable = [0.9, 1.0]          # share of the stretch with a speed [default: at least 0.5]"
)]
pub struct Check {
    /// The clip
    pub clip: PathBuf,
    /// What it should read, a TOML file
    #[arg(short, long, value_name = "FILE", required_unless_present = "truth")]
    pub expect: Option<PathBuf>,
    /// The truth that `synth` wrote beside the clip
    #[arg(long, value_name = "FILE")]
    pub truth: Option<PathBuf>,
    /// With --truth: how far a steady speed may be off, in percent
    #[arg(
        long,
        value_name = "PERCENT",
        default_value_t = 1.0,
        requires = "truth"
    )]
    pub within: f64,
    #[command(flatten)]
    pub known: Known,
}

/// Print the whole adjustment, step by step, as a card to keep
#[derive(Debug, Args)]
#[command(
    long_about = "Prints the whole adjustment as a card: checks, base settings, warm-up, each screw, the proof, and what \
        to look for when it does not come right. The card is made by the same steps that the program goes through \
        with a running engine. With a profile it names the machine's own speeds and its carburetor's order.",
    after_long_help = "\
Examples:
  engine-note procedure
  engine-note procedure --machine trimmer.toml --format html > card.html   # prints on one page"
)]
pub struct Procedure {
    /// Machine profile (`engine-note machine new` makes one)
    #[arg(short, long, value_name = "FILE")]
    pub machine: Option<PathBuf>,
    /// How to write the card
    #[arg(short, long, value_enum, default_value_t)]
    pub format: Paper,
}

/// What the card is written as.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Paper {
    /// Text for a terminal or a printer
    #[default]
    Text,
    /// A page that prints on one sheet
    Html,
}

/// `machine`.
#[derive(Debug, Subcommand)]
pub enum Machine {
    New(Box<New>),
    /// Show a profile in words
    #[command(after_help = "Example:\n  engine-note machine show trimmer.toml")]
    Show {
        /// The profile
        file: PathBuf,
    },
    /// Say what is wrong or odd in a profile
    #[command(after_help = "\
Example:
  engine-note machine check trimmer.toml

Ends with 2 where the profile cannot be used; what is only odd is named and ends with 0.")]
    Check {
        /// The profile
        file: PathBuf,
    },
}

/// Print a new profile, to be saved as a file
#[derive(Debug, Args)]
#[command(
    long_about = "Prints a machine profile on standard output, with what each field means. All that is left out can be \
        filled in later with an editor.\n\n\
        --class fills in what machines of a class usually do (common practice, no source) and marks it so. The maker's \
        figures, from the manual or the plate on the machine, always win: give them as flags.",
    after_long_help = "\
Examples:
  engine-note machine new --class trimmer > trimmer.toml
  engine-note machine new --class saw --name \"the blue one\" --carburetor butterfly --coil limited \\
      --idle 2700:2900 --clutch-in 3700 --full-throttle 12500:13200 --source maker > saw.toml"
)]
pub struct New {
    /// Fill in what is usual for a class of machine
    #[arg(long, value_parser = classes())]
    pub class: Option<Class>,
    /// Your own name for the machine
    #[arg(long)]
    pub name: Option<String>,
    /// What it is used for
    #[arg(long = "use", value_name = "USE", value_parser = words::<Use>(USES))]
    pub used_for: Option<Use>,
    /// Strokes of a working cycle
    #[arg(long, value_parser = words::<Cycle>(CYCLES))]
    pub cycle: Option<Cycle>,
    /// Number of cylinders
    #[arg(long, value_name = "1 to 4", value_parser = value_parser!(u8).range(1..=4))]
    pub cylinders: Option<u8>,
    /// How the carburetor meters
    #[arg(long, value_parser = words::<Carburetor>(CARBURETORS))]
    pub carburetor: Option<Carburetor>,
    /// Whether the ignition coil cuts the spark at a ceiling
    #[arg(long, value_parser = words::<Coil>(COILS))]
    pub coil: Option<Coil>,
    /// Idle speed in rpm
    #[arg(long, value_name = "LOW:HIGH", value_parser = speed_range)]
    pub idle: Option<SpeedRange>,
    /// Speed in rpm at which the clutch begins to drive the attachment
    #[arg(long, value_name = "RPM", value_parser = speed)]
    pub clutch_in: Option<Rpm>,
    /// Full throttle without load in rpm; the upper end is the maker's maximum
    #[arg(long, value_name = "LOW:HIGH", value_parser = speed_range)]
    pub full_throttle: Option<SpeedRange>,
    /// Speed in rpm at which the coil cuts the spark
    #[arg(long, value_name = "RPM", value_parser = speed)]
    pub limiter: Option<Rpm>,
    /// Where to search for the crank speed, in rpm [default: 1200:16000]
    #[arg(long, value_name = "LOW:HIGH", value_parser = speed_range)]
    pub speed_range: Option<SpeedRange>,
    /// Where the speeds given here came from: maker, measured, typical, or your own words
    #[arg(long, value_name = "SOURCE")]
    pub source: Option<Origin>,
    /// Where the idle speed came from, if from elsewhere
    #[arg(long, value_name = "SOURCE", requires = "idle")]
    pub idle_source: Option<Origin>,
    /// Where the clutch-in speed came from, if from elsewhere
    #[arg(long, value_name = "SOURCE", requires = "clutch_in")]
    pub clutch_in_source: Option<Origin>,
    /// Where the full-throttle speed came from, if from elsewhere
    #[arg(long, value_name = "SOURCE", requires = "full_throttle")]
    pub full_throttle_source: Option<Origin>,
    /// Where the limiter speed came from, if from elsewhere
    #[arg(long, value_name = "SOURCE", requires = "limiter")]
    pub limiter_source: Option<Origin>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_holds_together() {
        Arguments::command().debug_assert();
    }
}
