//! Advice: which screw, which way, how far, and what never to do.
//!
//! In: the [`Reading`] of a clip (speeds in rpm, skip ratios 0 to 1) and the machine's
//! [`Profile`]. Out: an [`Advice`]: dangers first, then turns in eighths, the likely faults with
//! their checks, what must be known, how to record better, and always the cautions. Pure: no sound,
//! no clock, no terminal.
//!
//! The rules are the trade's (common practice, no source; see `trade` for their figures): one file
//! for each screw, `low` also for what no screw explains. When in doubt they err rich, slow and
//! stopped. Never advised: a leaner turn over the maximum, without a burble or in doubt; a turn of
//! a screw that the carburetor does not have; more than a quarter of a turn in one move. "Lean" is
//! never said from sound alone: what is heard is "no burble", and a burble is "rich or lightly
//! loaded".
mod advice;
mod case;
mod caution;
mod fault;
mod high;
mod idle;
mod low;
mod record;
mod screw;
pub mod trade;
mod turn;
mod verdict;

pub use advice::{
    Advice, Caution, Danger, DangerId, Fault, Move, Question, Reason, ReasonId, Verdict,
};
pub use caution::{CautionId, cautions};
pub use fault::FaultId;
pub use screw::{Direction, Screw};
pub use turn::Turn;

use crate::machine::Profile;
use crate::reading::Reading;

use case::{Case, Draft};

/// Advice for one clip of one machine.
pub fn advise(reading: &Reading, machine: &Profile) -> Advice {
    let case = Case { reading, machine };
    let mut draft = Draft::default();
    if reading.readable.0 >= record::LEAST_READABLE {
        low::unexplained(&case, &mut draft);
        high::judge(&case, &mut draft);
        low::judge(&case, &mut draft);
        idle::judge(&case, &mut draft);
    }
    verdict::finish(&case, draft)
}
