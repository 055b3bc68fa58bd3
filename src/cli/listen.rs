//! `listen`: live sound in, readings out as they come.
use std::io::{IsTerminal, StdoutLock, Write, stdout};
use std::time::Duration;

use super::exit::Outcome;
use super::listen_flags::Listen;
use super::live_flags;
use super::panel::Panel;
use super::profile::known;
use super::screen::{self, Screen};
use super::terminal::{look, note, print};
use super::trouble::Trouble;
use crate::capture::{Live, Meter, Notice, Piece, Recording};
use crate::procedure::Heard;
use crate::report::Look;
use crate::session::{Event, Hearing, Session};
use crate::units::Seconds;

/// How long sound is waited for before keys are looked at again.
const WAIT: Duration = Duration::from_millis(20);

/// Where the readings go.
enum View {
    /// A screen.
    Screen(Box<Screen>, Look),
    /// Lines of text, one for so much sound; when the next one is due.
    Lines { every: f64, due: f64 },
    /// Lines of data.
    Data(StdoutLock<'static>, Vec<u8>),
}

/// Runs the command.
pub fn listen(arguments: &Listen) -> Result<Outcome, Trouble> {
    if arguments.list_mics {
        print(&live_flags::list()?)?;
        return Ok(Outcome::Read);
    }
    let machine = known(&arguments.known)?;
    let source = arguments.sound.source()?;
    let recording = arguments.sound.recording()?;
    let name = arguments.sound.name();
    let trouble = |fault| Trouble::fault(Some(&name), &fault);
    let mut live = Live::open(&source).map_err(trouble)?;
    let facts = live.facts().clone();
    let hearing = Hearing::new(facts.sample_rate, facts.channels, &machine).map_err(trouble)?;
    let kept = recording
        .map(|(path, kind)| live_flags::record(path, kind, &facts))
        .transpose()?;
    let path = arguments.sound.record.as_ref();
    let title = match &arguments.sound.from {
        Some(_) => name.clone(),
        None => facts.format.clone(),
    };
    let kept_in = path.map(|path| path.to_string_lossy().into_owned());
    let mut ear = Ear {
        hearing,
        meter: Meter::new(facts.sample_rate, facts.channels),
        kept,
        panel: Panel::new(title, kept_in, &machine),
        view: view(arguments)?,
        heard: vec![],
        engine: false,
    };
    ear.begin()?;
    let frame = facts.channels;
    let most = arguments
        .seconds
        .map(|seconds| (seconds * f64::from(facts.sample_rate)).ceil() as usize * frame);
    let mut taken = 0;
    let mut block = vec![];
    let mut failed = None;
    while most.is_none_or(|most| taken < most) {
        match live.next(WAIT, &mut block) {
            Ok(Piece::Sound) => {
                block.truncate(most.map_or(block.len(), |most| most - taken));
                taken += block.len();
                let frames = (taken / frame) as f64;
                ear.panel.now = Seconds(frames / f64::from(facts.sample_rate));
                ear.take(&block)?;
            }
            Ok(Piece::Nothing) => {}
            Ok(Piece::Told(notice)) => ear.told(&notice),
            Ok(Piece::End) => break,
            Err(fault) => {
                failed = Some(trouble(fault));
                break;
            }
        }
        ear.panel.condition = live.condition();
        ear.panel.dropped = live.dropped();
        if !ear.show()? {
            break;
        }
    }
    ear.finish()?;
    match failed {
        Some(failed) => Err(failed),
        None if ear.engine => Ok(Outcome::Read),
        None => Ok(Outcome::NoEngine),
    }
}

fn view(arguments: &Listen) -> Result<View, Trouble> {
    if arguments.events.is_some() {
        return Ok(View::Data(stdout().lock(), vec![]));
    }
    if arguments.plain || !stdout().is_terminal() {
        let every = arguments.every;
        return Ok(View::Lines { every, due: every });
    }
    Ok(View::Screen(Box::new(Screen::open()?), look()))
}

/// Everything that the sound goes through.
struct Ear {
    hearing: Hearing,
    meter: Meter,
    kept: Option<Recording>,
    panel: Panel,
    view: View,
    heard: Vec<Heard>,
    /// Whether an engine was heard at all.
    engine: bool,
}

impl Ear {
    fn begin(&mut self) -> Result<(), Trouble> {
        if let View::Data(out, _) = &mut self.view {
            serde_json::to_writer(&mut *out, &Session::start()).map_err(std::io::Error::from)?;
            out.write_all(b"\n")?;
            out.flush()?;
        }
        Ok(())
    }

    fn take(&mut self, block: &[f32]) -> Result<(), Trouble> {
        if let Some(kept) = &mut self.kept
            && let Err(error) = kept.push(block)
        {
            self.lose_recording(&error);
        }
        self.hearing.push(block, &mut self.heard);
        self.meter.push(block);
        self.panel.level = self.meter.level();
        self.spread()
    }

    /// Passes on what was heard.
    fn spread(&mut self) -> Result<(), Trouble> {
        for heard in self.heard.drain(..) {
            self.engine |= heard.frame.speed.is_ok();
            self.panel.hear(heard);
            if let View::Data(_, text) = &mut self.view {
                serde_json::to_writer(&mut *text, &Event::reading(&heard))
                    .map_err(std::io::Error::from)?;
                text.push(b'\n');
            }
        }
        if let View::Data(out, text) = &mut self.view {
            out.write_all(text)?;
            out.flush()?;
            text.clear();
        }
        Ok(())
    }

    /// The recording ends, the listening does not.
    fn lose_recording(&mut self, error: &std::io::Error) {
        self.kept = None;
        let words = format!(
            "the sound is no longer kept: {}",
            super::trouble::reason(error)
        );
        self.say(
            &words,
            Some("make room on the disk; what was kept so far can be played"),
        );
    }

    fn told(&mut self, notice: &Notice) {
        self.say(&notice.to_string(), notice.hint().as_deref());
    }

    fn say(&mut self, words: &str, hint: Option<&str>) {
        match &self.view {
            View::Screen(..) => {
                let hint = hint.map(|hint| format!(": {hint}")).unwrap_or_default();
                self.panel.tell(&format!("{words}{hint}"));
            }
            View::Lines { .. } | View::Data(..) => note(words, hint),
        }
    }

    /// Shows the state where it is time to; `false` where the technician ends it.
    fn show(&mut self) -> Result<bool, Trouble> {
        let panel = &self.panel;
        match &mut self.view {
            View::Screen(screen, look) => {
                screen.draw(|frame| panel.draw(frame, look))?;
                return Ok(!screen.keys()?.iter().any(screen::ends));
            }
            View::Lines { every, due } => {
                if panel.now.0 >= *due {
                    *due = (panel.now.0 / *every).floor() * *every + *every;
                    print(&format!("{}\n", panel.line()))?;
                }
            }
            View::Data(..) => {}
        }
        Ok(true)
    }

    /// Ends the sound and the recording.
    fn finish(&mut self) -> Result<(), Trouble> {
        self.hearing.finish(&mut self.heard);
        self.spread()?;
        let Some(kept) = self.kept.take() else {
            return Ok(());
        };
        let lost = kept.lost();
        if let Err(error) = kept.finish() {
            self.lose_recording(&error);
        } else if lost.0 > 0.0 {
            let words = format!("the disk was too slow: {lost} are missing in the recording");
            self.say(&words, Some("record to a faster disk"));
        }
        Ok(())
    }
}
