//! `tune`: the session in front of the technician, or as a stream of events.
use super::exit::Outcome;
use super::keeper::{self, Keeper};
use super::profile::known;
use super::stream;
use super::trouble::Trouble;
use super::tune_flags::Tune;
use crate::capture::{Facts, Fault, LiveSource, Pace, RawFormat, Source};
use crate::machine::Profile;
use crate::procedure::{Begin, Verdict};
use crate::session::{Journal, Kept, Session};

/// Runs the command.
pub fn tune(arguments: &Tune) -> Result<Outcome, Trouble> {
    let source = source(arguments)?;
    let beginning = Beginning::new(arguments)?;
    let verdict = stream::run(arguments, &source, beginning)?;
    Ok(match verdict {
        Some(Verdict::Tuned) => Outcome::Read,
        Some(Verdict::Stopped | Verdict::Unfinished) | None => Outcome::Differs,
    })
}

/// What a session begins with: a machine, or a session that was left.
pub enum Beginning {
    /// A new one.
    New {
        /// The machine.
        machine: Box<Profile>,
        /// How it begins.
        begin: Begin,
        /// Its file.
        journal: Option<Journal>,
    },
    /// One that was left.
    Left {
        /// What is known of it.
        kept: Box<Kept>,
        /// Its file.
        journal: Journal,
    },
}

impl Beginning {
    fn new(arguments: &Tune) -> Result<Beginning, Trouble> {
        if let Some(named) = &arguments.resume {
            let path = match named {
                Some(path) => path.clone(),
                None => keeper::latest()?,
            };
            let (journal, kept) =
                Journal::resume(&path).map_err(|error| keeper::trouble(&error))?;
            let kept = Box::new(kept);
            return Ok(Beginning::Left { kept, journal });
        }
        if arguments.known.machine.is_none() {
            return Err(Trouble::usage(
                "no machine profile is given",
                "`engine-note machine new --class trimmer > trimmer.toml` makes one; then add `--machine trimmer.toml`",
            ));
        }
        let machine = Box::new(known(&arguments.known)?);
        let begin = arguments.begin();
        // Whoever drives the program from another one says where, so that no files pile up.
        let journal = if arguments.events.is_none() || arguments.session.is_some() {
            Some(keeper::begin(
                arguments.session.as_deref(),
                &machine,
                begin,
            )?)
        } else {
            None
        };
        Ok(Beginning::New {
            machine,
            begin,
            journal,
        })
    }

    /// The machine.
    pub fn machine(&self) -> &Profile {
        match self {
            Beginning::New { machine, .. } => machine,
            Beginning::Left { kept, .. } => &kept.machine,
        }
    }

    /// The session on a sound, and who keeps it.
    pub fn open(self, facts: &Facts) -> Result<(Session, Keeper), Trouble> {
        let trouble = |fault: Fault| Trouble::usage(&fault, fault.hint());
        let (rate, channels) = (facts.sample_rate, facts.channels);
        let (session, journal) = match self {
            Beginning::New {
                machine,
                begin,
                journal,
            } => {
                let session = Session::new(rate, channels, &machine, begin).map_err(trouble)?;
                (session, journal)
            }
            Beginning::Left { kept, journal } => {
                let session = Session::resume(rate, channels, *kept).map_err(trouble)?;
                (session, Some(journal))
            }
        };
        let mut keeper = Keeper::new(journal);
        keeper.sound(&session, rate, channels);
        Ok((session, keeper))
    }
}

fn source(arguments: &Tune) -> Result<LiveSource, Trouble> {
    let Some(path) = &arguments.from else {
        return Err(Trouble::usage(
            "no sound is given",
            "name a recording with `--from FILE`, or send one in with `--from -`",
        ));
    };
    let stream = path.as_os_str() == "-";
    let source = match &arguments.raw {
        Some(text) if stream => text
            .parse::<RawFormat>()
            .map(Source::Raw)
            .map_err(|fault| Trouble::usage(format!("--raw: {fault}"), fault.hint()))?,
        Some(text) => {
            return Err(Trouble::usage(
                "--raw is for standard input only",
                format!("send the samples in: `--from - --raw {text} < FILE`"),
            ));
        }
        None if stream => Source::Stdin,
        None => Source::File(path.clone()),
    };
    Ok(LiveSource::Clip {
        source,
        pace: Pace::AsItComes,
    })
}
