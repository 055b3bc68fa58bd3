//! A tuning with a person: sound and keys in, the board on a screen or as lines of text.
use std::io::{BufRead, Write, stdin, stdout};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use super::answers::Answers;
use super::bench::Bench;
use super::board::Board;
use super::hands::{self, Wish};
use super::keeper::Keeper;
use super::screen::Screen;
use super::terminal::{note, print};
use super::trouble::Trouble;
use super::tune_screen::{self, Over};
use super::{closing, trouble};
use crate::capture::{Condition, Fault, Live, Notice, Piece, Recording};
use crate::guide::cautions;
use crate::machine::Profile;
use crate::procedure::{Answer, Outcome, Verdict, Word};
use crate::report::{Look, words};
use crate::session::{Event, Session};
use crate::units::Seconds;

use ratatui::crossterm::event::{KeyCode, KeyEvent};

/// How long sound is waited for before keys are looked at again.
const WAIT: Duration = Duration::from_millis(20);
/// Seconds of sound between two lines of the speed, where it has moved and where it has not.
const LINES: (f64, f64) = (3.0, 10.0);
/// How far it has moved, as a ratio.
const MOVED: f64 = 0.03;

/// Where the sound comes from.
pub enum Feed {
    /// A microphone or a clip.
    Live(Live),
    /// The engine on the bench.
    Bench(Box<Bench>),
}

impl Feed {
    fn next(&mut self, block: &mut Vec<f32>) -> Result<Piece, Fault> {
        match self {
            Feed::Live(live) => live.next(WAIT, block),
            Feed::Bench(bench) => Ok(bench.next(WAIT, block)),
        }
    }

    fn condition(&self) -> (Condition, Seconds) {
        match self {
            Feed::Live(live) => (live.condition(), live.dropped()),
            Feed::Bench(_) => (Condition::Fine, Seconds(0.0)),
        }
    }

    /// What the hands do on the bench; nothing beside a real engine.
    fn extra(&self) -> Vec<String> {
        match self {
            Feed::Live(_) => vec![],
            Feed::Bench(bench) => bench.lines(),
        }
    }
}

/// Where it is shown.
pub enum View {
    /// A screen.
    Screen(Box<Screen>, Look),
    /// Lines of text, with what is typed.
    Lines(Typed),
}

/// Lines that are typed, and when the speed was told last.
pub struct Typed {
    lines: Option<Receiver<String>>,
    told: (f64, f64),
}

impl Typed {
    /// Reads standard input, unless the sound comes from there.
    pub fn new(listen: bool) -> Typed {
        let lines = listen.then(|| {
            let (sender, lines) = channel();
            thread::spawn(move || {
                for line in stdin().lock().lines() {
                    if line.is_err() || sender.send(line.unwrap_or_default()).is_err() {
                        return;
                    }
                }
            });
            lines
        });
        Typed {
            lines,
            told: (f64::NEG_INFINITY, 0.0),
        }
    }
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

fn caution_lines(machine: &Profile) -> String {
    let mut text = String::from("Read first\n");
    for caution in cautions(machine) {
        text.push_str(&format!("- {}\n", caution.words));
    }
    text
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
        let mut wishes = vec![];
        match &mut self.view {
            View::Screen(screen, look) => {
                let (board, over) = (&self.board, &self.over);
                screen.draw(|frame| tune_screen::draw(board, over, &extra, frame, look))?;
                for key in screen.keys()? {
                    wishes.extend(overlaid(&mut self.over, &key, &mut self.feed));
                }
            }
            View::Lines(typed) => {
                let lines = typed.lines.as_ref().into_iter();
                for line in lines.flat_map(Receiver::try_iter) {
                    let noted = line.trim().strip_prefix("note ");
                    match (noted, hands::typed(&line)) {
                        (Some(text), _) => wishes.push(Act::Noted(text.to_string())),
                        (None, Some(wish)) => wishes.push(Act::Wish(wish)),
                        (None, None) => note(
                            &format!("`{}` is no answer", words::shown(line.trim())),
                            Some(ANSWERS),
                        ),
                    }
                }
                typed.speed(&self.board)?;
            }
        }
        for wish in wishes {
            if !self.act(wish)? {
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

/// What is done.
enum Act {
    Wish(Wish),
    Noted(String),
}

/// What to say where a typed line is no answer.
const ANSWERS: &str = "Enter, done, attachment-turning, attachment-still, started, stalled, at-stop, cannot, pause, \
     resume, back, quit, cautions, or `note` and the note";

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

/// A prompt as lines of text.
fn prompt_lines(board: &Board, again: bool) -> String {
    let Some(prompt) = &board.prompt else {
        return String::new();
    };
    let urgent = if prompt.urgent { "NOW: " } else { "" };
    let again = if again { "again: " } else { "" };
    let (asked, _) = hands::shown(board);
    let keys: Vec<String> = asked
        .iter()
        .map(|(key, means)| format!("{key} {means}"))
        .collect();
    let keys = if keys.is_empty() {
        String::new()
    } else {
        format!("\n         ({})", keys.join(", "))
    };
    format!(
        "{:>7}  {}\n         {urgent}{again}{}{keys}\n",
        words::moment(board.now),
        board.place(),
        prompt.say
    )
}

impl Typed {
    /// Tells the speed where it has moved, and now and then where it has not.
    fn speed(&mut self, board: &Board) -> Result<(), Trouble> {
        let rpm = board.speed().map_or(0.0, |rpm| rpm.0);
        let moved = (rpm - self.told.1).abs() > MOVED * self.told.1.max(1.0);
        let wait = if moved { LINES.0 } else { LINES.1 };
        if board.now.0 - self.told.0 < wait {
            return Ok(());
        }
        self.told = (board.now.0, rpm);
        let goal = board.goal().filter(|_| board.speed().is_some());
        let goal = goal.map_or_else(String::new, |goal| format!("; {}", goal.words));
        let speed = match board.speed() {
            Some(_) => format!("{} rpm, ", board.digits()),
            None => String::new(),
        };
        print(&format!(
            "{:>7}  {speed}{}{goal}\n",
            words::moment(board.now),
            board.firing()
        ))
    }
}
