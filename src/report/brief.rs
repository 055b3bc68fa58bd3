//! What a summary keeps of one clip, and the clip as one line of text.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::look::{Look, Tone};
use super::result::Report;
use super::words::{firing, grouped, percent, shown};
use crate::firing::FiringKind;
use crate::guide::{Advice, DangerId, Direction, ReasonId, Screw, Verdict};
use crate::reading::Plateau;
use crate::units::{Rpm, Seconds};

/// What a clip comes to, in a word; the worst first, which is the order of a summary.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Finding {
    /// Full throttle is faster than the maker's maximum, certainly or possibly.
    OverMaximum,
    /// The attachment turns at idle or keeps turning, certainly or possibly.
    AttachmentMoves,
    /// No screw explains what was heard: stop and look for a fault.
    Fault,
    /// No burble at full throttle: it may be too lean.
    NoBurble,
    /// The ignition limiter is heard, under which the mixture cannot be judged.
    Limiter,
    /// A screw is to be turned, for another reason.
    Turn,
    /// The clip could not be read.
    Broken,
    /// The clip was read, but no engine is readable in it.
    NotReadable,
    /// Something must be known or heard first.
    Ask,
    /// What was heard needs no turn.
    Leave,
}

impl Finding {
    fn of(report: &Report) -> Finding {
        let advice = &report.advice;
        let danger = |over: bool| {
            let mut ids = advice.dangers.iter().map(|danger| danger.id);
            ids.any(|id| (id == DangerId::OverMaximum) == over)
        };
        let full = report.reading.full_throttle.as_ref();
        let limiter = full.is_some_and(|full| full.firing == FiringKind::Limiter);
        if danger(true) {
            Finding::OverMaximum
        } else if danger(false) {
            Finding::AttachmentMoves
        } else if advice.verdict == Verdict::Stop {
            Finding::Fault
        } else if says(advice, ReasonId::NoBurble) {
            Finding::NoBurble
        } else if limiter || says(advice, ReasonId::LimiterHeard) {
            Finding::Limiter
        } else if !report.heard_engine() {
            Finding::NotReadable
        } else {
            match advice.verdict {
                Verdict::Turn => Finding::Turn,
                Verdict::Ask => Finding::Ask,
                Verdict::NotReadable => Finding::NotReadable,
                Verdict::Danger | Verdict::Stop | Verdict::Leave => Finding::Leave,
            }
        }
    }

    /// In a few words.
    pub fn words(self) -> &'static str {
        match self {
            Finding::OverMaximum => "over the maximum",
            Finding::AttachmentMoves => "the attachment moves",
            Finding::Fault => "no screw explains it",
            Finding::NoBurble => "no burble, may be lean",
            Finding::Limiter => "on the limiter",
            Finding::Turn => "a screw to turn",
            Finding::Broken => "cannot be read",
            Finding::NotReadable => "no engine readable",
            Finding::Ask => "a question first",
            Finding::Leave => "nothing to turn",
        }
    }

    pub(super) fn tone(self) -> Tone {
        match self {
            Finding::OverMaximum | Finding::AttachmentMoves | Finding::Fault => Tone::Alarming,
            Finding::NoBurble | Finding::Limiter | Finding::Turn | Finding::Broken => Tone::Notable,
            Finding::NotReadable | Finding::Ask => Tone::Faint,
            Finding::Leave => Tone::Calm,
        }
    }
}

fn says(advice: &Advice, id: ReasonId) -> bool {
    let moves = advice.moves.iter().flat_map(|turn| &turn.reasons);
    let mut reasons = advice.notes.iter().chain(moves);
    reasons.any(|reason| reason.id == id) || advice.faults.iter().any(|fault| fault.reason == id)
}

/// What a summary keeps of one clip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Brief {
    /// The machine's tag.
    pub machine: String,
    /// Whether anything was audible as an engine.
    pub engine: bool,
    /// Length of the sound that was read.
    pub heard: Seconds,
    /// How much of it has a readable speed.
    pub readable: Seconds,
    /// Idle.
    pub idle: Option<Rpm>,
    /// Full throttle.
    pub full_throttle: Option<Rpm>,
    /// What it comes to.
    pub finding: Finding,
    /// Why it could not be read.
    pub broken: Option<String>,
}

impl Brief {
    /// Of a clip of the machine with this tag.
    pub fn of(machine: &str, report: &Report) -> Brief {
        let reading = &report.reading;
        let speed = |plateau: &Option<Plateau>| plateau.as_ref().map(|plateau| plateau.rpm);
        Brief {
            machine: machine.into(),
            engine: report.heard_engine(),
            heard: reading.heard,
            readable: reading.readable,
            idle: speed(&reading.idle),
            full_throttle: speed(&reading.full_throttle),
            finding: Finding::of(report),
            broken: None,
        }
    }

    /// Of a clip that could not be read, with the reason in one line.
    pub fn broken(machine: &str, words: &str) -> Brief {
        Brief {
            machine: machine.into(),
            engine: false,
            heard: Seconds(0.0),
            readable: Seconds(0.0),
            idle: None,
            full_throttle: None,
            finding: Finding::Broken,
            broken: Some(words.into()),
        }
    }
}

/// The head over the lines of many clips.
pub(super) fn head(look: &Look) -> String {
    let text = format!(
        "{:>8}  {:>8}  {:<14}{:>6}  {:<30}  clip",
        "idle rpm", "full rpm", "firing", "skips", "what it comes to"
    );
    look.paint(Tone::Faint, &text) + "\n"
}

/// One clip as one line, ending with a line break: speeds, the firing at full throttle (or at idle
/// where there is no full throttle), what it comes to, the clip.
pub(super) fn line(report: &Report, look: &Look) -> String {
    let reading = &report.reading;
    let rpm = |plateau: Option<&Plateau>| plateau.map_or("-".into(), |p| grouped(p.rpm.0));
    let (idle, full) = (reading.idle.as_ref(), reading.full_throttle.as_ref());
    let judged = full.or(idle);
    let skips = judged.and_then(|plateau| plateau.skip_ratio);
    let finding = Finding::of(report);
    let what = format!("{:<30}", words(finding, report));
    format!(
        "{:>8}  {:>8}  {:<14}{:>6}  {}  {}\n",
        rpm(idle),
        rpm(full),
        judged.map_or("-", |plateau| firing(plateau.firing)),
        skips.map_or(String::new(), percent),
        look.paint(finding.tone(), &what),
        shown(&report.clip.path)
    )
}

fn words(finding: Finding, report: &Report) -> String {
    match (finding, report.advice.moves.first()) {
        (Finding::Turn, Some(turn)) => {
            let screw = match turn.screw {
                Screw::High => "high",
                Screw::Low => "low",
                Screw::Idle => "idle",
            };
            let way = match turn.direction {
                Direction::In => "in",
                Direction::Out => "out",
            };
            format!("{screw}: {} {way}", turn.turns)
        }
        _ => finding.words().into(),
    }
}
