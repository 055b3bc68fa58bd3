//! All words of the procedure.
use super::facts::Facts;
use super::prompt::Reference;
use super::stage::StageKind;
use super::task::{CheckItem, Task};
use crate::guide::trade::{CLEAR_ZONE_M, LINE_SHORT_MM};
use crate::guide::{Direction, Screw, Turn};
use crate::machine::{Carburetor, Use};

/// What a prompt is about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cue {
    Task(Task),
    /// The throttle is closed.
    Close,
    /// The same, at once.
    CloseNow,
    /// Over the maximum: richer before anything else.
    RicherNow(Turn),
    /// The reading was lost with the throttle open.
    Over,
    /// The reading was lost.
    Lost,
    Paused,
    /// There are no screws that can be set by ear.
    NoScrews,
    Finished,
}

/// The step as a word in data.
pub(super) fn slug(stage: StageKind) -> &'static str {
    match stage {
        StageKind::Checks => "checks",
        StageKind::Base => "base",
        StageKind::Start => "start",
        StageKind::Warm => "warm-up",
        StageKind::Edge => "edge",
        StageKind::Low => "low-speed",
        StageKind::Settle => "idle",
        StageKind::High => "high-speed",
        StageKind::Proof => "proof",
        StageKind::Rescue => "restart",
        StageKind::Stuck => "stopped",
    }
}

/// The step as a heading.
pub(super) fn title(stage: StageKind) -> &'static str {
    match stage {
        StageKind::Checks => "Before a screw is touched",
        StageKind::Base => "Base settings",
        StageKind::Start => "Start",
        StageKind::Warm => "Warm up",
        StageKind::Edge => "Where the attachment begins to turn",
        StageKind::Low => "Low-speed screw",
        StageKind::Settle => "Idle-speed screw",
        StageKind::High => "High-speed screw",
        StageKind::Proof => "Proof",
        StageKind::Rescue => "Start again",
        StageKind::Stuck => "When it does not come right",
    }
}

/// What the step is for, and when it is done.
pub(super) fn aim(stage: StageKind, facts: &Facts) -> String {
    match stage {
        StageKind::Checks => {
            "Dirt, old fuel and leaks mimic a bad setting; look for them first".into()
        }
        StageKind::Base => {
            "A setting from which every such engine runs; the maker's figure wins".into()
        }
        StageKind::Start => "The engine keeps running, and the attachment stands still".into(),
        StageKind::Warm => "Warm when the idle no longer changes from one look to the next".into(),
        StageKind::Edge => {
            "Faster until the attachment just turns, then back until it stands still".into()
        }
        StageKind::Low => match facts.carburetor {
            Carburetor::BarrelValve => {
                "To the fastest idle: past it the idle falls on both sides. No richer than that"
                    .into()
            }
            _ => "To the fastest idle: past it the idle falls on both sides. Then an eighth to a \
                  quarter richer, until the note settles"
                .into(),
        },
        StageKind::Settle => format!(
            "Idle between {:.0} and {:.0} rpm, attachment still",
            facts.idle.0, facts.idle.1
        ),
        StageKind::High => {
            let limit = facts
                .maximum
                .map_or_else(String::new, |most| format!(", never over {most:.0} rpm"));
            let ceiling = match facts.coil {
                crate::machine::Coil::Plain => "",
                _ => {
                    ". A coil with a limiter stutters at its ceiling: judge 300 to 500 rpm below \
                      it, and never lean through the stutter"
                }
            };
            format!(
                "From rich, in until four-stroking only just begins{limit}; it moves at idle, \
                 between two looks of a few seconds{ceiling}"
            )
        }
        StageKind::Proof => "Each line measured; what is outside sends back to its screw".into(),
        StageKind::Rescue => "The engine runs again, and the step goes on".into(),
        StageKind::Stuck => "Stop, look for the fault, and go on where it was left".into(),
    }
}

/// What is said.
pub(super) fn say(stage: StageKind, cue: &Cue, facts: &Facts) -> String {
    match cue {
        Cue::Task(task) => of_task(stage, task, facts),
        Cue::Close => "Close the throttle".into(),
        Cue::CloseNow => "Over the maximum: close the throttle now".into(),
        Cue::RicherNow(turns) => format!(
            "Turn the high-speed screw {turns} {}: richer before the throttle opens again",
            Direction::Out
        ),
        Cue::Over => "The engine cannot be heard: close the throttle; everything waits".into(),
        Cue::Lost => {
            "The engine cannot be heard; everything waits. Move the microphone nearer, or \
                      say that it has stalled"
                .into()
        }
        Cue::Paused => "Paused: everything waits until you go on".into(),
        Cue::NoScrews => "This engine has no mixture screws that are set by ear; leave it to the \
                          maker's procedure"
            .into(),
        Cue::Finished => "Set and proved. Stop the engine, write the settings down, and put the \
                          limiter caps back on"
            .into(),
    }
}

fn of_task(stage: StageKind, task: &Task, facts: &Facts) -> String {
    match *task {
        Task::Check(item) => check(item, facts),
        Task::Found => "Write down where each screw stands: mixture screws in turns from lightly \
                        seated, then back where they were; idle-speed screw in turns from its first \
                        touch"
            .into(),
        Task::Set {
            screw, from, turns, ..
        } => set(screw, from, turns, facts),
        Task::Stop { wait } if wait > 0.0 => format!(
            "Stop the engine and let it stand hot, {wait:.0} s at least; three to five minutes prove \
             more"
        ),
        Task::Stop { .. } => "Stop the engine, and let the muffler cool before you reach near it".into(),
        Task::Start => match facts.used_for {
            Some(Use::Saw) => "Start the engine on the ground, chain brake on, and let it idle",
            _ => "Start the engine on clear ground, held firmly, and let it idle, choke off as soon \
                  as it runs",
        }
        .into(),
        Task::Vary { seconds } => format!(
            "Warm up: vary the throttle between idle and half for {seconds:.0} s, never fully open"
        ),
        Task::Turn {
            screw,
            direction,
            turns,
        } => turn(stage, screw, direction, turns, facts),
        Task::TurnStopped {
            screw,
            direction,
            turns,
        } => format!("Engine off: turn the {screw} {turns} {direction}, for an idle that keeps running"),
        Task::Idle { seconds } => format!("Let it idle for {seconds:.0} s: listening"),
        Task::Attachment => "Does the attachment stand still?".into(),
        Task::Full { .. } => match facts.used_for {
            Some(Use::Saw) => {
                "Chain brake off, chain clear: full throttle, and hold it until you are told to close"
            }
            _ => "Full throttle, clear of everything, and hold it until you are told to close",
        }
        .into(),
        Task::Snap => "Snap to full throttle, hold it for a second and a half, and let go".into(),
        Task::Enrich { turns } => say(stage, &Cue::RicherNow(turns), facts),
        Task::Repair => "It does not come right by screws: stop the engine and look for the faults \
                         that are named; go on after the repair"
            .into(),
    }
}

fn turn(
    stage: StageKind,
    screw: Screw,
    direction: Direction,
    turns: Turn,
    facts: &Facts,
) -> String {
    let name = name(screw, facts);
    let effect = match (screw, direction) {
        (Screw::Idle, Direction::In) => "faster",
        (Screw::Idle, Direction::Out) => "slower",
        (_, Direction::In) => "leaner",
        (_, Direction::Out) => "richer",
    };
    let more = match (stage, screw, direction) {
        (StageKind::High, Screw::High, Direction::In) => ". Stop at the end of its cap's travel",
        (StageKind::High, Screw::High, Direction::Out) => ". Not past the end of its cap's travel",
        _ => "",
    };
    format!("At idle, turn the {name} {turns} {direction}: {effect}{more}")
}

fn name(screw: Screw, facts: &Facts) -> &'static str {
    match (screw, facts.carburetor) {
        (Screw::Low, Carburetor::BarrelValve) => "low-speed screw (the needle's own)",
        (Screw::High, _) => "high-speed screw",
        (Screw::Low, _) => "low-speed screw",
        (Screw::Idle, _) => "idle-speed screw",
    }
}

fn set(screw: Screw, from: Reference, turns: Turn, facts: &Facts) -> String {
    let place = match (screw, facts.carburetor) {
        (Screw::Low, Carburetor::BarrelValve) => {
            "It sits in the top of the barrel, often under a plug"
        }
        (Screw::High, Carburetor::BarrelValve) => {
            "It sits at the side of the body; where the jet is fixed there is none"
        }
        (Screw::Low, _) => "It sits in the body, the one nearer to the engine",
        (Screw::High, _) => "It sits in the body, the one nearer to the air filter",
        (Screw::Idle, Carburetor::BarrelValve) => "It acts on the arm of the barrel",
        (Screw::Idle, _) => "It acts on the arm of the throttle plate",
    };
    let do_it = match from {
        Reference::Seat => format!(
            "Engine off: turn the {screw} in until it is lightly seated, never forced, then {turns} out"
        ),
        Reference::Touch => format!(
            "Engine off: turn the {screw} out until it is free, in to the first touch, then {turns} in"
        ),
        Reference::RichStop => {
            format!(
                "Engine off: turn the {screw} out to the rich end of its cap's travel, not past it"
            )
        }
        Reference::Here => format!("Engine off: turn the {screw} {turns}"),
    };
    format!("{do_it}. {place} (common practice, no source); the maker's figure wins")
}

fn check(item: CheckItem, facts: &Facts) -> String {
    match item {
        CheckItem::Safety => format!(
            "Outdoors, nobody within {CLEAR_ZONE_M:.0} m, eyes, ears, gloves and boots on; the maker's \
             manual and local rules come first"
        ),
        CheckItem::AirFilter => "Air filter clean, its cover on".into(),
        CheckItem::Fuel => "Fresh mix, at most 30 days old, in the maker's ratio; tank full".into(),
        CheckItem::FuelFilter => {
            "Fuel filter clean, fuel line soft and without cracks, primer bulb \
                                  without bubbles"
                .into()
        }
        CheckItem::Vent => "Tank vent open: with a loosened cap nothing hisses".into(),
        CheckItem::Plug => "Plug dry and tan, gap 0.6 to 0.7 mm or the maker's".into(),
        CheckItem::Screen => "Spark-arrestor screen clean, exhaust port free; muffler cold".into(),
        CheckItem::Leaks => "Carburetor and intake tight, no wet or dusty trace of a leak".into(),
        CheckItem::Attachment => match facts.used_for {
            Some(Use::TrimmerHead) => format!(
                "Head and guard fitted as in use, line about {LINE_SHORT_MM:.0} mm short of its \
                 longest on both sides"
            ),
            Some(Use::Saw) => "Bar and chain fitted, chain tension right, brake working".into(),
            Some(Use::Blower) => "Tubes and nozzle fitted as in use".into(),
            Some(Use::BrushBlade) => "Blade and guard fitted as in use, blade undamaged".into(),
            Some(Use::Hedge) => "Blades and guard fitted as in use".into(),
            None => format!(
                "Attachment and guard fitted as in use; a line about {LINE_SHORT_MM:.0} mm short of \
                 its longest"
            ),
        },
        CheckItem::Caps => {
            "Limiter caps stay on: work inside their travel; more is for a dealer and \
                            local rules, and caps go back on"
                .into()
        }
    }
}
