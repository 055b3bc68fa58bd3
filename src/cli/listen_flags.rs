//! The flags of `listen`.
use clap::Args;

use super::args::Known;
use super::live_flags::LiveFlags;
use super::tune_flags::EventFormat;

/// Listen to a running engine: speed, steadiness, firing, level, as it runs
#[derive(Debug, Args)]
#[command(
    long_about = "Listens to a running engine and shows, many times a second, how fast the crank turns and how steadily, \
        how it fires, and whether the sound comes too loud, too quiet or with wind.\n\n\
        Sound comes from the microphone, or with --from from a recording at its own pace. On a terminal it is a screen with \
        a rolling chart, elsewhere and with --plain a line now and then, with --events ndjson data. A microphone that is \
        unplugged is waited for and picked up again.\n\n\
        It hears sound and nothing else. The maker's manual, local rules and licensed practice come first.",
    after_long_help = "\
Examples:
  engine-note listen
  engine-note listen --list-mics
  engine-note listen --mic \"USB Audio\" --machine trimmer.toml --record trimmer.flac
  engine-note listen --seconds 30 --events ndjson > readings.ndjson
  engine-note listen --from trimmer.m4a --plain
  arecord -f S16_LE -r 48000 -c 1 -t raw | engine-note listen --from - --raw s16le:48000:1

On the screen, `q` ends it."
)]
pub struct Listen {
    #[command(flatten)]
    pub sound: LiveFlags,
    #[command(flatten)]
    pub known: Known,
    /// List the microphones, the default with a star, and end
    #[arg(long, conflicts_with_all = ["mic", "from", "record", "events"])]
    pub list_mics: bool,
    /// End after so much sound
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    pub seconds: Option<f64>,
    /// Write a line of data for each reading instead of showing anything
    #[arg(long, value_enum, value_name = "FORMAT", conflicts_with = "plain")]
    pub events: Option<EventFormat>,
    /// Lines of text instead of a screen
    #[arg(long)]
    pub plain: bool,
    /// How often --plain writes a line, in seconds of sound
    #[arg(long, value_name = "SECONDS", value_parser = seconds, default_value = "1")]
    pub every: f64,
}

/// A length in seconds.
fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(seconds) if seconds.is_finite() && seconds > 0.0 => Ok(seconds),
        _ => Err("give a length in seconds, for example 30".into()),
    }
}
