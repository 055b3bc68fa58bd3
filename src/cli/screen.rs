//! The terminal as a screen: taken, drawn on, given back.
use std::io;
use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// Time between two drawings: sixteen a second.
const EVERY: Duration = Duration::from_millis(60);
// Ten a second at least: a test of the running program would time the machine.
const _: () = assert!(EVERY.as_millis() <= 100);

/// The screen. The terminal is given back when it is dropped.
pub struct Screen {
    terminal: DefaultTerminal,
    drawn: Option<Instant>,
}

impl Screen {
    /// Takes the terminal.
    pub fn open() -> io::Result<Screen> {
        Ok(Screen {
            terminal: ratatui::try_init()?,
            drawn: None,
        })
    }

    /// Draws if it is time.
    pub fn draw(&mut self, draw: impl FnOnce(&mut ratatui::Frame)) -> io::Result<()> {
        if self.drawn.is_some_and(|last| last.elapsed() < EVERY) {
            return Ok(());
        }
        self.drawn = Some(Instant::now());
        self.terminal.draw(draw).map(drop)
    }

    /// The keys pressed since the last call.
    pub fn keys(&mut self) -> io::Result<Vec<KeyEvent>> {
        let mut keys = vec![];
        while event::poll(Duration::ZERO)? {
            match event::read()? {
                Event::Key(key) if key.kind == KeyEventKind::Press => keys.push(key),
                // Everything is drawn anew anyway.
                Event::Resize(..) => self.drawn = None,
                _ => {}
            }
        }
        Ok(keys)
    }
}

/// Whether a key ends the program.
pub fn ends(key: &KeyEvent) -> bool {
    let interrupt = key.modifiers.contains(KeyModifiers::CONTROL) && key.code == KeyCode::Char('c');
    interrupt || matches!(key.code, KeyCode::Char('q') | KeyCode::Esc)
}

impl Drop for Screen {
    fn drop(&mut self) {
        // Where the terminal is gone there is nothing to give back.
        let _ = ratatui::try_restore();
    }
}
