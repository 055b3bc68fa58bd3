//! Which revolutions fired.
//!
//! In: each hop's [`Moment`](crate::tach::Moment) with the sound around it in crank angle
//! ([`Turns`](crate::tach::angle::Turns)). Out: one [`Firing`] a hop: the kind with hysteresis, the
//! share of revolutions without a full firing, the rhythm of the skips, the level of the sub-orders
//! and the variation from turn to turn.
//!
//! Revolutions are compared with their neighbours and with those two, three and four turns away,
//! and split in two kinds along their main direction of difference; lines between the whole orders
//! are read from the order spectrum; the chain's own opinion of the rhythm comes with the moment, and
//! so do the two kinds that a mixture finds in the turns of the last while
//! ([`TwoKinds`](crate::tach::TwoKinds)), which are counted where they are distinct; and a speed that
//! shakes or saws up and down is none of an engine that fires clean. Small
//! networks over these, fitted on annotated recordings and on synthetic engines of many
//! timbres, say whether firings are skipped or cut, and how many. Nothing is refused here: whether an engine is there
//! at all is decided in [`reading`](crate::reading).
mod glide;
mod judge;
mod kind;
mod network;
mod pulse;
mod revolution;
mod sub_orders;
mod swing;
mod weights;

pub use glide::Glide;
pub use judge::{ALWAYS, FEATURES, Judge};
pub use kind::{Firing, FiringKind, Pattern};
pub use network::Network;
pub use pulse::{Pulse, Pulses};
pub use revolution::{Differences, Revolutions};
pub use sub_orders::{Families, families};
pub use swing::Swing;
