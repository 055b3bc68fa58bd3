//! How far the work is: a line on standard error, only on a terminal and only where it takes a while.
use std::fmt::Write;
use std::io::{IsTerminal, stderr};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};

/// Nothing is shown before this has passed, so that short clips do not flicker.
const PATIENCE: Duration = Duration::from_millis(400);

/// The progress line of one command.
pub struct Progress {
    bar: ProgressBar,
    begin: Instant,
    shown: OnceLock<()>,
    /// Sound heard so far in all clips, in milliseconds.
    heard: AtomicU64,
}

impl Progress {
    /// For a number of clips.
    pub fn new(clips: usize) -> Progress {
        let bar = ProgressBar::with_draw_target(Some(clips as u64), ProgressDrawTarget::hidden());
        let layout = if clips > 1 {
            "[{bar:24}] {pos} of {len} clips, {left}{msg}"
        } else {
            "{spinner} {msg}"
        };
        if let Ok(style) = ProgressStyle::with_template(layout) {
            let style = style.with_key("left", |state: &ProgressState, out: &mut dyn Write| {
                // Before the first clip is done nothing can be said.
                let _ = match state.pos() {
                    0 => Ok(()),
                    _ => write!(out, "{:#} left, ", HumanDuration(state.eta())),
                };
            });
            bar.set_style(style.progress_chars("=> "));
        }
        Progress {
            bar,
            begin: Instant::now(),
            shown: OnceLock::new(),
            heard: AtomicU64::new(0),
        }
    }

    /// So many more seconds of sound have been heard.
    pub fn heard(&self, seconds: f64) {
        let more = (seconds * 1e3) as u64;
        let heard = self.heard.fetch_add(more, Ordering::Relaxed) + more;
        if self.begin.elapsed() < PATIENCE || !stderr().is_terminal() {
            return;
        }
        self.shown
            .get_or_init(|| self.bar.set_draw_target(ProgressDrawTarget::stderr()));
        self.bar.set_message(format!(
            "heard {} of sound",
            HumanDuration(Duration::from_millis(heard))
        ));
        self.bar.tick();
    }

    /// A clip is done; `print` may write without tearing the line.
    pub fn done<T>(&self, print: impl FnOnce() -> T) -> T {
        let result = self.bar.suspend(print);
        self.bar.inc(1);
        result
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
