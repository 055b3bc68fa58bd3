//! The keys and words for what cannot be heard.
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::board::Board;
use crate::procedure::Word;

/// What the technician wants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// An answer.
    Say(Word),
    /// Wait, or go on.
    PauseOrResume,
    /// Write a note.
    Note,
    /// Show the cautions.
    Cautions,
    /// End here.
    Quit,
}

/// What the technician does.
pub enum Act {
    /// Wants something.
    Wish(Wish),
    /// Has written a note.
    Noted(String),
}

/// A key, the word that it stands for, and what it means.
struct Key {
    key: char,
    word: Word,
    means: &'static str,
    /// The same in a word, where the prompt does not ask for it.
    short: &'static str,
}

const KEYS: [Key; 7] = [
    Key {
        key: 'd',
        word: Word::Done,
        means: "done",
        short: "done",
    },
    Key {
        key: 't',
        word: Word::AttachmentTurning,
        means: "attachment turns",
        short: "turns",
    },
    Key {
        key: 's',
        word: Word::AttachmentStill,
        means: "attachment still",
        short: "still",
    },
    Key {
        key: 'g',
        word: Word::Started,
        means: "engine runs",
        short: "runs",
    },
    Key {
        key: 'x',
        word: Word::Stalled,
        means: "engine stalled",
        short: "stalled",
    },
    Key {
        key: 'e',
        word: Word::AtStop,
        means: "screw at its end",
        short: "end",
    },
    Key {
        key: 'c',
        word: Word::Cannot,
        means: "cannot",
        short: "cannot",
    },
];

/// What a key means.
pub fn wish(key: &KeyEvent) -> Option<Wish> {
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    match key.code {
        KeyCode::Char('c') if control => Some(Wish::Quit),
        _ if control => None,
        KeyCode::Enter => Some(Wish::Say(Word::Done)),
        KeyCode::Char(key) => of(key.to_ascii_lowercase()),
        _ => None,
    }
}

/// What a typed line means: a key, or a word of the answers.
pub fn typed(line: &str) -> Option<Wish> {
    let line = line.trim().to_lowercase();
    let mut letters = line.chars();
    if let (Some(key), None) = (letters.next(), letters.next()) {
        return of(key);
    }
    match line.as_str() {
        "" => Some(Wish::Say(Word::Done)),
        "pause" | "resume" => Some(Wish::PauseOrResume),
        "quit" => Some(Wish::Quit),
        "cautions" => Some(Wish::Cautions),
        word => serde_json::from_value(word.into()).ok().map(Wish::Say),
    }
}

fn of(key: char) -> Option<Wish> {
    match key {
        'p' | 'r' => Some(Wish::PauseOrResume),
        'b' => Some(Wish::Say(Word::Back)),
        'n' => Some(Wish::Note),
        '?' => Some(Wish::Cautions),
        'q' => Some(Wish::Quit),
        key => KEYS
            .iter()
            .find(|known| known.key == key)
            .map(|known| Wish::Say(known.word)),
    }
}

/// A key as it is shown, and what it means.
pub type Shown = (String, &'static str);

/// The keys that the prompt asks for, and the others: each with its meaning.
pub fn shown(board: &Board) -> (Vec<Shown>, Vec<Shown>) {
    let mut asked = vec![];
    let mut others = vec![];
    for known in KEYS {
        let Key {
            key,
            word,
            means,
            short,
        } = known;
        let name = if word == Word::Done {
            "Enter".into()
        } else {
            key.to_string()
        };
        if board.asks(word) {
            asked.push((name, means));
        } else if matches!(
            word,
            Word::AttachmentTurning | Word::AttachmentStill | Word::Stalled
        ) {
            others.push((name, short));
        }
    }
    if board.paused() {
        asked.push(("p".into(), "go on"));
    } else {
        others.push(("p".into(), "pause"));
    }
    others.extend([
        ("b".into(), "back"),
        ("n".into(), "note"),
        ("?".into(), "safety"),
        ("q".into(), "quit"),
    ]);
    (asked, others)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_means_two_things() {
        let mut keys: Vec<char> = KEYS.iter().map(|known| known.key).collect();
        keys.extend(['p', 'b', 'n', '?', 'q', 'r']);
        let count = keys.len();
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), count);
    }

    #[test]
    fn words_and_keys_mean_the_same() {
        assert_eq!(typed("t"), Some(Wish::Say(Word::AttachmentTurning)));
        assert_eq!(
            typed(" Attachment-Turning\n"),
            Some(Wish::Say(Word::AttachmentTurning))
        );
        assert_eq!(typed(""), Some(Wish::Say(Word::Done)));
        assert_eq!(typed("resume"), Some(Wish::PauseOrResume));
        assert_eq!(typed("sing"), None);
    }
}
