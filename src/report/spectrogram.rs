//! From sound and frames to the course of a clip: the lines of each moment by frequency, as the
//! tachometer was given them, and by engine order, cut along the speed that was read.
//!
//! The lines by frequency do not depend on the reading: where it is wrong, they show it. By order a
//! speed that is right makes whole orders straight; one read at half the truth leaves nothing at the
//! odd orders, and one read at double the truth puts lines of equal height between them. Without a
//! speed there is no order.
use std::collections::VecDeque;

use super::column::{Column, HERTZ_ROWS, HERTZ_STEP, ORDER_ROWS, ROWS_AN_ORDER};
use super::course::Course;
use crate::capture::WORKING_RATE;
use crate::reading::Frame;
use crate::spectrum::{HOP, Lines, LogAxis, Spectrum};
use crate::tach::angle::{Angle, FLOORS, Track, Turns, slope};
use crate::tach::curve::Curve;
use crate::units::Hertz;

/// Hops on either side of a moment along which the sound is cut.
const AROUND: usize = 20;
/// A change of speed from hop to hop, as a ratio, beyond which the path is broken.
const BREAK: f64 = 1.12;
/// Change of speed a second, as a natural logarithm, from which the look is narrow.
const SNAP: f64 = 0.8;
/// Samples of sound kept before the moment that is looked at: half of the longest look.
const KEPT: usize = 4_096;

/// A frame that waits for those after it.
struct Waiting {
    frame: Frame,
    hop: usize,
    /// Turns a second.
    speed: Option<f64>,
}

/// Gathers the [`Course`] of a clip. Memory does not grow with its length.
pub struct Spectrogram {
    course: Course,
    spectrum: Spectrum,
    lines: Lines,
    places: Vec<Place>,
    angle: Angle,
    /// Sound of each channel at the working rate that may still be needed.
    sound: Vec<Curve>,
    /// Index in the stream of the first sample kept.
    start: usize,
    waiting: VecDeque<Waiting>,
    /// How many of those that wait are done and only stand around others.
    done: usize,
    frame: Vec<f32>,
    path: Vec<f64>,
}

/// Where a row of frequency lies on the logarithmic axis.
enum Place {
    /// Below its first bin.
    Below,
    /// Among several bins, of which the highest counts.
    Among(usize, usize),
    /// Between a bin and the next: the share of the next.
    Between(usize, f32),
}

impl Spectrogram {
    /// Nothing heard yet.
    pub fn new() -> Self {
        let place = |row: usize| {
            let at = |hertz: f64| LogAxis::bin(Hertz(hertz));
            let middle = row as f64 * HERTZ_STEP;
            if row < 2 {
                return Place::Below;
            }
            let (low, high) = (at(middle - HERTZ_STEP / 2.0), at(middle + HERTZ_STEP / 2.0));
            if high - low >= 1.0 {
                Place::Among(low.ceil() as usize, high.floor() as usize)
            } else {
                let bin = at(middle);
                Place::Between(bin as usize, bin.fract() as f32)
            }
        };
        Spectrogram {
            course: Course::default(),
            spectrum: Spectrum::new(),
            lines: Lines::default(),
            places: (0..HERTZ_ROWS).map(place).collect(),
            angle: Angle::new(),
            sound: Vec::new(),
            start: 0,
            waiting: VecDeque::new(),
            done: 0,
            frame: Vec::new(),
            path: Vec::new(),
        }
    }

    /// Takes sound at the working rate, as many samples of each channel. It has to come before the
    /// frames that were read in it.
    pub fn hear(&mut self, channels: &[Vec<f32>]) {
        self.sound.resize(channels.len(), Curve::default());
        for (kept, new) in self.sound.iter_mut().zip(channels) {
            kept.push(new);
        }
    }

    /// Takes the next frame.
    pub fn push(&mut self, frame: &Frame) {
        let samples = frame.t.0 * f64::from(WORKING_RATE);
        self.waiting.push_back(Waiting {
            frame: *frame,
            hop: (samples / HOP as f64).round().max(0.0) as usize,
            speed: frame
                .speed
                .ok()
                .map(|speed| speed.rpm.hertz().0)
                .filter(|speed| (1.0..=2_000.0).contains(speed)),
        });
        while self.waiting.len() > self.done + AROUND {
            self.develop();
        }
    }

    /// Ends the clip.
    pub fn finish(mut self) -> Course {
        while self.waiting.len() > self.done {
            self.develop();
        }
        self.course
    }

    /// Looks at the oldest frame that is not done.
    fn develop(&mut self) {
        let Some(Waiting { frame, hop, speed }) = self.waiting.get(self.done) else {
            return;
        };
        let (frame, hop, speed) = (*frame, *hop, *speed);
        let hertz = self.by_frequency(hop);
        let orders = speed.map(|speed| self.by_order(hop, speed));
        self.course.push(frame.t, Column::of(&frame, hertz, orders));
        self.done += 1;
        if self.done > AROUND {
            self.waiting.pop_front();
            self.done -= 1;
        }
        let spent = (hop * HOP).saturating_sub(KEPT).saturating_sub(self.start);
        // A sample is moved once on average.
        if spent > KEPT {
            for kept in &mut self.sound {
                kept.forget(spent.min(kept.cubics().len()));
            }
            self.start += spent;
        }
    }

    /// Heights of the lines at each row of frequency, in the channel where they are highest.
    fn by_frequency(&mut self, hop: usize) -> Vec<f32> {
        let mut rows = vec![0.0f32; HERTZ_ROWS];
        let first = (hop * HOP) as isize - (Spectrum::FRAME / 2) as isize - self.start as isize;
        for sound in &self.sound {
            self.frame.clear();
            self.frame.extend((0..Spectrum::FRAME as isize).map(|at| {
                let at = usize::try_from(first + at).ok();
                at.and_then(|at| sound.cubics().get(at))
                    .map_or(0.0, |[sample, ..]| *sample)
            }));
            self.spectrum.lines(&self.frame, &mut self.lines);
            let contrast = &self.lines.contrast;
            for (row, place) in rows.iter_mut().zip(&self.places) {
                let height = match place {
                    Place::Below => 0.0,
                    Place::Among(from, to) => contrast[*from..=*to]
                        .iter()
                        .fold(f32::MIN, |most, height| most.max(*height)),
                    Place::Between(bin, share) => {
                        contrast[*bin] + (contrast[*bin + 1] - contrast[*bin]) * share
                    }
                };
                *row = row.max(height);
            }
        }
        rows
    }

    /// Heights of the lines at each row of order.
    fn by_order(&mut self, hop: usize, speed: f64) -> Vec<f32> {
        let mut rows = vec![0.0f32; ORDER_ROWS];
        let middle = self.follow(speed);
        let change = slope(&self.path, middle);
        for sound in &self.sound {
            let track = Track {
                sound: sound.cubics(),
                origin: (hop * HOP) as isize - (middle * HOP) as isize - self.start as isize,
                hop: HOP,
                path: &self.path,
            };
            let turns = self.angle.cut(&track, middle, 1.0, change.abs() > SNAP);
            for (at, row) in rows.iter_mut().enumerate() {
                *row = row.max(height(turns, at));
            }
        }
        rows
    }

    /// Lays out the path of the speed around the frame looked at, level beyond gaps and jumps, and
    /// says where in it that frame is.
    fn follow(&mut self, speed: f64) -> usize {
        let from = self.done.saturating_sub(AROUND);
        let to = (self.done + AROUND + 1).min(self.waiting.len());
        let middle = self.done - from;
        self.path.clear();
        self.path.resize(to - from, speed);
        let joined = |a: f64, b: f64| a / b < BREAK && b / a < BREAK;
        let mut last = speed;
        for at in (from..self.done).rev() {
            match self.waiting[at].speed {
                Some(next) if joined(next, last) => last = next,
                _ => {
                    self.path[..=at - from].fill(last);
                    break;
                }
            }
            self.path[at - from] = last;
        }
        let mut last = speed;
        for at in self.done + 1..to {
            match self.waiting[at].speed {
                Some(next) if joined(next, last) => last = next,
                _ => {
                    self.path[at - from..].fill(last);
                    break;
                }
            }
            self.path[at - from] = last;
        }
        middle
    }
}

impl Default for Spectrogram {
    fn default() -> Self {
        Self::new()
    }
}

/// Height over the floor at a row of order, in units of 10 dB, -0.3 to 3.
fn height(turns: &Turns, row: usize) -> f32 {
    let bins = 1.0 / (turns.order_per_bin * ROWS_AN_ORDER as f64);
    let order = row as f64 / ROWS_AN_ORDER as f64;
    let (low, high) = ((row as f64 - 0.5) * bins, (row as f64 + 0.5) * bins);
    // The lowest bins hold the window's own skirt.
    if row as f64 * bins < 2.0 {
        return 0.0;
    }
    let level = if high - low >= 1.0 {
        let range = low.ceil() as usize..=(high.floor() as usize).min(turns.orders.len() - 1);
        turns.orders.get(range).map_or(f32::MIN, |bins| {
            bins.iter().fold(f32::MIN, |most, level| most.max(*level))
        })
    } else {
        let middle = row as f64 * bins;
        let bin = (middle as usize).min(turns.orders.len() - 2);
        let (a, b) = (turns.orders[bin], turns.orders[bin + 1]);
        a + (b - a) * middle.fract() as f32
    };
    // The floors lie at the whole orders; the one below order 1 stands for all under it.
    let below = (order as usize).min(FLOORS - 2);
    let (a, b) = (turns.floor[below], turns.floor[below + 1]);
    let floor = a + (b - a) * (order - below as f64).min(1.0) as f32;
    (level - floor).clamp(-0.3, 3.0)
}
