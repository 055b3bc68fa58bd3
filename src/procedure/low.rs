//! Low-speed screw to the fastest idle; on a butterfly carburetor then a little richer.
use serde::{Deserialize, Serialize};

use super::book::Book;
use super::stage::Next;
use super::stuck::Symptom;
use super::task::{Report, Task};
use crate::guide::trade::final_enrichment;
use crate::guide::{Direction, Screw, Turn};

/// The peak is passed when the idle has fallen by this share on both sides of it.
const FALLEN: f64 = 0.012;
/// No peak within so many turns of the beginning: something else is wrong.
const FARTHEST: f64 = 1.1;
/// More looks than this lead nowhere.
const MOST: u32 = 26;

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Low {
    /// Turns out and speed.
    points: Vec<(f64, f64)>,
    from: f64,
    looks: u32,
    doing: Doing,
    rounds: u32,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
enum Doing {
    /// Looks on both sides.
    #[default]
    Search,
    /// On its way to the peak, by this place.
    Home { place: f64 },
    /// The final enrichment.
    Enrich,
    /// The idle was lowered, and the speeds before it no longer compare.
    Lower,
}

impl Low {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        let out = book.screws.low.out;
        match (self.doing, report) {
            (_, Report::Begin) => {
                self.from = out;
                Next::Do(Task::Idle { seconds: 4.0 })
            }
            (Doing::Lower, Report::Done | Report::AtStop | Report::Heard(_)) => {
                self.doing = Doing::Search;
                self.points.clear();
                Next::Do(Task::Idle { seconds: 4.0 })
            }
            // Heard again after it had died on the way: it has been made richer for that.
            (Doing::Enrich, Report::Done | Report::AtStop | Report::Cannot | Report::Heard(_)) => {
                self.over(book);
                Next::Done
            }
            (Doing::Home { place }, Report::Done | Report::AtStop | Report::Heard(_)) => {
                self.home(book, place)
            }
            (Doing::Search, Report::Heard(look)) => {
                self.looks += 1;
                let clutch = book.facts.clutch_in.unwrap_or(1.5 * book.facts.idle.1);
                if look.rpm > 0.97 * clutch && !book.at_stop(Screw::Idle, Direction::Out) {
                    self.doing = Doing::Lower;
                    return Next::Do(Task::turn(Screw::Idle, Direction::Out, 4));
                }
                self.points.push((out, look.rpm));
                self.search(book)
            }
            (Doing::Search, Report::Stalled) => {
                // As slow as can be: the peak lies the other way.
                self.points.push((book.died_at_low, 1.0));
                self.search(book)
            }
            _ => Next::Do(Task::Idle { seconds: 4.0 }),
        }
    }

    fn search(&mut self, book: &mut Book) -> Next {
        if self.looks > MOST {
            return Next::Stuck(Symptom::NoPeak);
        }
        let (best, peak) = self
            .points
            .iter()
            .copied()
            .fold((0.0, 0.0), |a, b| if b.1 > a.1 { b } else { a });
        let fallen = |side: f64| {
            self.points
                .iter()
                .any(|(at, rpm)| side * (at - best) > 0.05 && *rpm < (1.0 - FALLEN) * peak)
        };
        let (rich, lean) = (fallen(1.0), fallen(-1.0));
        let rich = rich || book.at_stop(Screw::Low, Direction::Out);
        let lean = lean || book.at_stop(Screw::Low, Direction::In);
        if rich && lean {
            let place = self.fit(best, peak);
            self.doing = Doing::Home { place };
            return self.home(book, place);
        }
        if (best - self.from).abs() > FARTHEST {
            return Next::Stuck(Symptom::NoPeak);
        }
        // Richer first: it harms nothing.
        let side = if rich { -1.0 } else { 1.0 };
        let edge = self
            .points
            .iter()
            .map(|(at, _)| *at)
            .fold(best, |a, b| if side * b > side * a { b } else { a });
        step_to(book, edge + side * 0.125)
            .map_or_else(|| Next::Do(Task::Idle { seconds: 4.0 }), Next::Do)
    }

    /// The top of a parabola through the points around the best one.
    fn fit(&self, best: f64, peak: f64) -> f64 {
        let near: Vec<(f64, f64)> = self
            .points
            .iter()
            .filter(|(at, rpm)| (at - best).abs() < 0.4 && *rpm > 0.85 * peak)
            .map(|(at, rpm)| (at - best, rpm / peak))
            .collect();
        best + vertex(&near).map_or(0.0, |v| v.clamp(-0.125, 0.125))
    }

    fn home(&mut self, book: &mut Book, place: f64) -> Next {
        let away = place - book.screws.low.out;
        let stopped = (away > 0.0 && book.at_stop(Screw::Low, Direction::Out))
            || (away < 0.0 && book.at_stop(Screw::Low, Direction::In));
        if !stopped && let Some(task) = step_to(book, place) {
            return Next::Do(task);
        }
        if let Some(before) = book.low_peak.replace(book.screws.low.out)
            && (before - book.screws.low.out).abs() > 0.6
        {
            book.sign(Symptom::NoPeak);
        }
        if book.screws.low.absolute && book.screws.low.out > 0.75 {
            book.sign(Symptom::LowFarFromBase);
        }
        match final_enrichment(book.facts.carburetor) {
            Some((least, _)) if !book.at_stop(Screw::Low, Direction::Out) => {
                self.doing = Doing::Enrich;
                Next::Do(Task::Turn {
                    screw: Screw::Low,
                    direction: Direction::Out,
                    turns: least,
                })
            }
            _ => {
                self.over(book);
                Next::Done
            }
        }
    }

    fn over(&mut self, book: &mut Book) {
        book.high_at_low = Some(book.screws.high.out);
    }
}

/// The next move towards a place; none when it is there to a thirty-second.
fn step_to(book: &Book, place: f64) -> Option<Task> {
    let away = place - book.screws.low.out;
    let steps = (32.0 * away.abs()).round().min(f64::from(8u8)) as u16;
    if steps == 0 {
        return None;
    }
    let direction = if away > 0.0 {
        Direction::Out
    } else {
        Direction::In
    };
    Some(Task::Turn {
        screw: Screw::Low,
        direction,
        turns: Turn::thirty_seconds(steps),
    })
}

/// Where a least-squares parabola has its top; none where it has none.
fn vertex(points: &[(f64, f64)]) -> Option<f64> {
    if points.len() < 3 {
        return None;
    }
    let sum = |f: &dyn Fn(f64, f64) -> f64| points.iter().map(|(x, y)| f(*x, *y)).sum::<f64>();
    let n = points.len() as f64;
    let (x1, x2, x3, x4) = (
        sum(&|x, _| x),
        sum(&|x, _| x * x),
        sum(&|x, _| x.powi(3)),
        sum(&|x, _| x.powi(4)),
    );
    let (y0, y1, y2) = (sum(&|_, y| y), sum(&|x, y| x * y), sum(&|x, y| x * x * y));
    let det = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let all = det([[n, x1, x2], [x1, x2, x3], [x2, x3, x4]]);
    let b = det([[n, y0, x2], [x1, y1, x3], [x2, y2, x4]]) / all;
    let a = det([[n, x1, y0], [x1, x2, y1], [x2, x3, y2]]) / all;
    (a.is_finite() && b.is_finite() && a < 0.0).then(|| -b / (2.0 * a))
}
