//! The flags of `practice`.
use clap::Args;

/// Practise a tuning on a simulated, mis-set engine
#[derive(Debug, Args)]
#[command(
    long_about = "The screens of `tune` beside a simulated engine whose screws are wrong: turn them with keys, see and hear what \
        that does, and compare your moves with what the guide would have needed.\n\n\
        The engine is invented; it teaches the order of the work and the sound of rich and clean, not the feeling of a \
        screw or the behaviour of a machine that you know.",
    after_long_help = "\
Examples:
  engine-note practice
  engine-note practice --engine 7
  engine-note practice --engine 7 --sound

Two sounds to tell apart first, for the ear:
  engine-note synth --ready rich-then-clean -o rich-then-clean.wav"
)]
pub struct Practice {
    /// Which engine, the same for the same number [default: another one each time]
    #[arg(long, value_name = "NUMBER")]
    pub engine: Option<u64>,
    /// Hear it on the loudspeaker (a build with the feature `mic`)
    #[arg(long)]
    pub sound: bool,
    /// A beep with each new prompt
    #[arg(long, value_name = "CUE", value_enum)]
    pub cue: Option<super::tune_flags::Cue>,
    /// The base settings are left out: the screws stay where they are found
    #[arg(long)]
    pub no_base: bool,
}
