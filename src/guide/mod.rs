//! Advice: which screw, which way, how far, and what never to do.
mod advice;
mod caution;
mod fault;
mod screw;
mod turn;

pub use advice::{
    Advice, Caution, Danger, DangerId, Fault, Move, Question, Reason, ReasonId, Verdict,
};
pub use caution::CautionId;
pub use fault::FaultId;
pub use screw::{Direction, Screw};
pub use turn::Turn;

use crate::machine::Profile;
use crate::reading::Reading;

/// Advice for one clip.
pub fn advise(_reading: &Reading, _machine: &Profile) -> Advice {
    Advice {
        verdict: Verdict::NotReadable,
        headline: String::new(),
        dangers: Vec::new(),
        moves: Vec::new(),
        faults: Vec::new(),
        notes: Vec::new(),
        questions: Vec::new(),
        recording: Vec::new(),
        cautions: Vec::new(),
    }
}
