//! Cautions that stand beside every advice.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::advice::Caution;
use crate::machine::{Carburetor, Profile, Use};

/// A caution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CautionId {
    /// The maker's manual and local rules come first.
    MakerFirst,
    /// Eyes, ears, gloves, boots.
    EyesAndEars,
    /// Nobody within 15 m.
    ClearZone,
    /// Outdoors only: carbon monoxide.
    Outdoors,
    /// Muffler and cylinder burn.
    HotMuffler,
    /// Attachment fitted as in use, guard on, clear of everything.
    Attachment,
    /// Full throttle without load 10 s at most, then rest.
    FullThrottleTime,
    /// Inside the travel of the limiter caps.
    LimiterCaps,
}

impl CautionId {
    /// All of them, in the order in which they are given.
    pub const ALL: [CautionId; 8] = [
        CautionId::MakerFirst,
        CautionId::EyesAndEars,
        CautionId::ClearZone,
        CautionId::Outdoors,
        CautionId::Attachment,
        CautionId::HotMuffler,
        CautionId::FullThrottleTime,
        CautionId::LimiterCaps,
    ];

    fn words(self, machine: &Profile) -> String {
        match self {
            CautionId::MakerFirst => "The maker's manual and local rules come before anything \
                 said here; when in doubt, stop and leave it to a licensed workshop"
                .into(),
            CautionId::EyesAndEars => {
                "Wear eye and ear protection, gloves and boots; a saw or trimmer at full throttle \
                 harms unprotected ears within minutes"
                    .into()
            }
            CautionId::ClearZone => {
                "Nobody else within 15 m; stop the engine when somebody comes nearer".into()
            }
            CautionId::Outdoors => {
                "Run the engine outdoors only: its exhaust holds carbon monoxide, which kills \
                 indoors within minutes, even with doors open"
                    .into()
            }
            CautionId::HotMuffler => {
                "Muffler and cylinder burn long after the engine has stopped; keep hands, \
                 microphone and its cable away from them and from the exhaust stream"
                    .into()
            }
            CautionId::Attachment => attachment(machine.used_for),
            CautionId::FullThrottleTime => {
                "Full throttle without load for at most 10 s, then idle at least as long".into()
            }
            CautionId::LimiterCaps => match machine.carburetor {
                Some(Carburetor::Automatic) => {
                    "Do not open or defeat a carburetor that sets its mixture itself".into()
                }
                _ => "Stay inside the travel of the limiter caps and never force a screw; going \
                     further is for a dealer under local rules, and the caps go back on"
                    .into(),
            },
        }
    }
}

fn attachment(used_for: Option<Use>) -> String {
    match used_for {
        Some(Use::TrimmerHead) => {
            "Head, guard and line fitted as in use, line about 25 mm short of its longest; hold it \
             clear of the ground and of yourself, and stop the engine before reaching for the head"
        }
        Some(Use::BrushBlade) => {
            "Blade and guard fitted as in use; hold it clear of the ground and of yourself, and \
             stop the engine before reaching for the blade"
        }
        Some(Use::Saw) => {
            "Bar and chain fitted, machine firmly held or on clear ground; chain brake on at idle, \
             off and the chain clear of everything before full throttle"
        }
        Some(Use::Blower) => {
            "Tubes and nozzle fitted as in use, intake screen on; never point the stream at anybody"
        }
        Some(Use::Hedge) => {
            "Blades and guard fitted as in use; hold them clear of everything, and stop the engine \
             before reaching for them"
        }
        None => {
            "Attachment and guard fitted as in use, clear of the ground and of yourself; stop the \
             engine before reaching for the attachment"
        }
    }
    .into()
}

/// The cautions for a machine; all of them, always.
pub fn cautions(machine: &Profile) -> Vec<Caution> {
    CautionId::ALL
        .map(|id| Caution {
            id,
            words: id.words(machine),
        })
        .to_vec()
}
