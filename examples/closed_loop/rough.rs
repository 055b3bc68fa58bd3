//! Hearing at its roughest: gaps, a skip ratio that is always off one way, speeds off by a factor for a
//! second or two. All by lot, the same for the same seed.
use engine_note::synth::Random;

use super::hearing::HOP_S;

/// Share of the time in which nothing is read.
const NOTHING: (f64, f64) = (0.1, 0.3);
/// Gaps in seconds, and one in seven is a burst.
const GAP: (f64, f64) = (0.1, 0.8);
const BURST: (f64, f64) = (1.5, 4.5);
const BURSTS: f64 = 0.14;
/// The skip ratio is off by up to this, for a whole tuning.
const BIAS: f64 = 0.05;
/// Share of the time in which the speed is read off by a factor, and for how many seconds at a time.
const FACTORS: [f64; 3] = [2.0, 0.5, 1.5];
const OFF_SHARE: f64 = 0.02;
const OFF: (f64, f64) = (1.0, 2.0);

/// What is rough at a moment.
#[derive(Clone, Copy, Debug)]
pub struct Now {
    /// Nothing is read.
    pub nothing: bool,
    /// The speed is read so many times too high.
    pub factor: f64,
    /// Added to the skip ratio.
    pub bias: f64,
}

/// The dice of a tuning.
pub struct Rough {
    random: Random,
    bias: f64,
    share: f64,
    t: f64,
    gap_until: f64,
    next_gap: f64,
    factor: f64,
    off_until: f64,
    next_off: f64,
}

impl Rough {
    /// Draws them.
    pub fn new(seed: u64) -> Self {
        let mut random = Random::new(seed, 510);
        Rough {
            bias: random.between(-BIAS, BIAS),
            share: random.between(NOTHING.0, NOTHING.1),
            random,
            t: 0.0,
            gap_until: 0.0,
            next_gap: 1.0,
            factor: 1.0,
            off_until: 0.0,
            next_off: 20.0,
        }
    }

    /// One hop on.
    pub fn next(&mut self) -> Now {
        self.t += HOP_S;
        if self.t >= self.next_gap {
            let (from, to) = if self.random.chance(BURSTS) {
                BURST
            } else {
                GAP
            };
            self.gap_until = self.t + self.random.between(from, to);
            let mean = BURSTS * 0.5 * (BURST.0 + BURST.1) + (1.0 - BURSTS) * 0.5 * (GAP.0 + GAP.1);
            let apart = mean * (1.0 - self.share) / self.share;
            self.next_gap = self.gap_until - apart * (1.0 - self.random.unit()).ln();
        }
        if self.t >= self.next_off {
            let lasts = self.random.between(OFF.0, OFF.1);
            self.factor = self.random.one_of(&FACTORS);
            self.off_until = self.t + lasts;
            let apart = 0.5 * (OFF.0 + OFF.1) * (1.0 - OFF_SHARE) / OFF_SHARE;
            self.next_off = self.off_until - apart * (1.0 - self.random.unit()).ln();
        }
        Now {
            nothing: self.t < self.gap_until,
            factor: if self.t < self.off_until {
                self.factor
            } else {
                1.0
            },
            bias: self.bias,
        }
    }
}
