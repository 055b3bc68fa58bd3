//! A tuning as lines of text, with answers that are typed.
use std::io::{BufRead, stdin};
use std::sync::mpsc::{Receiver, channel};
use std::thread;

use super::board::Board;
use super::hands::{self, Act};
use super::terminal::{note, print};
use super::trouble::Trouble;
use crate::guide::cautions;
use crate::machine::Profile;
use crate::report::words;

/// Seconds of sound between two lines of the speed, where it has moved and where it has not.
const LINES: (f64, f64) = (3.0, 10.0);
/// How far it has moved, as a ratio.
const MOVED: f64 = 0.03;

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

impl Typed {
    /// What was typed since the last call.
    pub fn acts(&self) -> Vec<Act> {
        let lines = self.lines.as_ref().into_iter().flat_map(Receiver::try_iter);
        lines.filter_map(|line| act(&line)).collect()
    }

    /// Tells the speed where it has moved, and now and then where it has not.
    pub fn speed(&mut self, board: &Board) -> Result<(), Trouble> {
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

/// What a typed line means; told where it means nothing.
fn act(line: &str) -> Option<Act> {
    if let Some(text) = line.trim().strip_prefix("note ") {
        return Some(Act::Noted(text.to_string()));
    }
    let wish = hands::typed(line);
    if wish.is_none() {
        let words = format!("`{}` is no answer", words::shown(line.trim()));
        note(&words, Some(ANSWERS));
    }
    wish.map(Act::Wish)
}

/// What to say where a typed line is no answer.
const ANSWERS: &str = "Enter, done, attachment-turning, attachment-still, started, stalled, at-stop, cannot, pause, \
     resume, back, quit, cautions, or `note` and the note";

/// The cautions, read before anything else.
pub fn caution_lines(machine: &Profile) -> String {
    let mut text = String::from("Read first\n");
    for caution in cautions(machine) {
        text.push_str(&format!("- {}\n", caution.words));
    }
    text
}

/// A prompt as lines of text.
pub fn prompt_lines(board: &Board, again: bool) -> String {
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
