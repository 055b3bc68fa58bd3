//! Cuts the frames into pieces in which the speed holds one level, rises, falls or is not readable.
//!
//! A level is held while the speed stays in a band around the median of its first second. When it
//! leaves the band, the piece ends where it last was near the level; the next level begins as soon
//! as 0.3 s lie within a few percent. What lies between is cut at its turning points. All that is
//! kept of a piece is a bounded sample, so memory does not grow with the length of the sound.
use std::collections::VecDeque;

use super::Frame;
use super::level::{Steady, median};
use super::movement::{Moving, legs};
use super::piece::{Piece, Point, Shape};

/// A level begins when this many seconds ...
const SETTLE: f64 = 0.3;
/// ... lie within this range (6 %).
const SETTLED: f64 = 0.06;
/// Nothing readable for shorter than this is bridged, in seconds.
const BRIDGE: f64 = 0.25;
/// Readable for shorter than this between gaps is not believed, in seconds.
const BLINK: f64 = 0.1;
/// No crank jumps by this much (35 %) ...
const JUMP: f64 = 0.3;
/// ... at this rate per second; the fastest snaps are below 4.
const JUMP_RATE: f64 = 8.0;
/// A movement that never settles is cut after this many seconds.
const LONGEST_MOVE: f64 = 20.0;
/// More pieces than this are joined into coarser ones.
const MOST_PIECES: usize = 600;

#[derive(Clone, Debug)]
enum State {
    Gap { piece: Piece, run: Vec<Point> },
    Moving(Moving),
    Steady(Steady),
}

/// See the module's text.
#[derive(Clone, Debug)]
pub(super) struct Cutter {
    /// The last five frames, for the running median.
    raw: VecDeque<Point>,
    state: State,
    /// Frames that are not readable, until it is known whether they are a gap.
    unread: Vec<Point>,
    /// Frames on the other side of an impossible jump, until it is known whether it stays there.
    beyond: Vec<Point>,
    last_x: Option<(f64, f64)>,
    pieces: Vec<Piece>,
    coarse: f64,
}

impl Cutter {
    pub(super) fn new() -> Self {
        Cutter {
            raw: VecDeque::new(),
            state: State::Gap {
                piece: Piece::new(Shape::Gap, 0.0, false),
                run: Vec::new(),
            },
            unread: Vec::new(),
            beyond: Vec::new(),
            last_x: None,
            pieces: Vec::new(),
            coarse: 0.25,
        }
    }

    /// Takes the next frame.
    pub(super) fn push(&mut self, frame: &Frame) {
        let before = self.raw.back().map(|p| p.t);
        let t = match before {
            Some(before) if !(frame.t.0 > before && frame.t.0.is_finite()) => before,
            Some(_) => frame.t.0,
            None if frame.t.0.is_finite() => frame.t.0.max(0.0),
            None => 0.0,
        };
        let mut point = Point::new(frame, t);
        if let Some(last) = self.raw.back_mut() {
            last.end = f64::midpoint(last.t, t);
            point.start = last.end;
        } else {
            // The first frame's window begins with the sound.
            point.start = if t < 1.0 { 0.0 } else { t };
        }
        point.end = t;
        self.raw.push_back(point);
        let count = self.raw.len();
        if count >= 3 {
            self.smooth(count - 3);
        }
        if count >= 5 {
            self.raw.pop_front();
        }
    }

    /// Ends the sound.
    pub(super) fn finish(mut self) -> Vec<Piece> {
        let count = self.raw.len();
        if count >= 2 {
            let step = self.raw[count - 1].t - self.raw[count - 2].t;
            self.raw[count - 1].end += step.clamp(0.0, 0.2) / 2.0;
        }
        for at in count.saturating_sub(2)..count {
            self.smooth(at);
        }
        self.drop_beyond();
        self.add_unread();
        self.close();
        if let [gap, engine, ..] = &mut self.pieces[..]
            && gap.shape == Shape::Gap
            && gap.seconds() < BRIDGE
        {
            engine.start = gap.start;
            engine.tally.merge(&gap.tally);
            self.pieces.remove(0);
        }
        self.pieces
    }

    /// Passes a frame on with the running median of five around it, which removes single wrong
    /// frames without shifting edges.
    fn smooth(&mut self, at: usize) {
        let mut point = self.raw[at];
        if point.x.is_some() {
            let last = self.raw.len().min(at + 3);
            let mut around: Vec<f64> = (at.saturating_sub(2)..last)
                .filter_map(|i| self.raw[i].x)
                .collect();
            // An even count would average the two sides of an edge.
            if around.len().is_multiple_of(2) {
                around.pop();
            }
            point.x = Some(median(&mut around));
        }
        self.take(point);
    }

    fn take(&mut self, point: Point) {
        match point.x {
            None => self.take_unread(point),
            Some(x) => self.take_speed(point, x),
        }
        if self.pieces.len() > MOST_PIECES {
            self.coarsen();
        }
    }

    fn take_unread(&mut self, point: Point) {
        if let State::Gap { piece, run } = &mut self.state {
            run.drain(..).for_each(|p| piece.add(&p));
            piece.add(&point);
            return;
        }
        self.drop_beyond();
        self.unread.push(point);
        if point.end - self.unread[0].start >= BRIDGE {
            self.close();
            let mut gap = Piece::new(Shape::Gap, self.unread[0].start, false);
            self.unread.drain(..).for_each(|p| gap.add(&p));
            self.state = State::Gap {
                piece: gap,
                run: Vec::new(),
            };
            self.last_x = None;
        }
    }

    fn take_speed(&mut self, point: Point, x: f64) {
        if self.jumps(point, x) {
            return;
        }
        self.last_x = Some((point.t, x));
        let unread = std::mem::take(&mut self.unread);
        match &mut self.state {
            State::Gap { run, .. } => {
                run.push(point);
                if point.end - run[0].start >= BLINK {
                    let points = std::mem::take(run);
                    self.close();
                    self.state = State::Moving(Moving {
                        joined: false,
                        points,
                    });
                    self.settle();
                }
            }
            State::Moving(moving) => {
                moving.points.extend(unread);
                moving.points.push(point);
                self.settle();
            }
            State::Steady(steady) => {
                steady.held.extend(unread);
                if let Some(points) = steady.push(point, x) {
                    self.close();
                    self.state = State::Moving(Moving {
                        joined: true,
                        points,
                    });
                    self.settle();
                } else if let Some(part) = steady.cut() {
                    self.pieces.push(part);
                }
            }
        }
    }

    /// Whether the frame lies beyond a jump that no crank makes. A few such frames in a row are
    /// wrong and dropped; when they stay there, what was before has ended.
    fn jumps(&mut self, point: Point, x: f64) -> bool {
        let Some((t, before)) = self
            .last_x
            .filter(|_| !matches!(self.state, State::Gap { .. }))
        else {
            return false;
        };
        let far = (x - before).abs() > JUMP;
        let fast = (x - before).abs() > JUMP_RATE * (point.t - t);
        if !far || (self.beyond.is_empty() && !fast) {
            self.drop_beyond();
            return false;
        }
        self.beyond.push(point);
        if point.end - self.beyond[0].start >= BLINK {
            let points = std::mem::take(&mut self.beyond);
            self.add_unread();
            self.close();
            self.state = State::Moving(Moving {
                joined: false,
                points,
            });
            self.last_x = Some((point.t, x));
            self.settle();
        }
        true
    }

    /// Frames beyond a jump that did not last count as not readable.
    fn drop_beyond(&mut self) {
        let dropped = self.beyond.drain(..).map(|mut point| {
            point.x = None;
            point
        });
        self.unread.extend(dropped);
    }

    /// Bridged frames belong to what is going on.
    fn add_unread(&mut self) {
        let unread = std::mem::take(&mut self.unread);
        match &mut self.state {
            State::Gap { piece, run } => {
                run.drain(..)
                    .chain(unread)
                    .for_each(|point| piece.add(&point));
            }
            State::Moving(moving) => moving.points.extend(unread),
            State::Steady(steady) => steady.held.extend(unread),
        }
    }

    /// Turns a movement into a level as soon as it has settled.
    fn settle(&mut self) {
        let State::Moving(moving) = &mut self.state else {
            return;
        };
        let Some(last) = moving.points.last().copied() else {
            return;
        };
        let (mut low, mut high, mut readable) = (f64::INFINITY, f64::NEG_INFINITY, 0);
        let mut begin = None;
        for (i, point) in moving.points.iter().enumerate().rev() {
            if let Some(x) = point.x {
                (low, high, readable) = (low.min(x), high.max(x), readable + 1);
                if high - low > SETTLED {
                    break;
                }
            }
            if last.end - point.start >= SETTLE {
                begin = Some(i);
                break;
            }
        }
        match begin {
            Some(begin) if readable >= 5 => {
                let level = moving.points.split_off(begin);
                let joined = moving.joined || !moving.points.is_empty();
                self.close();
                self.state = State::Steady(Steady::new(joined, level));
            }
            _ if last.end - moving.points[0].start > LONGEST_MOVE => {
                let half = moving.points.split_off(moving.points.len() / 2);
                self.close();
                self.state = State::Moving(Moving {
                    joined: true,
                    points: half,
                });
            }
            _ => {}
        }
    }

    /// Ends what is going on; its pieces are kept.
    fn close(&mut self) {
        let empty = State::Moving(Moving {
            joined: true,
            points: Vec::new(),
        });
        match std::mem::replace(&mut self.state, empty) {
            State::Gap { piece, .. } => {
                if piece.end > piece.start {
                    self.pieces.push(piece);
                }
            }
            State::Steady(steady) => self.pieces.push(steady.end()),
            State::Moving(moving) => self.pieces.extend(legs(&moving)),
        }
    }

    /// Joins pieces that are too short for the resolution that so long a sound can have.
    fn coarsen(&mut self) {
        while self.pieces.len() > MOST_PIECES / 2 {
            self.coarse *= 2.0;
            let mut coarser: Vec<Piece> = Vec::new();
            for piece in self.pieces.drain(..) {
                match coarser.last_mut() {
                    Some(last) if piece.seconds() < self.coarse || last.seconds() < self.coarse => {
                        last.absorb(piece);
                    }
                    _ => coarser.push(piece),
                }
            }
            self.pieces = coarser;
        }
    }
}
