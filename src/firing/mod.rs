//! Which revolutions fired.
mod kind;

pub use kind::{Firing, FiringKind, Pattern};
