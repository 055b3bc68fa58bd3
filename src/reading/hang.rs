//! Return to idle: how long it takes, and whether it hangs above idle on the way.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::piece::{Piece, Shape};
use super::sample::Sample;
use super::span::SpanKind;
use crate::units::{Rpm, Seconds};

/// A return from a higher speed to idle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Return {
    /// When the speed begins to fall.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// Speed before the fall.
    pub from_rpm: Rpm,
    /// The idle that it settles on; where it hangs to the end, the idle before.
    pub idle_rpm: Rpm,
    /// Time from the start of the fall until idle is reached; until the end of the clip, or until
    /// the throttle is opened again, where it hangs that long.
    #[serde(rename = "return_s")]
    pub time: Seconds,
    /// A plateau above idle on the way.
    pub hang: Option<Hang>,
    /// Median confidence of its frames, 0 to 1.
    pub confidence: f64,
}

/// A plateau above idle with the throttle closed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hang {
    /// Speed of the plateau.
    pub plateau_rpm: Rpm,
    /// Height above idle.
    pub above_idle_rpm: Rpm,
    /// How long it hangs.
    #[serde(rename = "lasts_s")]
    pub lasts: Seconds,
    /// It hangs until the clip ends or the throttle is opened again.
    pub to_the_end: bool,
}

/// A return falls from at least this many times the speed it ends on.
const FROM: f64 = 1.5;
/// Idle is reached within this factor of it.
const REACHED: f64 = 1.08;
/// A level from here ...
const ABOVE: f64 = 1.12;
/// ... to here, as a factor of idle, is a hang: above it somebody holds the throttle.
const STILL_CLOSED: f64 = 1.9;
/// Shorter levels are part of the fall, in seconds.
const SHORTEST_HANG: f64 = 0.5;
/// A level that is never left must be held this long, in seconds.
const SHORTEST_LAST_HANG: f64 = 0.8;
/// An idle must be held this long to be the one that the engine settles on, in seconds.
const SETTLED: f64 = 0.4;

/// Finds the returns; levels on which the speed hangs, and the falls from them, are renamed to
/// falling.
pub(super) fn find(pieces: &[Piece], kinds: &mut [SpanKind]) -> Vec<Return> {
    let mut found = Vec::new();
    let mut at = 0;
    while at < pieces.len() {
        let falls = kinds[at] == SpanKind::Falling && pieces[at].shape == Shape::Down;
        if !falls {
            at += 1;
            continue;
        }
        let end = end_of_return(pieces, kinds, at);
        found.extend(judge(pieces, kinds, at, end));
        at = end;
    }
    found
}

/// One past the last piece before the throttle is opened again, the speed is lost or the clip ends.
fn end_of_return(pieces: &[Piece], kinds: &[SpanKind], at: usize) -> usize {
    (at + 1..pieces.len())
        .find(|&i| {
            let opened = matches!(kinds[i], SpanKind::Rising | SpanKind::FullThrottle);
            opened || !pieces[i].joined || pieces[i].shape == Shape::Gap
        })
        .unwrap_or(pieces.len())
}

/// Levels between `from` and `to`: index, speed, seconds.
fn levels(pieces: &[Piece], from: usize, to: usize) -> Vec<(usize, f64, f64)> {
    (from..to)
        .filter(|&i| pieces[i].shape == Shape::Steady)
        .filter_map(|i| Some((i, pieces[i].rpm()?, pieces[i].seconds())))
        .collect()
}

fn judge(pieces: &[Piece], kinds: &mut [SpanKind], at: usize, end: usize) -> Option<Return> {
    let held = levels(pieces, at, end);
    // The first level that is long enough and below which the speed does not fall any more.
    let &(settled, idle, _) = held.iter().find(|&&(i, rpm, seconds)| {
        seconds >= SETTLED
            && held
                .iter()
                .all(|&(later, other, _)| later <= i || other >= rpm / ABOVE)
    })?;
    let before = at
        .checked_sub(1)
        .map(|i| &pieces[i])
        .filter(|_| pieces[at].joined);
    let from = match before {
        Some(piece) if piece.shape == Shape::Steady => piece.rpm()?,
        _ => pieces[at].first_rpm()?,
    };
    let start = before
        .and_then(|piece| piece.last)
        .map_or(pieces[at].start, |(t, _)| t);

    let idle_before = levels(pieces, 0, at)
        .into_iter()
        .rev()
        .find(|&(i, _, seconds)| kinds[i] == SpanKind::Idle && seconds >= SETTLED)
        .map(|(_, rpm, _)| rpm);
    let held_to_end: f64 = held.iter().filter(|l| l.0 >= settled).map(|l| l.2).sum();
    let hangs_on = idle_before.filter(|&before| {
        idle >= ABOVE * before && idle <= STILL_CLOSED * before && held_to_end >= SHORTEST_LAST_HANG
    });
    let (idle, until) = match hangs_on {
        Some(before) => (before, end),
        None if kinds[settled] == SpanKind::Idle => (idle, settled),
        // It settles above idle: somebody holds the throttle there.
        None => return None,
    };
    if from < FROM * idle {
        return None;
    }

    let hung: Vec<_> = held
        .iter()
        .filter(|&&(i, rpm, _)| i < until && (ABOVE * idle..=STILL_CLOSED * idle).contains(&rpm))
        .collect();
    // Up there again although the throttle was not opened: then the engine hunts.
    let swings_back = |plateau: f64| {
        held.iter()
            .any(|&(i, rpm, _)| i > until && rpm >= 0.95 * plateau)
    };
    let lasts: f64 = hung.iter().map(|(_, _, seconds)| seconds).sum();
    let plateau = hung
        .iter()
        .map(|(_, rpm, seconds)| rpm * seconds)
        .sum::<f64>()
        / lasts;
    let hang = (lasts >= SHORTEST_HANG && !swings_back(plateau)).then(|| Hang {
        plateau_rpm: Rpm(plateau),
        above_idle_rpm: Rpm(plateau - idle),
        lasts: Seconds(lasts),
        to_the_end: hangs_on.is_some(),
    });
    if hang.is_some() {
        kinds[at..until].fill(SpanKind::Falling);
    }

    let mut sample = Sample::default();
    let mut reached = None;
    for piece in &pieces[at..end.min(settled + 1)] {
        sample.merge(&piece.tally.sample);
        let low = piece
            .path
            .iter()
            .find(|(_, rpm)| *rpm <= REACHED * idle)
            .map(|(t, _)| *t);
        reached = reached.or(low);
    }
    let last = if hangs_on.is_some() {
        pieces[end - 1].end
    } else {
        pieces[settled].start
    };
    let reached = reached.filter(|_| hangs_on.is_none()).unwrap_or(last);
    Some(Return {
        start: Seconds(start),
        from_rpm: Rpm(from),
        idle_rpm: Rpm(idle),
        time: Seconds((reached - start).max(0.0)),
        hang,
        confidence: sample.confidence(),
    })
}
