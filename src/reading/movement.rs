//! A movement between two levels, cut at its turning points.
use super::piece::{Piece, Point, Shape};

/// A movement turns where the speed comes back by this much (12 %).
const TURN: f64 = 0.12;

/// Frames since the speed left a level, until it settles on another.
#[derive(Clone, Debug)]
pub(super) struct Moving {
    /// Follows what was before without a gap or a jump.
    pub(super) joined: bool,
    pub(super) points: Vec<Point>,
}

/// Cuts a movement at its turning points.
pub(super) fn legs(moving: &Moving) -> Vec<Piece> {
    let points = &moving.points;
    let mut cuts = vec![0];
    let (mut low, mut high, mut rising) = (None::<(usize, f64)>, None::<(usize, f64)>, None);
    for (i, x) in points
        .iter()
        .enumerate()
        .filter_map(|(i, p)| Some((i, p.x?)))
    {
        if low.is_none_or(|(_, l)| x < l) {
            low = Some((i, x));
        }
        if high.is_none_or(|(_, h)| x > h) {
            high = Some((i, x));
        }
        let (Some((low_at, lowest)), Some((high_at, highest))) = (low, high) else {
            continue;
        };
        if rising != Some(true) && x - lowest >= TURN {
            if rising.is_some() {
                cuts.push(low_at);
            }
            rising = Some(true);
            high = Some((i, x));
        } else if rising != Some(false) && highest - x >= TURN {
            if rising.is_some() {
                cuts.push(high_at);
            }
            rising = Some(false);
            low = Some((i, x));
        }
    }
    cuts.push(points.len());
    cuts.windows(2)
        .filter(|cut| cut[0] < cut[1])
        .map(|cut| {
            let part = &points[cut[0]..cut[1]];
            let mut piece = Piece::new(Shape::Steady, part[0].start, moving.joined || cut[0] > 0);
            part.iter().for_each(|point| piece.add(point));
            let change = match (piece.first_rpm(), piece.last_rpm()) {
                (Some(first), Some(last)) => (last / first).ln(),
                _ => 0.0,
            };
            piece.shape = if change >= TURN {
                Shape::Up
            } else if change <= -TURN {
                Shape::Down
            } else {
                Shape::Steady
            };
            piece
        })
        .collect()
}
