//! Acceleration from idle: how long it takes, and a bog in it.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::piece::{Piece, Shape};
use super::sample::Sample;
use super::span::SpanKind;
use crate::units::{Rpm, Seconds};

/// An acceleration from idle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Acceleration {
    /// When the speed leaves idle.
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// Idle speed before it.
    pub from_rpm: Rpm,
    /// The plateau after it, or the highest speed reached where there is none.
    pub to_rpm: Rpm,
    /// Time from leaving idle to 90 % of `to_rpm`.
    #[serde(rename = "rise_s")]
    pub rise: Seconds,
    /// A bog on the way: the speed sags before it rises.
    pub bog: Option<Bog>,
    /// Median confidence of its frames, 0 to 1.
    pub confidence: f64,
}

/// A sag of the speed while it should rise.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Bog {
    /// Depth below the highest speed reached before it.
    pub dip_rpm: Rpm,
    /// Time from that highest speed until it is reached again.
    #[serde(rename = "lasts_s")]
    pub lasts: Seconds,
}

/// An acceleration ends at this many times the idle speed or above.
const OPENED: f64 = 1.6;
/// The rise is over at this share of the plateau.
const RISEN: f64 = 0.9;
/// A level on the way that is left upwards within this time is a hesitation, in seconds.
const HESITATION: f64 = 1.0;
/// Slower than this is no acceleration, in seconds.
const LONGEST: f64 = 8.0;
/// A sag lasts no longer than this, in seconds; the engine would have died.
const LONGEST_SAG: f64 = 1.2;
/// A sag after a first rise is a bog from this share of the speed on ...
const SAG: f64 = 0.06;
/// ... and one below idle from this share on: an irregular idle wanders less.
const SAG_BELOW_IDLE: f64 = 0.15;
/// The first rise is more than this share above idle.
const ROSE: f64 = 1.1;

/// Finds the accelerations; the sag below idle at the start of one is renamed from idle to rising.
pub(super) fn find(pieces: &[Piece], kinds: &mut [SpanKind]) -> Vec<Acceleration> {
    let mut found = Vec::new();
    let mut at = 1;
    while at < pieces.len() {
        let leaves = kinds[at - 1] == SpanKind::Idle
            && pieces[at].joined
            && !matches!(
                kinds[at],
                SpanKind::Idle | SpanKind::Stopped | SpanKind::Unreadable
            );
        let end = if leaves {
            follow(pieces, kinds, at, &mut found)
        } else {
            at
        };
        at = end.max(at) + 1;
    }
    found
}

/// Follows the movement that begins with piece `at`; gives the last piece that belongs to it.
fn follow(
    pieces: &[Piece],
    kinds: &mut [SpanKind],
    at: usize,
    found: &mut Vec<Acceleration>,
) -> usize {
    let begin = sag_before(pieces, kinds, at);
    let Some(idle) = pieces[begin - 1].rpm() else {
        return at;
    };
    let start = pieces[begin - 1]
        .last
        .map_or(pieces[begin].start, |(t, _)| t);
    let mut path: Vec<(f64, f64)> = Vec::new();
    let mut sample = Sample::default();
    let mut plateau = None;
    let mut last = at;
    for i in begin..pieces.len() {
        let piece = &pieces[i];
        let readable = piece.joined && piece.shape != Shape::Gap;
        if i > begin && (!readable || piece.start - start > LONGEST) {
            break;
        }
        let peak = path.iter().map(|(_, rpm)| *rpm).fold(idle, f64::max);
        let low = piece.last_rpm().unwrap_or(idle);
        if piece.shape == Shape::Down && peak >= 2.0 * idle && low < 1.25 * idle {
            // The throttle was closed again.
            break;
        }
        let level = piece.rpm().unwrap_or(idle);
        if piece.shape == Shape::Steady {
            let goes_on = piece.seconds() < HESITATION
                && pieces.get(i + 1).is_some_and(|next| {
                    next.joined && next.shape == Shape::Up && next.last_rpm() > Some(1.2 * level)
                });
            if !goes_on && level >= OPENED * idle {
                path.extend(piece.path.first());
                plateau = Some(level);
                break;
            }
            if !goes_on && i > at {
                break;
            }
        }
        path.extend(&piece.path);
        sample.merge(&piece.tally.sample);
        last = i;
    }
    let peak = path.iter().map(|(_, rpm)| *rpm).fold(0.0, f64::max);
    let to = plateau.unwrap_or(peak);
    if to < OPENED * idle {
        return at;
    }
    let Some(risen) = reaches(&path, (start, idle), RISEN * to) else {
        return at;
    };
    kinds[begin..at].fill(SpanKind::Rising);
    let way: Vec<_> = path
        .into_iter()
        .filter(|(t, _)| *t <= risen.max(start))
        .collect();
    found.push(Acceleration {
        start: Seconds(start),
        from_rpm: Rpm(idle),
        to_rpm: Rpm(to),
        rise: Seconds((risen - start).max(0.0)),
        bog: deepest_sag(&way, (start, idle), risen),
        confidence: sample.confidence(),
    });
    last
}

/// The first piece of the movement before `at` that was taken for idle: a sag below it, or a first
/// rise that sagged again. It begins where the last level held before it ends.
fn sag_before(pieces: &[Piece], kinds: &[SpanKind], at: usize) -> usize {
    let level_before = (1..=at)
        .rev()
        .take_while(|&i| kinds[i - 1] == SpanKind::Idle && (i == at || pieces[i].joined))
        .take_while(|&i| pieces[at].start - pieces[i - 1].end <= LONGEST_SAG)
        .find(|&i| pieces[i - 1].shape == Shape::Steady && !sags(pieces, kinds, i - 1));
    level_before.filter(|_| pieces[at].joined).unwrap_or(at)
}

/// Whether a short level is only the bottom of a sag: lower than the one before it.
fn sags(pieces: &[Piece], kinds: &[SpanKind], at: usize) -> bool {
    let held_before = (0..at)
        .rev()
        .take_while(|&i| kinds[i] == SpanKind::Idle && pieces[i + 1].joined)
        .find(|&i| pieces[i].shape == Shape::Steady)
        .and_then(|i| pieces[i].rpm());
    let level = pieces[at].rpm();
    pieces[at].seconds() < LONGEST_SAG
        && held_before
            .zip(level)
            .is_some_and(|(before, level)| level < 0.95 * before)
}

/// When the path first reaches a speed from below, with a straight line between its points.
fn reaches(path: &[(f64, f64)], before: (f64, f64), goal: f64) -> Option<f64> {
    let mut before = before;
    for &(t, rpm) in path {
        if rpm >= goal {
            let part = if rpm > before.1 {
                (goal - before.1) / (rpm - before.1)
            } else {
                1.0
            };
            return Some(before.0 + (t - before.0) * part.clamp(0.0, 1.0));
        }
        before = (t, rpm);
    }
    None
}

/// The deepest fall below the highest speed so far.
fn deepest_sag(path: &[(f64, f64)], before: (f64, f64), end: f64) -> Option<Bog> {
    let mut highest = before;
    let mut deepest: Option<((f64, f64), f64)> = None;
    for &(t, rpm) in path {
        if rpm >= highest.1 {
            highest = (t, rpm);
        } else if deepest.is_none_or(|(top, low)| highest.1 - rpm > top.1 - low) {
            deepest = Some((highest, rpm));
        }
    }
    let (top, low) = deepest?;
    let dip = top.1 - low;
    let rose = top.1 > ROSE * before.1;
    if dip < if rose { SAG } else { SAG_BELOW_IDLE } * top.1 {
        return None;
    }
    let sagging: Vec<_> = path.iter().copied().filter(|(t, _)| *t > top.0).collect();
    let lowest = sagging.iter().position(|(_, rpm)| *rpm == low).unwrap_or(0);
    let over = reaches(&sagging[lowest..], (top.0, low), top.1).unwrap_or(end);
    Some(Bog {
        dip_rpm: Rpm(dip),
        lasts: Seconds((over - top.0).max(0.0)),
    })
}
