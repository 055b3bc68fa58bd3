//! Cuts the frames into pieces in which the speed holds one level, rises, falls or is not readable.
//!
//! A level is held while the speed stays in a band around the median of its first second. When it
//! leaves the band, the piece ends where it last was near the level; the next level begins as soon
//! as 0.3 s lie within a few percent. What lies between is cut at its turning points. All that is
//! kept of a piece is a bounded sample, so memory does not grow with the length of the sound.
use std::collections::VecDeque;

use super::Frame;
use super::piece::{Piece, Point, Shape};

/// Half width of the band around a level, as a natural logarithm (about 7 %): wider than an
/// irregular idle or a limiter's saw teeth, narrower than any throttle movement that matters.
const BAND: f64 = 0.07;
/// The speed has left its level when it was last this near to it (3 %).
const NEAR: f64 = 0.03;
/// Frames in a row outside the band that end a level.
const OUTSIDE: usize = 3;
/// A level begins when this many seconds ...
const SETTLE: f64 = 0.3;
/// ... lie within this range (6 %).
const SETTLED: f64 = 0.06;
/// A level's median is taken over this many seconds.
const ANCHOR: f64 = 1.0;
/// Frames are held back for this many seconds, to find where the speed left its level.
const HELD_BACK: f64 = 0.6;
/// A movement turns where the speed comes back by this much (12 %).
const TURN: f64 = 0.12;
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
/// A level is cut after this many seconds, so that its path keeps every swing of interest.
const LONGEST_LEVEL: f64 = 15.0;
/// More pieces than this are joined into coarser ones.
const MOST_PIECES: usize = 600;

#[derive(Clone, Debug)]
enum State {
    Gap { piece: Piece, run: Vec<Point> },
    Moving(Moving),
    Steady(Steady),
}

#[derive(Clone, Debug)]
struct Moving {
    joined: bool,
    points: Vec<Point>,
}

#[derive(Clone, Debug)]
struct Steady {
    start: f64,
    piece: Piece,
    first: Vec<f64>,
    anchor: f64,
    held: VecDeque<Point>,
    outside: usize,
}

/// See the module's text.
#[derive(Clone, Debug)]
pub(super) struct Cutter {
    /// The last five frames, for the running median.
    raw: VecDeque<Point>,
    state: State,
    /// Frames that are not readable, until it is known whether they are a gap.
    unread: Vec<Point>,
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
        let unread = std::mem::take(&mut self.unread);
        match &mut self.state {
            State::Gap { piece, run } => {
                run.iter().chain(&unread).for_each(|point| piece.add(point));
            }
            State::Moving(moving) => moving.points.extend(unread),
            State::Steady(steady) => steady.held.extend(unread),
        }
        self.close();
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
        let jumps = self.last_x.is_some_and(|(t, before)| {
            (x - before).abs() > JUMP && (x - before).abs() > JUMP_RATE * (point.t - t)
        });
        self.last_x = Some((point.t, x));
        let unread = std::mem::take(&mut self.unread);
        if jumps && !matches!(self.state, State::Gap { .. }) {
            match &mut self.state {
                State::Moving(moving) => moving.points.extend(unread),
                State::Steady(steady) => steady.held.extend(unread),
                State::Gap { .. } => {}
            }
            self.close();
            self.state = State::Moving(Moving {
                joined: false,
                points: vec![point],
            });
            return;
        }
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

impl Steady {
    fn new(joined: bool, points: Vec<Point>) -> Self {
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

    fn follow(&mut self, t: f64, x: f64) {
        const MOST: usize = 256;
        if t - self.start <= ANCHOR && self.first.len() < MOST {
            self.first.push(x);
            self.anchor = median(&mut self.first.clone());
        }
    }

    /// Takes a frame; gives the frames since the speed left its level, when it has.
    fn push(&mut self, point: Point, x: f64) -> Option<Vec<Point>> {
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
    fn cut(&mut self) -> Option<Piece> {
        (self.piece.seconds() >= LONGEST_LEVEL).then(|| {
            let next = Piece::new(Shape::Steady, self.piece.end, true);
            std::mem::replace(&mut self.piece, next)
        })
    }

    fn end(mut self) -> Piece {
        self.held.iter().for_each(|point| self.piece.add(point));
        self.piece
    }
}

/// Cuts a movement at its turning points.
fn legs(moving: &Moving) -> Vec<Piece> {
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

/// Middle of the values; the lower of the middle two where their count is even.
fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = (values.len() - 1) / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
