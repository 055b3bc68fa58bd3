//! Weights.
use super::judge::FEATURES;

/// W.
pub(super) const SKIPPING: [f64; FEATURES] = [0.0; FEATURES];
