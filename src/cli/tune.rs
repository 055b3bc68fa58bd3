//! `tune`: the session in front of the technician, or as a stream of events.
use std::env;
use std::io::{IsTerminal, stdout};

use ratatui::crossterm::terminal::size;

use super::answers::Answers;
use super::board::Board;
use super::desk::{Beside, Desk, View};
use super::exit::Outcome;
use super::feed::Feed;
use super::keeper::{self, Keeper};
use super::lines::Typed;
use super::live_flags;
use super::profile::known;
use super::screen::Screen;
use super::terminal::{look, say};
use super::trouble::Trouble;
use super::tune_flags::{Cue, Tune};
use super::tune_screen::LEAST;
use super::{stream, terminal};
use crate::capture::{Facts, Fault, Live};
use crate::machine::Profile;
use crate::procedure::{Begin, Verdict};
use crate::session::{Journal, Kept, Session};

/// Runs the command.
pub fn tune(arguments: &Tune) -> Result<Outcome, Trouble> {
    let verdict = if arguments.events.is_some() {
        let source = arguments.sound.source()?;
        stream::run(arguments, source, Beginning::new(arguments)?)?
    } else {
        desk(arguments)?
    };
    Ok(code(verdict))
}

/// 0 where it is tuned, 1 where it is not.
pub fn code(verdict: Option<Verdict>) -> Outcome {
    match verdict {
        Some(Verdict::Tuned) => Outcome::Read,
        Some(Verdict::Stopped | Verdict::Unfinished) | None => Outcome::Differs,
    }
}

/// A tuning with a person.
fn desk(arguments: &Tune) -> Result<Option<Verdict>, Trouble> {
    let source = arguments.sound.source()?;
    let kind = arguments.sound.recording()?;
    let beginning = Beginning::new(arguments)?;
    let machine = beginning.machine().clone();
    let mut view = view(
        arguments.plain,
        arguments
            .sound
            .from
            .as_deref()
            .is_none_or(|path| path.as_os_str() != "-"),
    )?;
    if !view.cautions(&machine)? {
        beginning.forget();
        return Ok(None);
    }
    let name = arguments.sound.name();
    let resumed = matches!(beginning, Beginning::Left { .. });
    let live = match Live::open(&source) {
        Ok(live) => live,
        Err(fault) => {
            beginning.forget();
            return Err(Trouble::fault(Some(&name), &fault));
        }
    };
    let recording = kind
        .map(|(path, kind)| live_flags::record(path, kind, live.facts()))
        .transpose()?;
    let title = match &arguments.sound.from {
        Some(_) => name,
        None => live.facts().format.clone(),
    };
    let (session, keeper) = beginning.open(live.facts())?;
    let board = Board::new(&machine, title, &session);
    let beside = Beside {
        answers: arguments.answers.as_deref().map(Answers::new),
        recording,
        beep: arguments.cue == Some(Cue::Beep),
        resumed,
    };
    let desk = Desk::new(session, keeper, board, Feed::Live(live), view, beside);
    let ended = match desk.run() {
        Err(Trouble::ClosedPipe) => return Ok(None),
        other => other?,
    };
    if let Some(file) = &ended.file {
        say(&format!(
            "saved in {0}; `engine-note tune --resume {0}` goes on with it\n",
            file.display()
        ));
    }
    Ok(ended.outcome.map(|outcome| outcome.verdict))
}

/// A screen where there is one that is large enough, else lines; `typed` where standard input is
/// free for answers.
pub fn view(plain: bool, typed: bool) -> Result<View, Trouble> {
    let dumb = env::var("TERM").is_ok_and(|term| term == "dumb");
    let large = || size().is_ok_and(|(columns, rows)| columns >= LEAST.0 && rows >= LEAST.1);
    if plain || dumb || !stdout().is_terminal() || !large() {
        if !plain && stdout().is_terminal() && !dumb {
            terminal::note(
                &format!(
                    "the terminal is smaller than {} columns and {} rows: lines of text instead of a screen",
                    LEAST.0, LEAST.1
                ),
                None,
            );
        }
        return Ok(View::Lines(Typed::new(typed)));
    }
    Ok(View::Screen(Box::new(Screen::open()?), look()))
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

    /// Nothing has begun: the file of a new session goes away again.
    fn forget(self) {
        if let Beginning::New {
            journal: Some(journal),
            ..
        } = self
        {
            let path = journal.path().to_path_buf();
            drop(journal);
            // It holds nothing, so that it does not matter where this fails.
            let _ = std::fs::remove_file(path);
        }
    }

    /// The session on a sound, and who keeps it.
    pub fn open(self, facts: &Facts) -> Result<(Session, Keeper), Trouble> {
        let trouble = |fault: Fault| Trouble::fault(None, &fault);
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
