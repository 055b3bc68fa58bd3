//! The event stream: sound and answers in, a line for each event out, flushed at once.
use std::io::{StdoutLock, Write, stdout};

use super::answers::Answers;
use super::sound::{self, Piece};
use super::terminal::complain;
use super::trouble::Trouble;
use super::tune_flags::Tune;
use crate::capture::Source;
use crate::machine::Profile;
use crate::procedure::Verdict;
use crate::session::{Event, Session};

/// Runs a session to its end; none where the reader of the events went away before it.
pub fn run(
    arguments: &Tune,
    machine: &Profile,
    source: Source,
) -> Result<Option<Verdict>, Trouble> {
    match events(arguments, machine, source) {
        Err(Trouble::ClosedPipe) => Ok(None),
        other => other,
    }
}

fn events(arguments: &Tune, machine: &Profile, source: Source) -> Result<Option<Verdict>, Trouble> {
    let mut lines = Lines::new();
    // Before the first sample, so that a simulator may wait for it.
    lines.write(&[Session::start()])?;
    let mut answers = arguments.answers.as_deref().map(Answers::new);
    let sound = sound::open(source)?;
    let mut session = Session::new(sound.rate, sound.channels, machine, arguments.begin())
        .map_err(|fault| Trouble::usage(&fault, fault.hint()))?;
    let mut due = vec![];
    let mut aside = None;
    while !session.ended() {
        match sound.pieces.recv() {
            Ok(Piece::Block(block)) => {
                let mut rest = &block[..];
                while !rest.is_empty() && !session.ended() {
                    let (hop, later) = rest.split_at(rest.len().min(session.to_next_hop()));
                    if let Some(answers) = &mut answers {
                        answers.look(|answer| session.answer(answer));
                    }
                    session.push(hop, &mut due);
                    lines.write(&due)?;
                    due.clear();
                    rest = later;
                }
            }
            Ok(Piece::End(trouble)) => {
                aside = trouble;
                break;
            }
            Err(_) => break,
        }
    }
    if !session.ended() {
        if let Some(answers) = &mut answers {
            answers.look(|answer| session.answer(answer));
        }
        session.finish(&mut due);
        lines.write(&due)?;
    }
    if let Some(trouble) = aside {
        complain(&trouble);
    }
    Ok(lines.verdict)
}

/// Lines on standard output.
struct Lines {
    out: StdoutLock<'static>,
    text: Vec<u8>,
    verdict: Option<Verdict>,
}

impl Lines {
    fn new() -> Lines {
        Lines {
            out: stdout().lock(),
            text: vec![],
            verdict: None,
        }
    }

    fn write(&mut self, events: &[Event]) -> Result<(), Trouble> {
        self.text.clear();
        for event in events {
            if let Event::Result { outcome, .. } = event {
                self.verdict = Some(outcome.verdict);
            }
            serde_json::to_writer(&mut self.text, event).map_err(std::io::Error::from)?;
            self.text.push(b'\n');
        }
        if !self.text.is_empty() {
            self.out.write_all(&self.text)?;
            self.out.flush()?;
        }
        Ok(())
    }
}
