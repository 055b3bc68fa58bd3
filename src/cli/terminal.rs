//! What the program prints on, and what it can show.
use std::env;
use std::io::{self, BufWriter, IsTerminal, StdoutLock, Write};

use super::trouble::Trouble;
use crate::report::{Glyphs, Look, Tone};

/// Narrowest and widest line that text is made for.
const WIDTHS: (usize, usize) = (40, 120);

/// Standard output, buffered: results go here and nothing else.
pub fn output() -> BufWriter<StdoutLock<'static>> {
    BufWriter::new(io::stdout().lock())
}

/// Prints a finished text.
pub fn print(text: &str) -> Result<(), Trouble> {
    let mut out = output();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

/// How text on standard output is shown.
pub fn look() -> Look {
    let terminal = console::Term::stdout();
    let width = terminal
        .size_checked()
        .map_or(80, |(_, columns)| usize::from(columns));
    Look {
        width: width.clamp(WIDTHS.0, WIDTHS.1),
        colour: colour_wanted(terminal.is_term()),
        glyphs: glyphs(|name| env::var(name).ok()),
    }
}

/// How text is shown in a file.
pub fn look_in_a_file() -> Look {
    Look {
        glyphs: glyphs(|name| env::var(name).ok()),
        ..Look::default()
    }
}

/// Colour only on a terminal, and never where NO_COLOR is set to anything.
fn colour_wanted(terminal: bool) -> bool {
    let refused = env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    terminal && !refused && env::var("TERM").is_ok_and(|term| term != "dumb")
}

/// Plain characters where the terminal or the locale says that it knows no others.
fn glyphs(variable: impl Fn(&str) -> Option<String>) -> Glyphs {
    let terminal = variable("TERM").unwrap_or_default();
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .find_map(|name| variable(name).filter(|value| !value.is_empty()));
    let unicode = locale.is_none_or(|name| {
        let name = name.to_lowercase();
        name.contains("utf-8") || name.contains("utf8")
    });
    if unicode && terminal != "linux" && terminal != "dumb" {
        Glyphs::Braille
    } else {
        Glyphs::Plain
    }
}

/// Says on standard error what is wrong and what to do.
pub fn complain(trouble: &Trouble) {
    if let Trouble::Told { words, hint, .. } = trouble {
        tell(Tone::Alarming, "error:", words, hint.as_deref());
    }
}

/// Says on standard error what has happened while the work goes on, and what to do.
pub fn note(words: &str, hint: Option<&str>) {
    tell(Tone::Notable, "note:", words, hint);
}

/// Says on standard error what to do, where what is wrong was said already.
pub fn hint(words: &str) {
    say(&line(Tone::Strong, "hint:", words));
}

fn tell(tone: Tone, mark: &str, words: &str, hint: Option<&str>) {
    let mut lines = line(tone, mark, words);
    if let Some(hint) = hint {
        lines.push_str(&line(Tone::Strong, "hint:", hint));
    }
    say(&lines);
}

fn line(tone: Tone, mark: &str, words: &str) -> String {
    let paint = Look {
        colour: colour_wanted(io::stderr().is_terminal()),
        ..Look::default()
    };
    format!("{} {}\n", paint.paint(tone, mark), one_line(words))
}

/// Writes to standard error. Where that is closed too, there is nobody left to tell.
pub fn say(text: &str) {
    let _ = io::stderr().lock().write_all(text.as_bytes());
}

/// Keeps a message on one line, whatever the name of a file holds.
fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_characters_where_the_locale_knows_no_others() {
        let with = |pairs: &[(&str, &str)]| {
            glyphs(|name| {
                pairs
                    .iter()
                    .find(|(known, _)| *known == name)
                    .map(|(_, value)| value.to_string())
            })
        };
        assert_eq!(with(&[]), Glyphs::Braille);
        assert_eq!(with(&[("LANG", "en_US.UTF-8")]), Glyphs::Braille);
        assert_eq!(
            with(&[("LANG", "en_US.UTF-8"), ("LC_ALL", "C")]),
            Glyphs::Plain
        );
        assert_eq!(
            with(&[("LC_ALL", ""), ("LANG", "de_DE.utf8")]),
            Glyphs::Braille
        );
        assert_eq!(with(&[("TERM", "linux")]), Glyphs::Plain);
    }
}
