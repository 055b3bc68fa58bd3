//! The limited coil: its ceiling, and how far below it the mixture is judged.
use super::book::Book;
use super::ear::Look;
use crate::guide::trade::BELOW_LIMITER;
use crate::machine::Coil;

/// A look with this share of frames on the limiter is on it, where the coil has one; where nobody knows
/// it takes more, since heavy four-stroking sounds like it at times.
pub(super) const ON_LIMITER: f64 = 0.3;
const ON_UNKNOWN: f64 = 0.55;
/// It is not leaned nearer to the ceiling than this, in rpm: half of what the trade keeps while it
/// judges (common practice, no source).
const KEEP_BELOW: f64 = 0.5 * BELOW_LIMITER.0;

/// Takes a look at full throttle; says whether the engine is on its limiter.
pub(super) fn on_limiter(book: &mut Book, look: &Look) -> bool {
    let least = match book.facts.coil {
        Coil::Plain => return false,
        Coil::Limited => ON_LIMITER,
        Coil::Unknown => ON_UNKNOWN,
    };
    if look.limiter < least {
        return false;
    }
    if book.facts.limiter.is_none() {
        // The saw-tooth lies under the ceiling.
        let heard = look.rpm * (1.0 + look.spread);
        let known = book.ceiling.unwrap_or(heard);
        book.ceiling = Some(known.max(heard));
    }
    true
}

/// The fastest full throttle that a leaner turn may lead to.
pub(super) fn cap(book: &Book) -> Option<f64> {
    let below_ceiling = book.ceiling.map(|ceiling| ceiling - KEEP_BELOW);
    match (book.facts.maximum, below_ceiling) {
        (Some(most), Some(ceiling)) => Some(most.min(ceiling)),
        (most, ceiling) => most.or(ceiling),
    }
}
