//! What a level of speed is: idle, part throttle or full throttle, from the profile as far as it
//! goes and from the clip's own levels for the rest; and the names of pieces.
use super::piece::{Piece, Shape};
use super::span::SpanKind;
use crate::machine::Profile;
use crate::tach::Unreadable;

/// Levels at or below are idle on any machine whose profile does not say otherwise (common
/// practice, no source: idles are 2,000 to 3,300 rpm, clutches bite from 3,200).
const SURELY_IDLE: f64 = 4_000.0;
/// A badly set idle is no faster than this.
const POSSIBLY_IDLE: f64 = 5_200.0;
/// Full throttle is no slower than this, even when very rich.
const FULL_AT_LEAST: f64 = 5_500.0;
/// The same as a share of the lower full-throttle speed of the profile.
const FULL_AT_LEAST_OF_LOW: f64 = 0.65;
/// Levels within this share of the highest are full throttle.
const PLATEAU: f64 = 0.85;
/// Levels shorter than this do not say where idle and full throttle are, in seconds.
const TELLING: f64 = 0.3;
/// A gap is silence behind an engine where the level has dropped by this much, in dB.
const DROPPED: f64 = 15.0;
/// A short level within a movement is part of it below this length, in seconds.
const HESITATION: f64 = 0.6;

/// The borders between idle, part throttle and full throttle, in rpm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Zones {
    pub(super) idle_ceiling: f64,
    pub(super) full_floor: f64,
}

impl Zones {
    pub(super) fn new(pieces: &[Piece], machine: &Profile) -> Self {
        let levels = telling_levels(pieces);
        let bottom = levels.iter().copied().fold(f64::INFINITY, f64::min);
        let top = levels.iter().copied().fold(0.0, f64::max);

        let idle_high = machine.speeds.idle.map(|r| r.high().0);
        let clutch = machine.speeds.clutch_in.map(|s| s.0);
        let full_low = machine.speeds.full_throttle.map(|r| r.low().0);
        let (mut sure, mut possible) = match (clutch, idle_high) {
            (Some(clutch), idle) => (idle.map_or(clutch, |i| clutch.max(1.2 * i)), 1.3 * clutch),
            (None, Some(idle)) => (1.3 * idle, 1.6 * idle),
            (None, None) => (SURELY_IDLE, POSSIBLY_IDLE),
        };
        if let Some(full) = full_low {
            sure = sure.min(0.75 * full);
            possible = possible.min(0.75 * full);
        }
        // A level above the sure idle is still the idle when nothing lower is heard and the
        // throttle was clearly opened elsewhere, or when a known clutch makes it a danger.
        let alone = bottom >= 0.9 * top && clutch.is_some();
        let idle_ceiling = if bottom > sure && bottom <= possible && (alone || bottom <= 0.6 * top)
        {
            possible.min(1.12 * bottom)
        } else {
            sure
        };
        let least = full_low.map_or(FULL_AT_LEAST, |low| FULL_AT_LEAST_OF_LOW * low);
        let full_floor = if top >= least.max(1.1 * idle_ceiling) {
            (PLATEAU * top).max(1.05 * idle_ceiling)
        } else {
            f64::INFINITY
        };
        Zones {
            idle_ceiling,
            full_floor,
        }
    }

    fn level(&self, rpm: f64) -> SpanKind {
        if rpm <= self.idle_ceiling {
            SpanKind::Idle
        } else if rpm >= self.full_floor {
            SpanKind::FullThrottle
        } else {
            SpanKind::PartThrottle
        }
    }

    /// Names the pieces.
    pub(super) fn name(&self, pieces: &[Piece]) -> Vec<SpanKind> {
        let quietest_engine = pieces
            .iter()
            .filter(|piece| piece.shape == Shape::Steady)
            .filter_map(|piece| piece.tally.level_db())
            .fold(f64::INFINITY, f64::min);
        let mut kinds: Vec<SpanKind> = pieces
            .iter()
            .map(|piece| self.name_one(piece, quietest_engine))
            .collect();
        for i in 1..kinds.len().saturating_sub(1) {
            let around = kinds[i - 1];
            if kinds[i] == SpanKind::PartThrottle
                && pieces[i].seconds() < HESITATION
                && kinds[i + 1] == around
                && matches!(around, SpanKind::Rising | SpanKind::Falling)
            {
                kinds[i] = around;
            }
        }
        kinds
    }

    fn name_one(&self, piece: &Piece, quietest_engine: f64) -> SpanKind {
        let (Some(rpm), Some(first), Some(last)) =
            (piece.rpm(), piece.first_rpm(), piece.last_rpm())
        else {
            return gap(piece, quietest_engine);
        };
        if piece.shape == Shape::Gap {
            return gap(piece, quietest_engine);
        }
        let change = (last / first).ln();
        match piece.shape {
            Shape::Steady => self.level(rpm),
            // A deep swing of the idle, not a movement of the throttle.
            _ if first.max(last) <= 1.1 * self.idle_ceiling && change.abs() < 0.5 => SpanKind::Idle,
            // Saw teeth under a limiter, or a load that comes and goes.
            _ if first.min(last) >= self.full_floor => SpanKind::FullThrottle,
            Shape::Up => SpanKind::Rising,
            _ => SpanKind::Falling,
        }
    }
}

fn gap(piece: &Piece, quietest_engine: f64) -> SpanKind {
    let silent = piece
        .tally
        .reasons()
        .first()
        .is_some_and(|(r, _)| *r == Unreadable::Silence);
    let dropped = match piece.tally.level_db() {
        Some(level) => level <= quietest_engine - DROPPED,
        None => true,
    };
    if silent || (quietest_engine.is_finite() && dropped) {
        SpanKind::Stopped
    } else {
        SpanKind::Unreadable
    }
}

/// Levels that were held long enough and can be trusted; all that were held, if none can.
fn telling_levels(pieces: &[Piece]) -> Vec<f64> {
    let held = |piece: &&Piece| piece.shape == Shape::Steady && piece.seconds() >= TELLING;
    let trusted = |piece: &&Piece| piece.tally.doubtful <= 0.5 * piece.tally.readable;
    let levels: Vec<f64> = pieces
        .iter()
        .filter(held)
        .filter(trusted)
        .filter_map(Piece::rpm)
        .collect();
    if levels.is_empty() {
        pieces.iter().filter(held).filter_map(Piece::rpm).collect()
    } else {
        levels
    }
}
