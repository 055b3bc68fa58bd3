//! Keeps asking the sound server which source is heard, on a thread of its own.
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::thread;
use std::time::Duration;

use super::server::{Line, Seen};

/// How often the server is asked.
const EVERY: Duration = Duration::from_millis(300);

/// Asks as long as it lives.
pub(super) struct Watch(Arc<Mutex<Option<Seen>>>);

impl Watch {
    pub(super) fn start() -> Watch {
        let seen = Arc::new(Mutex::new(None));
        let told = Arc::downgrade(&seen);
        thread::spawn(move || {
            // A machine without a server is asked again, since one may be started.
            while told.strong_count() > 0 {
                if let Ok(mut line) = Line::open() {
                    while let (Ok(new), true) = (line.ask(), told.strong_count() > 0) {
                        tell(&told, new);
                        thread::sleep(EVERY);
                    }
                }
                tell(&told, None);
                thread::sleep(EVERY);
            }
        });
        Watch(seen)
    }

    /// What was seen last; none without a server, or while it records nothing for this program.
    pub(super) fn seen(&self) -> Option<Seen> {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }
}

fn tell(told: &Weak<Mutex<Option<Seen>>>, new: Option<Seen>) {
    if let Some(seen) = told.upgrade() {
        *seen.lock().unwrap_or_else(PoisonError::into_inner) = new;
    }
}
