//! What the procedure hears.
use serde::{Deserialize, Serialize};

use crate::reading::Frame;

/// One hop of sound as the procedure takes it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Heard {
    /// The frame.
    pub frame: Frame,
    /// Share of the judged revolutions of the last second without a full firing, 0 to 1; under the
    /// limiter the share of cut ones; none where it was not judged.
    pub skip_ratio: Option<f64>,
}
