//! When it does not come right: what was found, and the likely faults in their order.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::outcome::OutcomeFault;
use super::stage::{Next, StageKind};
use super::task::{Report, Task};
use crate::guide::FaultId;

/// What no screw explains.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub(super) enum Symptom {
    /// Does not start, or does not keep running.
    WillNotRun,
    /// No fastest idle within a turn of the low-speed screw.
    NoPeak,
    /// The low-speed screw ends far from its base.
    LowFarFromBase,
    /// No burble however rich.
    NoBurble,
    /// The same, and slow.
    CleanButSlow,
    /// Slow though it is set right.
    Slow,
    /// Too fast whatever the screw.
    TooFast,
    /// The same, and no burble was ever heard.
    TooFastClean,
    /// The high-speed screw ends far from its base.
    HighFarFromBase,
    /// Speed falls while the throttle is held open.
    Fades,
    /// The burble goes and the speed rises while the throttle is held open.
    CleansUp,
    /// Idle swings.
    Hunting,
    /// Idle comes back late.
    Hanging,
    /// Bogs when the throttle is opened.
    Bog,
    /// The attachment turns though the idle is slow.
    AttachmentTurning,
    /// Idle cannot be brought down.
    IdleHigh,
    /// Idle cannot be brought up.
    IdleLow,
    /// More rounds than help.
    Rounds,
}

/// The stop, and whether it was repaired.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Stuck {
    /// The step that is gone back to after the repair.
    pub(super) from: Option<StageKind>,
}

impl Stuck {
    pub(super) fn next(&mut self, report: Report) -> Next {
        match report {
            Report::Begin => Next::Do(Task::Repair),
            // Repaired: back to where it left off.
            _ => Next::Done,
        }
    }
}

impl Symptom {
    pub(super) const ALL: [Symptom; 18] = [
        Symptom::WillNotRun,
        Symptom::NoPeak,
        Symptom::LowFarFromBase,
        Symptom::NoBurble,
        Symptom::CleanButSlow,
        Symptom::Slow,
        Symptom::TooFast,
        Symptom::TooFastClean,
        Symptom::HighFarFromBase,
        Symptom::Fades,
        Symptom::CleansUp,
        Symptom::Hunting,
        Symptom::Hanging,
        Symptom::Bog,
        Symptom::AttachmentTurning,
        Symptom::IdleHigh,
        Symptom::IdleLow,
        Symptom::Rounds,
    ];

    /// The faults behind it, the likeliest first (common practice, no source).
    pub(super) fn faults(self) -> &'static [FaultId] {
        use FaultId as F;
        match self {
            Symptom::WillNotRun => &[
                F::FuelStarvation,
                F::AirLeak,
                F::Ignition,
                F::CarburetorDirt,
                F::Compression,
            ],
            Symptom::NoPeak | Symptom::LowFarFromBase => &[
                F::AirLeak,
                F::FuelStarvation,
                F::CarburetorDirt,
                F::TankVent,
            ],
            Symptom::NoBurble => &[
                F::AirLeak,
                F::FuelStarvation,
                F::Attachment,
                F::TankVent,
                F::CarburetorDirt,
            ],
            Symptom::HighFarFromBase => &[
                F::AirLeak,
                F::FuelStarvation,
                F::CarburetorDirt,
                F::TankVent,
            ],
            Symptom::CleanButSlow | Symptom::Fades => &[
                F::FuelStarvation,
                F::AirLeak,
                F::MufflerScreen,
                F::TankVent,
                F::CarburetorDirt,
            ],
            Symptom::CleansUp => &[
                F::FuelStarvation,
                F::TankVent,
                F::AirLeak,
                F::CarburetorDirt,
            ],
            Symptom::Slow => &[
                F::MufflerScreen,
                F::Attachment,
                F::FuelStarvation,
                F::Compression,
                F::ThrottleLinkage,
            ],
            Symptom::TooFast => &[F::Attachment, F::AirLeak, F::LimiterCoil],
            Symptom::TooFastClean => {
                &[F::AirLeak, F::Attachment, F::FuelStarvation, F::LimiterCoil]
            }
            Symptom::Hunting => &[
                F::AirLeak,
                F::FuelStarvation,
                F::TankVent,
                F::CarburetorDirt,
            ],
            Symptom::Hanging => &[
                F::AirLeak,
                F::FuelStarvation,
                F::ThrottleLinkage,
                F::CarburetorDirt,
            ],
            Symptom::Bog => &[
                F::FuelStarvation,
                F::AirLeak,
                F::MufflerScreen,
                F::CarburetorDirt,
            ],
            Symptom::AttachmentTurning => &[F::Clutch, F::AirLeak, F::ThrottleLinkage],
            Symptom::IdleHigh => &[F::AirLeak, F::ThrottleLinkage, F::CarburetorDirt],
            Symptom::IdleLow => &[
                F::MufflerScreen,
                F::FuelStarvation,
                F::CarburetorDirt,
                F::Compression,
            ],
            Symptom::Rounds => &[
                F::AirLeak,
                F::FuelStarvation,
                F::CarburetorDirt,
                F::Ignition,
            ],
        }
    }

    /// What was found, as a sentence.
    pub(super) fn words(self) -> &'static str {
        match self {
            Symptom::WillNotRun => "It does not start, or does not keep running",
            Symptom::NoPeak => "The low-speed screw has no fastest idle within a turn",
            Symptom::LowFarFromBase => "The low-speed screw ends far out from its base",
            Symptom::NoBurble => "No burble at full throttle, however far out the high-speed screw",
            Symptom::CleanButSlow => {
                "Clean but slow at full throttle, however far out the high-speed screw"
            }
            Symptom::Slow => "Set right at full throttle, and yet slower than the maker says",
            Symptom::TooFast => "Over the maximum, whatever the high-speed screw",
            Symptom::TooFastClean => {
                "Over the maximum without a burble, however far out the high-speed screw"
            }
            Symptom::HighFarFromBase => "The high-speed screw ends far out from its base",
            Symptom::Fades => "The speed falls while the throttle is held open",
            Symptom::CleansUp => {
                "The burble goes and the speed rises while the throttle is held open, though no screw was turned"
            }
            Symptom::Hunting => "The idle swings",
            Symptom::Hanging => "The idle comes back late after full throttle",
            Symptom::Bog => "It does not take the throttle",
            Symptom::AttachmentTurning => {
                "The attachment turns below 1.25 times the idle (ISO 11806-1, ISO 11681-1, from memory)"
            }
            Symptom::IdleHigh => "The idle cannot be brought down",
            Symptom::IdleLow => "The idle cannot be brought up",
            Symptom::Rounds => "It does not come right after several rounds",
        }
    }
}

/// The likely faults: those of the symptom, ordered also by the signs seen on the way.
pub(super) fn faults(symptom: Symptom, book: &Book) -> Vec<OutcomeFault> {
    let mut found: Vec<(FaultId, f64, Symptom)> = vec![];
    let signs = book.signs.iter().filter(|sign| **sign != symptom);
    let all = std::iter::once((symptom, 3.0)).chain(signs.map(|sign| (*sign, 1.0)));
    for (seen, weight) in all {
        for (rank, id) in seen.faults().iter().enumerate() {
            let points = weight / (1.0 + rank as f64);
            match found.iter_mut().find(|(known, ..)| known == id) {
                Some((_, sum, _)) => *sum += points,
                None => found.push((*id, points, seen)),
            }
        }
    }
    found.sort_by(|a, b| b.1.total_cmp(&a.1));
    found
        .into_iter()
        .map(|(id, _, seen)| OutcomeFault {
            id,
            why: format!("{}: {}", seen.words(), id.what()),
        })
        .collect()
}
