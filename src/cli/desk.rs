//! A tuning with a person: sound and keys in, the board on a screen or as lines of text.
use std::io::{Write, stdout};
use std::path::PathBuf;
use std::thread;

use super::answers::Answers;
use super::board::Board;
use super::feed::{Feed, WAIT};
use super::hands::{self, Act, Wish};
use super::keeper::Keeper;
use super::lines::{Typed, caution_lines, prompt_lines};
use super::screen::Screen;
use super::terminal::{note, print};
use super::trouble::Trouble;
use super::tune_screen::{self, Over};
use super::{closing, trouble};
use crate::capture::{Condition, Notice, Piece, Recording};
use crate::machine::Profile;
use crate::procedure::{Answer, Outcome, Verdict, Word};
use crate::report::Look;
use crate::session::{Event, Session};

use ratatui::crossterm::event::{KeyCode, KeyEvent};

/// Where it is shown.
pub enum View {
    /// A screen.
    Screen(Box<Screen>, Look),
    /// Lines of text, with what is typed.
    Lines(Typed),
}

impl View {
    /// Shows the cautions; `false` where the technician leaves it at that.
    ///
    /// # Errors
    /// Where the terminal cannot be written.
    pub fn cautions(&mut self, machine: &Profile) -> Result<bool, Trouble> {
        match self {
            View::Lines(_) => {
                print(&caution_lines(machine))?;
                Ok(true)
            }
            View::Screen(screen, look) => loop {
                screen.draw(|frame| tune_screen::draw_cautions(machine, frame, look))?;
                for key in screen.keys()? {
                    match (key.code, hands::wish(&key)) {
                        (KeyCode::Enter, _) => return Ok(true),
                        (_, Some(Wish::Quit)) => return Ok(false),
                        _ => {}
                    }
                }
                thread::sleep(WAIT);
            },
        }
    }
}

/// One tuning with a person.
pub struct Desk {
    session: Session,
    keeper: Keeper,
    board: Board,
    feed: Feed,
    view: View,
    answers: Option<Answers>,
    recording: Option<Recording>,
    beep: bool,
    over: Over,
    quitting: bool,
    due: Vec<Event>,
}

/// What else a desk has.
#[derive(Default)]
pub struct Beside {
    /// Answers from a file.
    pub answers: Option<Answers>,
    /// The sound is kept.
    pub recording: Option<Recording>,
    /// A beep with each new prompt.
    pub beep: bool,
    /// The session goes on that was left.
    pub resumed: bool,
}

/// How it ended.
pub struct Ended {
    /// The result.
    pub outcome: Option<Outcome>,
    /// Where it can be resumed from.
    pub file: Option<PathBuf>,
    /// The sound's source.
    pub feed: Feed,
}

impl Desk {
    /// Sets the desk.
    pub fn new(
        session: Session,
        keeper: Keeper,
        board: Board,
        feed: Feed,
        view: View,
        beside: Beside,
    ) -> Desk {
        let mut desk = Desk {
            session,
            keeper,
            board,
            feed,
            view,
            answers: beside.answers,
            recording: beside.recording,
            beep: beside.beep,
            over: Over::Nothing,
            quitting: false,
            due: vec![],
        };
        if beside.resumed {
            // Nobody knows what was done meanwhile: the technician says when it goes on.
            desk.say(Word::Pause);
        }
        desk
    }

    /// Runs to the end.
    ///
    /// # Errors
    /// Where the terminal cannot be written.
    pub fn run(mut self) -> Result<Ended, Trouble> {
        let mut block = vec![];
        while !self.session.ended() {
            match self.feed.next(&mut block) {
                Ok(Piece::Sound) => self.hear(&block)?,
                Ok(Piece::Nothing) => {}
                Ok(Piece::Told(notice)) => self.told(&notice),
                Ok(Piece::End) => break,
                Err(fault) => {
                    self.tell(&fault.to_string(), Some(&fault.hint()));
                    break;
                }
            }
            (self.board.condition, self.board.dropped) = self.feed.condition();
            if !self.show()? {
                break;
            }
        }
        if !self.session.ended() {
            let mut due = std::mem::take(&mut self.due);
            self.session.finish(&mut due);
            self.came(&due)?;
        }
        self.finish()
    }

    /// Takes a piece of sound.
    fn hear(&mut self, block: &[f32]) -> Result<(), Trouble> {
        if let Some(recording) = &mut self.recording
            && let Err(error) = recording.push(block)
        {
            self.recording = None;
            let words = format!("the sound is no longer kept: {}", trouble::reason(&error));
            self.tell(&words, Some("make room on the disk"));
        }
        let mut rest = block;
        let mut due = std::mem::take(&mut self.due);
        while !rest.is_empty() && !self.session.ended() {
            let (hop, later) = rest.split_at(rest.len().min(self.session.to_next_hop()));
            if let Some(answers) = &mut self.answers {
                let (session, keeper) = (&mut self.session, &mut self.keeper);
                answers.look(|answer| {
                    keeper.answer(answer);
                    session.answer(answer);
                });
            }
            self.session.push(hop, &mut due);
            if !due.is_empty() {
                self.keeper.keep(&self.session, &due);
                self.came(&due)?;
                due.clear();
            }
            rest = later;
        }
        self.due = due;
        Ok(())
    }

    /// Events have come.
    fn came(&mut self, events: &[Event]) -> Result<(), Trouble> {
        let before = self.board.prompt.as_ref().map(|prompt| prompt.id);
        self.board.take(&self.session, events);
        for event in events {
            let Event::Prompt { prompt, .. } = event else {
                continue;
            };
            if self.beep && before != Some(prompt.id) {
                let beeps = if prompt.urgent {
                    "\x07\x07\x07"
                } else {
                    "\x07"
                };
                let mut out = stdout().lock();
                out.write_all(beeps.as_bytes())?;
                out.flush()?;
            }
            if matches!(self.view, View::Lines(_)) {
                print(&prompt_lines(&self.board, before == Some(prompt.id)))?;
            }
        }
        Ok(())
    }

    fn told(&mut self, notice: &Notice) {
        self.tell(&notice.to_string(), notice.hint().as_deref());
    }

    fn tell(&mut self, words: &str, hint: Option<&str>) {
        match self.view {
            View::Screen(..) => {
                let hint = hint.map(|hint| format!(": {hint}")).unwrap_or_default();
                self.board.tell(&format!("{words}{hint}"));
            }
            View::Lines(_) => note(words, hint),
        }
    }

    /// Shows the board and looks at what the technician wants; `false` ends it at once.
    fn show(&mut self) -> Result<bool, Trouble> {
        let extra = self.feed.extra();
        let (keys, acts) = match &mut self.view {
            View::Screen(screen, look) => {
                let (board, over) = (&self.board, &self.over);
                screen.draw(|frame| tune_screen::draw(board, over, &extra, frame, look))?;
                (screen.keys()?, vec![])
            }
            View::Lines(typed) => {
                typed.speed(&self.board)?;
                (vec![], typed.acts())
            }
        };
        // One by one: a key may change what the next one means.
        for key in keys {
            if let Some(act) = overlaid(&mut self.over, &key, &mut self.feed)
                && !self.act(act)?
            {
                return Ok(false);
            }
        }
        for act in acts {
            if !self.act(act)? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    fn act(&mut self, act: Act) -> Result<bool, Trouble> {
        match act {
            Act::Noted(text) => {
                let text = text.trim();
                if !text.is_empty() {
                    self.keeper.note(&self.session, text);
                    self.tell(&format!("noted: {text}"), None);
                }
            }
            Act::Wish(Wish::Say(word)) => self.say(word),
            Act::Wish(Wish::PauseOrResume) => {
                let word = if self.board.paused() {
                    Word::Resume
                } else {
                    Word::Pause
                };
                self.say(word);
            }
            Act::Wish(Wish::Note) => match self.view {
                View::Screen(..) => self.over = Over::Note(String::new()),
                View::Lines(_) => note(
                    "write the note behind the word: `note new spark plug`",
                    None,
                ),
            },
            Act::Wish(Wish::Cautions) => match self.view {
                View::Screen(..) => self.over = Over::Cautions,
                View::Lines(_) => print(&caution_lines(&self.board.machine))?,
            },
            // The procedure says what to do with the throttle first; a second time, or where no
            // sound comes, it ends at once.
            Act::Wish(Wish::Quit) => {
                if self.quitting || self.board.condition != Condition::Fine {
                    return Ok(false);
                }
                self.quitting = true;
                self.say(Word::Quit);
            }
        }
        Ok(true)
    }

    fn say(&mut self, answer: Word) {
        let answer = Answer {
            t_s: self.session.now(),
            answer,
            id: self.board.prompt.as_ref().map(|prompt| prompt.id),
        };
        self.keeper.answer(answer);
        self.session.answer(answer);
    }

    /// Shows the result until it has been read.
    fn finish(mut self) -> Result<Ended, Trouble> {
        if let Some(recording) = self.recording.take()
            && let Err(error) = recording.finish()
        {
            note(
                &format!(
                    "the end of the sound is not kept: {}",
                    trouble::reason(&error)
                ),
                None,
            );
        }
        if let View::Screen(screen, look) = &mut self.view
            && !self.quitting
        {
            let board = &self.board;
            'shown: loop {
                screen.draw(|frame| tune_screen::draw(board, &Over::Nothing, &[], frame, look))?;
                for key in screen.keys()? {
                    if key.code == KeyCode::Enter || hands::wish(&key) == Some(Wish::Quit) {
                        break 'shown;
                    }
                }
                thread::sleep(WAIT);
            }
        }
        drop(self.view);
        if let Some(outcome) = &self.board.result {
            print(&format!("{}\n", closing::lines(outcome).join("\n")))?;
        }
        let unfinished = |outcome: &Outcome| outcome.verdict == Verdict::Unfinished;
        let left = self.board.result.as_ref().is_none_or(unfinished);
        let file = self.keeper.path().filter(|_| left).map(PathBuf::from);
        Ok(Ended {
            outcome: self.board.result,
            file,
            feed: self.feed,
        })
    }
}

/// A key, through what is laid over the screen.
fn overlaid(over: &mut Over, key: &KeyEvent, feed: &mut Feed) -> Option<Act> {
    match over {
        Over::Note(text) => {
            match key.code {
                KeyCode::Enter => {
                    let text = std::mem::take(text);
                    *over = Over::Nothing;
                    return Some(Act::Noted(text));
                }
                KeyCode::Esc => *over = Over::Nothing,
                KeyCode::Backspace => {
                    text.pop();
                }
                KeyCode::Char(c) if !c.is_control() => text.push(c),
                _ => {}
            }
            None
        }
        Over::Cautions => {
            let quit = hands::wish(key) == Some(Wish::Quit);
            *over = Over::Nothing;
            quit.then_some(Act::Wish(Wish::Quit))
        }
        Over::Nothing => {
            if let Feed::Bench(bench) = feed
                && bench.key(key)
            {
                return None;
            }
            hands::wish(key).map(Act::Wish)
        }
    }
}
