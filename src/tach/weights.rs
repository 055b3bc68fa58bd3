//! Weights.

use super::evidence::{FEATURES, RHYTHMS};

/// W.
pub const WEIGHTS: [[f32; FEATURES]; RHYTHMS] = [[0.0; FEATURES]; RHYTHMS];
