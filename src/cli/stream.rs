//! The event stream: sound and answers in, a line for each event out, flushed at once.
use std::io::{StdoutLock, Write, stdout};
use std::time::Duration;

use super::answers::Answers;
use super::keeper::Keeper;
use super::live_flags;
use super::terminal::{complain, note};
use super::trouble::{Trouble, reason};
use super::tune::Beginning;
use super::tune_flags::Tune;
use crate::capture::{Live, LiveSource, Pace, Piece};
use crate::procedure::{Answer, Verdict};
use crate::session::{Event, Session};

/// How long is waited for sound at a time.
const WAIT: Duration = Duration::from_secs(1);

/// Runs a session to its end; none where the reader of the events went away before it.
pub fn run(
    arguments: &Tune,
    mut source: LiveSource,
    beginning: Beginning,
) -> Result<Option<Verdict>, Trouble> {
    // The clock is the sound's own, however fast it comes.
    if let LiveSource::Clip { pace, .. } = &mut source {
        *pace = Pace::AsItComes;
    }
    match events(arguments, &source, beginning) {
        Err(Trouble::ClosedPipe) => Ok(None),
        other => other,
    }
}

fn events(
    arguments: &Tune,
    source: &LiveSource,
    beginning: Beginning,
) -> Result<Option<Verdict>, Trouble> {
    let mut lines = Lines::new();
    // Before the first sample, so that a simulator may wait for it.
    lines.write(&[Session::start()])?;
    let mut answers = arguments.answers.as_deref().map(Answers::new);
    let trouble = |fault| Trouble::fault(Some(&arguments.sound.name()), &fault);
    let mut live = Live::open(source).map_err(trouble)?;
    let mut recording = arguments
        .sound
        .recording()?
        .map(|(path, kind)| live_flags::record(path, kind, live.facts()))
        .transpose()?;
    let (mut session, mut keeper) = beginning.open(live.facts())?;
    let mut said = |session: &mut Session, keeper: &mut Keeper| {
        if let Some(answers) = &mut answers {
            answers.look(|answer: Answer| {
                keeper.answer(answer);
                session.answer(answer);
            });
        }
    };
    let (mut block, mut due) = (vec![], vec![]);
    while !session.ended() {
        match live.next(WAIT, &mut block) {
            Ok(Piece::Sound) => {
                if let Some(kept) = &mut recording
                    && let Err(error) = kept.push(&block)
                {
                    recording = None;
                    let words = format!("the sound is no longer kept: {}", reason(&error));
                    note(&words, Some("make room on the disk"));
                }
                let mut rest = &block[..];
                while !rest.is_empty() && !session.ended() {
                    let (hop, later) = rest.split_at(rest.len().min(session.to_next_hop()));
                    said(&mut session, &mut keeper);
                    session.push(hop, &mut due);
                    keeper.keep(&session, &due);
                    lines.write(&due)?;
                    due.clear();
                    rest = later;
                }
            }
            Ok(Piece::Nothing) => {}
            Ok(Piece::Told(notice)) => note(&notice.to_string(), notice.hint().as_deref()),
            Ok(Piece::End) => break,
            Err(fault) => {
                complain(&trouble(fault));
                break;
            }
        }
    }
    if !session.ended() {
        said(&mut session, &mut keeper);
        session.finish(&mut due);
        keeper.keep(&session, &due);
        lines.write(&due)?;
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
