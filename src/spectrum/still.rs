//! Lines that stay where they are.
//!
//! A background machine or mains hum stands at the same frequencies for seconds, while an engine
//! whose throttle moves does not. The height that every bin keeps is followed slowly upwards and
//! quickly downwards, from the past and, as far as the look-ahead allows, from the future.
use std::collections::VecDeque;

use super::axis::LogAxis;
use super::lanes::{greater, widest};
use super::transform::Lines;

/// How fast a line comes to count as one that stays (0.6 s) and ceases to (0.1 s), per hop.
const RISE: f32 = 0.025;
const FALL: f32 = 0.15;
/// Hops between looks into the future.
const EVERY: usize = 8;

/// Delays lines and says which of them stay.
pub struct Still {
    ahead: usize,
    queue: VecDeque<Lines>,
    pool: Vec<Lines>,
    past: Vec<f32>,
    future: Vec<f32>,
    /// What stays, in the units of [`Lines::contrast`].
    pub height: Vec<f32>,
    age: usize,
}

#[inline(always)]
fn follow(height: &mut [f32], contrast: &[f32]) {
    for (s, g) in height.iter_mut().zip(contrast) {
        *s += (g - *s) * if g > s { RISE } else { FALL };
    }
}

impl Still {
    /// Looks `ahead` hops into the future; lines come out that much later.
    pub fn new(ahead: usize) -> Self {
        let blank = || vec![0.0; LogAxis::BINS];
        Still {
            ahead,
            queue: VecDeque::new(),
            pool: Vec::new(),
            past: blank(),
            future: blank(),
            height: blank(),
            age: 0,
        }
    }

    /// Hops by which lines come out later.
    pub fn delay(&self) -> usize {
        self.ahead
    }

    /// Takes the lines of a hop and leaves others in their place, which have no meaning; true when
    /// the oldest can be taken with [`Self::next`].
    pub fn push(&mut self, lines: &mut Lines) -> bool {
        let spare = self.pool.pop().unwrap_or_default();
        self.queue.push_back(std::mem::replace(lines, spare));
        self.queue.len() > self.ahead
    }

    /// Moves the oldest lines to `out` and brings [`Self::height`] up to them; false when there
    /// are none.
    pub fn next(&mut self, out: &mut Lines) -> bool {
        let Some(lines) = self.queue.pop_front() else {
            return false;
        };
        let anew = self.age.is_multiple_of(EVERY);
        self.age += 1;
        widest!({
            if anew {
                self.future.fill(0.0);
                for later in self.queue.iter().rev() {
                    follow(&mut self.future, &later.contrast);
                }
            }
            for ((h, p), f) in self.height.iter_mut().zip(&self.past).zip(&self.future) {
                *h = greater(greater(*p, *f), 0.0);
            }
            follow(&mut self.past, &lines.contrast);
        });
        self.pool.push(std::mem::replace(out, lines));
        true
    }
}
