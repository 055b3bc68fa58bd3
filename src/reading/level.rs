//! A level that the speed holds, while it holds it.
use std::collections::VecDeque;

use super::piece::{Piece, Point, Shape};

/// Half width of the band around a level, as a natural logarithm (about 7 %): wider than an
/// irregular idle or a limiter's saw teeth, narrower than any throttle movement that matters.
const BAND: f64 = 0.07;
/// The speed has left its level when it was last this near to it (3 %).
const NEAR: f64 = 0.03;
/// Frames in a row outside the band that end a level.
const OUTSIDE: usize = 3;
/// A level's median is taken over this many seconds.
const ANCHOR: f64 = 1.0;
/// Frames are held back for this many seconds, to find where the speed left its level.
const HELD_BACK: f64 = 0.6;
/// A level is cut after this many seconds, so that its path keeps every swing of interest.
const LONGEST_LEVEL: f64 = 15.0;

#[derive(Clone, Debug)]
pub(super) struct Steady {
    start: f64,
    piece: Piece,
    first: Vec<f64>,
    anchor: f64,
    pub(super) held: VecDeque<Point>,
    outside: usize,
}

impl Steady {
    pub(super) fn new(joined: bool, points: Vec<Point>) -> Self {
        let start = points.first().map_or(0.0, |p| p.start);
        let mut steady = Steady {
            start,
            piece: Piece::new(Shape::Steady, start, joined),
            first: Vec::new(),
            anchor: 0.0,
            held: VecDeque::new(),
            outside: 0,
        };
        for point in points {
            if let Some(x) = point.x {
                steady.follow(point.t, x);
            }
            steady.held.push_back(point);
        }
        steady
    }

    pub(super) fn follow(&mut self, t: f64, x: f64) {
        const MOST: usize = 256;
        if t - self.start <= ANCHOR && self.first.len() < MOST {
            self.first.push(x);
            self.anchor = median(&mut self.first.clone());
        }
    }

    /// Takes a frame; gives the frames since the speed left its level, when it has.
    pub(super) fn push(&mut self, point: Point, x: f64) -> Option<Vec<Point>> {
        self.held.push_back(point);
        self.follow(point.t, x);
        self.outside = if (x - self.anchor).abs() > BAND {
            self.outside + 1
        } else {
            0
        };
        if self.outside >= OUTSIDE {
            let near = |p: &Point| p.x.is_some_and(|x| (x - self.anchor).abs() <= NEAR);
            let left = self.held.iter().rposition(near).map_or(0, |i| i + 1);
            return Some(self.held.drain(left..).collect());
        }
        while self
            .held
            .front()
            .is_some_and(|front| point.t - front.t > HELD_BACK)
        {
            if let Some(front) = self.held.pop_front() {
                self.piece.add(&front);
            }
        }
        None
    }

    /// Gives the piece so far when it has become long, and goes on with the same level.
    pub(super) fn cut(&mut self) -> Option<Piece> {
        (self.piece.seconds() >= LONGEST_LEVEL).then(|| {
            let next = Piece::new(Shape::Steady, self.piece.end, true);
            std::mem::replace(&mut self.piece, next)
        })
    }

    pub(super) fn end(mut self) -> Piece {
        self.held.iter().for_each(|point| self.piece.add(point));
        self.piece
    }
}

/// Middle of the values; the lower of the middle two where their count is even.
pub(super) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = (values.len() - 1) / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
