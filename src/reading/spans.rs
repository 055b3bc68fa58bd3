//! From frames to the reading of the whole clip.
use std::collections::VecDeque;

use super::cutter::Cutter;
use super::piece::{Piece, SURE, Tally};
use super::span::{Plateau, Span, SpanKind};
use super::summary::{Reading, UnreadableTime};
use super::zones::Zones;
use super::{Frame, hang, hunting, rise};
use crate::machine::Profile;
use crate::units::{Decibels, Rpm, Seconds};

/// Neighbouring frames share their sound; about this far apart they say something new, in seconds.
const INDEPENDENT: f64 = 0.3;
/// A plateau that was held for less is none, in seconds.
const SHORTEST_PLATEAU: f64 = 0.3;
/// Share of doubtful time from which a second base is named.
const OTHER_NAMED: f64 = 0.2;
/// The peak speed must be held for this long, in seconds.
const PEAK_HELD: f64 = 0.3;

/// Takes frames in order of time and gives the reading of the whole clip.
///
/// Memory does not grow with the length of the sound: a very long one is cut into coarser spans.
#[derive(Clone, Debug)]
pub struct Spans {
    machine: Profile,
    cutter: Cutter,
    whole: Tally,
    peak: Peak,
}

impl Spans {
    /// A builder for one machine.
    pub fn new(machine: &Profile) -> Self {
        Spans {
            machine: machine.clone(),
            cutter: Cutter::new(),
            whole: Tally::default(),
            peak: Peak::default(),
        }
    }

    /// Takes the next frame. A frame whose time does not lie after the one before it is taken as
    /// one at the same time.
    pub fn push(&mut self, frame: &Frame) {
        self.peak.push(frame);
        self.cutter.push(frame);
    }

    /// Ends the clip.
    pub fn finish(mut self) -> Reading {
        let pieces = self.cutter.finish();
        for piece in &pieces {
            self.whole.merge(&piece.tally);
        }
        let zones = Zones::new(&pieces, &self.machine);
        let mut kinds = zones.name(&pieces);
        let returns = hang::find(&pieces, &mut kinds);
        let mut accelerations = rise::find(&pieces, &mut kinds);
        let hunting = hunting::find(&pieces, &kinds);
        if let Some(hunting) = &hunting {
            // A sag no deeper than the swing of the idle is part of that swing.
            let swing = 1.2 * (hunting.high_rpm.0 - hunting.low_rpm.0);
            for acceleration in &mut accelerations {
                acceleration.bog = acceleration.bog.filter(|bog| bog.dip_rpm.0 > swing);
            }
        }
        let readable = self.whole.readable;
        Reading {
            heard: Seconds(pieces.last().map_or(0.0, |p| p.end)),
            readable: Seconds(readable),
            doubtful_pct: if readable > 0.0 {
                100.0 * self.whole.doubtful / readable
            } else {
                0.0
            },
            idle: pooled(&pieces, &kinds, SpanKind::Idle),
            full_throttle: pooled(&pieces, &kinds, SpanKind::FullThrottle),
            peak_rpm: self.peak.highest,
            spans: spans(&pieces, &kinds),
            hunting,
            accelerations,
            returns,
            unreadable: self
                .whole
                .reasons()
                .into_iter()
                .map(|(reason, time)| UnreadableTime {
                    reason,
                    time: Seconds(time),
                })
                .collect(),
            level_dbfs: self.whole.level_db().map(Decibels),
            clipped_pct: self.whole.clipped_pct(),
        }
    }
}

/// Joins neighbouring pieces of one kind.
fn spans(pieces: &[Piece], kinds: &[SpanKind]) -> Vec<Span> {
    let mut spans = Vec::new();
    let mut at = 0;
    while at < pieces.len() {
        let end = (at..pieces.len())
            .find(|&i| kinds[i] != kinds[at])
            .unwrap_or(pieces.len());
        spans.push(span(kinds[at], &pieces[at..end]));
        at = end;
    }
    // Each begins where the one before it ends.
    for i in 1..spans.len() {
        spans[i].start = spans[i - 1].end;
    }
    spans
}

fn merged(pieces: &[Piece]) -> Tally {
    let mut tally = Tally::default();
    pieces.iter().for_each(|piece| tally.merge(&piece.tally));
    tally
}

fn span(kind: SpanKind, pieces: &[Piece]) -> Span {
    let tally = merged(pieces);
    let moves = matches!(kind, SpanKind::Rising | SpanKind::Falling);
    let silent = matches!(kind, SpanKind::Stopped | SpanKind::Unreadable);
    let plateau = plateau(&tally).filter(|_| !silent);
    let (firing, firing_share) = tally.firing();
    Span {
        kind,
        start: Seconds(pieces.first().map_or(0.0, |p| p.start)),
        end: Seconds(pieces.last().map_or(0.0, |p| p.end)),
        rpm: plateau.map(|p| p.rpm),
        rpm_low: plateau.map(|p| p.rpm_low),
        rpm_high: plateau.map(|p| p.rpm_high),
        spread_rpm: plateau.map(|p| p.spread_rpm),
        spread_pct: plateau.map(|p| p.spread_pct),
        from_rpm: pieces
            .iter()
            .find_map(Piece::first_rpm)
            .filter(|_| moves)
            .map(Rpm),
        to_rpm: pieces
            .iter()
            .rev()
            .find_map(Piece::last_rpm)
            .filter(|_| moves)
            .map(Rpm),
        firing,
        firing_share,
        skip_ratio: plateau.and_then(|p| p.skip_ratio),
        confidence: plateau.map_or(0.0, |p| p.confidence),
        other_rpm: plateau.and_then(|p| p.other_rpm),
        unreadable: tally
            .reasons()
            .first()
            .map(|(reason, _)| *reason)
            .filter(|_| silent),
    }
}

fn pooled(pieces: &[Piece], kinds: &[SpanKind], kind: SpanKind) -> Option<Plateau> {
    let mut tally = Tally::default();
    for (piece, _) in pieces.iter().zip(kinds).filter(|(_, k)| **k == kind) {
        tally.merge(&piece.tally);
    }
    plateau(&tally).filter(|p| p.held.0 >= SHORTEST_PLATEAU)
}

fn plateau(tally: &Tally) -> Option<Plateau> {
    let sample = &tally.sample;
    let rpm = sample.median_rpm()?;
    let (low, high) = (
        sample.quantile(0.16, |r| r.rpm)?,
        sample.quantile(0.84, |r| r.rpm)?,
    );
    let spread = (high - low) / 2.0;
    let frame = sample.quantile(0.5, |r| r.half_width).unwrap_or(0.0);
    // The median of normal values scatters 1.2533 times as much as their mean; each frame's own
    // interval adds to that.
    let looks = (tally.readable / INDEPENDENT).max(1.0);
    let half = (1.96 * 1.2533 * spread).hypot(frame) / looks.sqrt();
    let (firing, firing_share) = tally.firing();
    let doubts = tally.doubtful > OTHER_NAMED * tally.readable;
    Some(Plateau {
        held: Seconds(tally.readable),
        rpm: Rpm(rpm),
        rpm_low: Rpm((rpm - half).max(0.0)),
        rpm_high: Rpm(rpm + half),
        spread_rpm: Rpm(spread),
        spread_pct: 100.0 * spread / rpm,
        firing,
        firing_share,
        skip_ratio: sample.quantile(0.5, |r| r.skip),
        confidence: sample.confidence(),
        other_rpm: sample
            .quantile(0.5, |r| r.other)
            .filter(|_| doubts)
            .map(Rpm),
        clipped_pct: tally.clipped_pct(),
    })
}

/// The highest speed that was held.
#[derive(Clone, Debug, Default)]
struct Peak {
    /// Time and speed of the last trusted frames.
    recent: VecDeque<(f64, f64)>,
    highest: Option<Rpm>,
}

impl Peak {
    fn push(&mut self, frame: &Frame) {
        let trusted = frame.speed.ok().filter(|s| {
            s.other.is_none() && s.confidence >= SURE && s.rpm.0.is_finite() && s.rpm.0 >= 1.0
        });
        let gap = self
            .recent
            .back()
            .is_some_and(|(t, _)| !(0.0..0.1).contains(&(frame.t.0 - t)));
        let Some(speed) = trusted.filter(|_| frame.t.0.is_finite()) else {
            self.recent.clear();
            return;
        };
        if gap {
            self.recent.clear();
        }
        self.recent.push_back((frame.t.0, speed.rpm.0));
        // The newest frame that is old enough begins the window.
        while self
            .recent
            .get(1)
            .is_some_and(|(t, _)| frame.t.0 - t >= PEAK_HELD)
        {
            self.recent.pop_front();
        }
        if self
            .recent
            .front()
            .is_some_and(|(t, _)| frame.t.0 - t >= PEAK_HELD)
        {
            let held = self
                .recent
                .iter()
                .map(|(_, rpm)| *rpm)
                .fold(f64::INFINITY, f64::min);
            if self.highest.is_none_or(|highest| held > highest.0) {
                self.highest = Some(Rpm(held));
            }
        }
    }
}
