//! What is heard of the engine, with errors: speed, octaves, nothing, skips late and uncertain.
use engine_note::firing::{Firing, FiringKind};
use engine_note::procedure::Heard;
use engine_note::reading::Frame;
use engine_note::tach::{Speed, Unreadable};
use engine_note::units::{Decibels, Rpm, Seconds};

use crate::engine::Engine;
use crate::lot::Lot;

#[derive(Clone, Copy, Debug)]
pub struct Errors {
    pub speed: f64,
    pub skip: f64,
    pub octave: f64,
    pub nothing: f64,
    /// How often light skipping is read as clean.
    pub deaf: f64,
    pub delay: f64,
}

pub const GOOD: Errors = Errors {
    speed: 0.003,
    skip: 0.05,
    octave: 0.005,
    nothing: 0.02,
    deaf: 0.0,
    delay: 0.2,
};

pub const POOR: Errors = Errors {
    skip: 0.08,
    octave: 0.02,
    nothing: 0.05,
    deaf: 0.6,
    ..GOOD
};

pub struct Hearing {
    errors: Errors,
    lot: Lot,
    /// Frames that are not yet old enough.
    waiting: Vec<Heard>,
    skips: std::collections::VecDeque<f64>,
    bias: f64,
    deaf: bool,
    last: f64,
    until: f64,
}

pub fn frame(t: f64, rpm: Option<f64>, kind: FiringKind, skip: Option<f64>) -> Heard {
    Heard {
        frame: Frame {
            t: Seconds(t),
            speed: rpm.map_or(Err(Unreadable::NoEngine), |rpm| {
                Ok(Speed {
                    rpm: Rpm(rpm),
                    low: Rpm(0.995 * rpm),
                    high: Rpm(1.005 * rpm),
                    confidence: 0.95,
                    other: None,
                })
            }),
            firing: Firing {
                kind,
                skip_ratio: skip,
                pattern: None,
                sub_order: None,
                variation: None,
            },
            level: Decibels(if rpm.is_some() { -20.0 } else { -60.0 }),
            clipped: 0.0,
        },
        skip_ratio: skip,
    }
}

impl Hearing {
    pub fn new(errors: Errors, seed: u64) -> Hearing {
        Hearing {
            errors,
            lot: Lot::new(seed),
            waiting: vec![],
            skips: std::collections::VecDeque::new(),
            bias: 0.0,
            deaf: false,
            last: 0.0,
            until: 0.0,
        }
    }

    pub fn hear(&mut self, t: f64, engine: &Engine) -> Vec<Heard> {
        let e = self.errors;
        self.skips.push_back(engine.skip);
        if self.skips.len() > 62 {
            self.skips.pop_front();
        }
        if t > self.until {
            // Errors of a look hang together.
            self.until = t + self.lot.between(1.0, 4.0);
            self.bias = e.skip * self.lot.normal();
            self.deaf = self.lot.chance(e.deaf);
        }
        let moving = (engine.speed - self.last).abs() > 0.003 * engine.speed.max(1.0);
        self.last = engine.speed;
        let rpm =
            (engine.running && engine.speed > 1_000.0 && !self.lot.chance(e.nothing)).then(|| {
                let error = if moving { 6.0 * e.speed } else { e.speed };
                let octave = if self.lot.chance(e.octave) {
                    self.lot.one(&[0.5, 2.0])
                } else {
                    1.0
                };
                octave * engine.speed * (1.0 + error * self.lot.normal())
            });
        let truth = self.skips.iter().sum::<f64>() / self.skips.len() as f64;
        let heard = (truth + self.bias + 0.3 * e.skip * self.lot.normal()).clamp(0.0, 1.0);
        let heard = if truth < 0.02 || (truth < 0.3 && self.deaf) {
            heard.min(0.03)
        } else {
            heard
        };
        let kind = match rpm {
            None => FiringKind::None,
            Some(_) if engine.on_limiter => FiringKind::Limiter,
            Some(_) if heard > 0.08 => FiringKind::FourStroking,
            Some(_) => FiringKind::Clean,
        };
        self.waiting.push(frame(t, rpm, kind, rpm.map(|_| heard)));
        let ready = self
            .waiting
            .iter()
            .take_while(|h| h.frame.t.0 <= t - e.delay)
            .count();
        self.waiting.drain(..ready).collect()
    }
}
