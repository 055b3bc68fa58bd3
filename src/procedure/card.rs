//! The procedure as a card: made by walking the state machine with an engine as in a textbook, so
//! that card and procedure cannot differ.
use super::begin::Begin;
use super::ear::Look;
use super::heard::Heard;
use super::machine::Procedure;
use super::stage::StageKind;
use super::stuck::Symptom;
use super::task::{Report, Snapped, Task};
use super::words::{self, Cue};
use crate::firing::{Firing, FiringKind};
use crate::guide::{FaultId, cautions};
use crate::machine::Profile;
use crate::reading::Frame;
use crate::tach::Speed;
use crate::units::{Decibels, Rpm, Seconds};

/// More tasks than any walk needs.
const MOST: usize = 400;

/// The procedure of one machine on paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// The technician's name of the machine.
    pub machine: Option<String>,
    /// Cautions, all of them.
    pub cautions: Vec<String>,
    /// Steps in the order in which they are first come to.
    pub steps: Vec<CardStep>,
    /// What may be found when it does not come right.
    pub symptoms: Vec<CardSymptom>,
    /// The check for each fault.
    pub checks: Vec<CardCheck>,
}

/// One step of the card.
#[derive(Clone, Debug, PartialEq)]
pub struct CardStep {
    /// Its word in prompts.
    pub step: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// When it is done.
    pub aim: String,
    /// What is asked, each once, in the order in which it first is.
    pub prompts: Vec<String>,
}

/// Something that no screw explains.
#[derive(Clone, Debug, PartialEq)]
pub struct CardSymptom {
    /// What is found.
    pub found: &'static str,
    /// The likely faults, the likeliest first.
    pub faults: Vec<String>,
}

/// A fault and its check.
#[derive(Clone, Debug, PartialEq)]
pub struct CardCheck {
    /// The fault, in a word or two.
    pub fault: String,
    /// What it is.
    pub what: &'static str,
    /// The check, with its value.
    pub check: &'static str,
}

impl Card {
    /// The card of a machine.
    pub fn of(machine: &Profile) -> Card {
        Card {
            machine: machine.name.clone(),
            cautions: cautions(machine).into_iter().map(|c| c.words).collect(),
            steps: walk(machine),
            symptoms: Symptom::ALL
                .iter()
                .map(|symptom| CardSymptom {
                    found: symptom.words(),
                    faults: symptom.faults().iter().map(|id| name(*id)).collect(),
                })
                .collect(),
            checks: FaultId::ALL
                .iter()
                .map(|id| CardCheck {
                    fault: name(*id),
                    what: id.what(),
                    check: id.check(),
                })
                .collect(),
        }
    }
}

/// Its word in data, as it is said.
fn name(id: FaultId) -> String {
    let word = serde_json::to_string(&id).unwrap_or_default();
    word.trim_matches('"').replace('-', " ")
}

fn walk(machine: &Profile) -> Vec<CardStep> {
    let mut procedure = Procedure::new(machine, Begin::default());
    let mut steps: Vec<CardStep> = vec![];
    let mut ended = procedure.begin_walk().is_some();
    for tick in 0..MOST {
        if ended {
            break;
        }
        let (stage, task) = procedure.at_work();
        note(&mut steps, stage, task, &procedure);
        let now = Seconds(20.0 * tick as f64);
        let engine = Textbook::of(&procedure);
        ended = procedure
            .walk(now, frame(now, engine.idle), engine.report(task))
            .is_some();
    }
    let facts = procedure.facts();
    let end = words::say(StageKind::Proof, &Cue::Finished, facts);
    if let Some(proof) = steps.iter_mut().find(|step| step.step == "proof") {
        proof.prompts.push(end);
    }
    if steps.is_empty() {
        steps.push(CardStep {
            step: words::slug(StageKind::Stuck),
            title: words::title(StageKind::Stuck),
            aim: words::say(StageKind::Stuck, &Cue::NoScrews, facts),
            prompts: vec![],
        });
    }
    steps
}

fn note(steps: &mut Vec<CardStep>, stage: StageKind, task: Task, procedure: &Procedure) {
    let facts = procedure.facts();
    let words = words::say(stage, &Cue::Task(task), facts);
    let slug = words::slug(stage);
    let known = steps.iter().position(|step| step.step == slug);
    let at = known.unwrap_or_else(|| {
        steps.push(CardStep {
            step: slug,
            title: words::title(stage),
            aim: words::aim(stage, facts),
            prompts: vec![],
        });
        steps.len() - 1
    });
    let step = &mut steps[at];
    if !step.prompts.contains(&words) {
        step.prompts.push(words);
    }
}

/// An engine as in a textbook: idle in range and onset of four-stroking a little beside the base.
struct Textbook {
    idle: f64,
    full: f64,
    skip: f64,
    turning: bool,
}

impl Textbook {
    fn of(procedure: &Procedure) -> Textbook {
        let facts = procedure.facts();
        let net = procedure.net_turns();
        let low = net.low - 0.1;
        let idle = facts.idle_goal() * (1.0 - 0.45 * net.idle - 0.9 * low * low);
        let clutch = facts.clutch_in.unwrap_or(f64::INFINITY);
        let rich = (net.high - 0.05).max(0.0);
        Textbook {
            idle,
            full: facts.maximum.unwrap_or(10_000.0) * (0.985 - 0.2 * rich),
            skip: (3.0 * rich).min(0.8),
            turning: idle > clutch,
        }
    }

    fn report(&self, task: Task) -> Report {
        let look = |rpm: f64, skip: f64| {
            Report::Heard(Look {
                rpm,
                spread: 0.003,
                drift: 0.0,
                skip: Some(skip),
                limiter: 0.0,
                seconds: 3.0,
                fallen: 0.0,
                cleaned: 0.0,
            })
        };
        match task {
            Task::Idle { .. } => look(self.idle, 0.0),
            Task::Full { .. } => look(self.full, self.skip),
            Task::Attachment => Report::Attachment(Some(self.turning), self.idle),
            Task::Snap => Report::Snapped(Snapped {
                rise: 0.4,
                dip: 0.0,
                back: 1.2,
            }),
            Task::Check(_)
            | Task::Found
            | Task::Set { .. }
            | Task::Stop { .. }
            | Task::Start
            | Task::Vary { .. }
            | Task::Turn { .. }
            | Task::TurnStopped { .. }
            | Task::Enrich { .. } => Report::Done,
            Task::Repair => Report::Cannot,
        }
    }
}

fn frame(now: Seconds, rpm: f64) -> Heard {
    Heard {
        frame: Frame {
            t: now,
            speed: Ok(Speed {
                rpm: Rpm(rpm),
                low: Rpm(rpm),
                high: Rpm(rpm),
                confidence: 1.0,
                other: None,
            }),
            firing: Firing {
                kind: FiringKind::Clean,
                skip_ratio: None,
                pattern: None,
                sub_order: None,
                variation: None,
            },
            level: Decibels(-20.0),
            clipped: 0.0,
        },
        skip_ratio: None,
    }
}
