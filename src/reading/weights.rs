//! Weights.
use super::presence::FEATURES;

/// W.
pub(super) const ENGINE: [f64; FEATURES] = [0.0; FEATURES];
