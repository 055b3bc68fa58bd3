//! The course of a snap acceleration: rise, dip, return.
use super::ear::{Ear, quantile};
use super::task::Snapped;

/// A snap from its prompt on, and whether it is over; none before the throttle was heard to open.
pub(super) fn course(ear: &Ear, from: f64, idle: f64, open: f64) -> Option<(Snapped, bool)> {
    let read: Vec<(f64, f64)> = ear
        .since(from)
        .iter()
        .filter_map(|s| s.rpm.map(|rpm| (s.t, rpm)))
        .collect();
    // Medians of five, so that no single frame makes a rise or a dip.
    let smooth: Vec<(f64, f64)> = read
        .windows(5)
        .map(|w| {
            let mut speeds: Vec<f64> = w.iter().map(|(_, rpm)| *rpm).collect();
            (w[2].0, quantile(&mut speeds, 0.5))
        })
        .collect();
    let top = smooth.iter().map(|(_, rpm)| *rpm).fold(0.0, f64::max);
    if top < open.max(1.3 * idle) {
        return None;
    }
    let near_top = |rpm: f64| rpm >= 0.85 * top;
    let begins = smooth.iter().find(|(_, rpm)| *rpm > 1.2 * idle)?.0;
    let reaches = smooth.iter().find(|(_, rpm)| near_top(*rpm))?.0;
    let leaves = smooth.iter().rev().find(|(_, rpm)| near_top(*rpm))?.0;
    let lowest = smooth
        .iter()
        .filter(|(t, _)| *t <= reaches)
        .map(|(_, rpm)| *rpm)
        .fold(idle, f64::min);
    let back = smooth
        .iter()
        .find(|(t, rpm)| *t > leaves && *rpm < 1.12 * idle);
    let last = smooth.last()?.0;
    let snapped = Snapped {
        rise: reaches - begins,
        dip: 1.0 - lowest / idle,
        back: back.map_or(last, |(t, _)| *t) - leaves,
    };
    Some((snapped, back.is_some_and(|(t, _)| last - t > 0.5)))
}
