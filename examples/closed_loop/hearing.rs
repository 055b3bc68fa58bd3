//! What listens to the engine: the program, or somebody who hears perfectly but for stated errors.
use std::collections::VecDeque;

use engine_note::firing::{Firing, FiringKind};
use engine_note::machine::Profile;
use engine_note::procedure::{Answer, Begin, Heard, Procedure};
use engine_note::reading::Frame;
use engine_note::session::{Event, Session};
use engine_note::synth::{Live, Random};
use engine_note::tach::{Speed, Unreadable};
use engine_note::units::{Decibels, Rpm, Seconds};

use super::dull::Dull;
use super::rough::{Now, Rough};

/// Time between two looks.
pub const HOP_S: f64 = 0.008;
/// Errors of the perfect hearing: speed as a share, skip ratio, delay in seconds. Both errors wander
/// slowly (0.5 s), so that they do not average out within a look.
const SPEED_ERROR: f64 = 0.003;
const SKIP_ERROR: f64 = 0.05;
const DELAY: f64 = 0.2;

/// How far readings made from the truth are off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Errors {
    /// Not at all.
    None,
    /// By the stated errors.
    Stated,
    /// By the stated errors and all that is in [`Rough`].
    Rough,
    /// By the stated error of the speed, and a skip ratio as in [`Dull`].
    Dull,
}

/// The procedure with readings from the truth, without sound.
pub struct Perfect {
    procedure: Procedure,
    random: Random,
    errors: [f64; 2],
    stated: bool,
    rough: Option<Rough>,
    dull: Option<Dull>,
    skipping: bool,
    late: VecDeque<Heard>,
}

impl Perfect {
    /// The delay is always there.
    pub fn new(machine: &Profile, begin: Begin, seed: u64, errors: Errors) -> Self {
        Perfect {
            procedure: Procedure::new(machine, begin),
            random: Random::new(seed, 500),
            errors: [0.0; 2],
            stated: errors != Errors::None,
            rough: (errors == Errors::Rough).then(|| Rough::new(seed)),
            dull: (errors == Errors::Dull).then(|| Dull::new(seed)),
            skipping: false,
            late: VecDeque::new(),
        }
    }

    /// One hop; appends the lines of the stream.
    pub fn hop(&mut self, now: f64, live: &Live, answers: &[Answer], lines: &mut Vec<String>) {
        let heard = self.look(now, live);
        self.late.push_back(heard);
        let due = now - DELAY;
        let mut out = vec![];
        while self.late.front().is_some_and(|h| h.frame.t.0 <= due) {
            out.extend(self.late.pop_front());
        }
        let step = self.procedure.step(Seconds(now), &out, answers);
        let t_s = Seconds(now);
        for prompt in step.prompts {
            lines.push(line(&Event::Prompt { t_s, prompt }));
        }
        if let Some(outcome) = step.outcome {
            lines.push(line(&Event::Result { t_s, outcome }));
        }
    }

    fn look(&mut self, now: f64, live: &Live) -> Heard {
        let pull: f64 = (-HOP_S / 0.5f64).exp();
        for error in &mut self.errors {
            *error = pull * *error + (1.0 - pull * pull).sqrt() * self.random.normal();
        }
        let [speed_error, skip_error] = if self.stated { self.errors } else { [0.0; 2] };
        let rough = self.rough.as_mut().map_or(
            Now {
                nothing: false,
                factor: 1.0,
                bias: 0.0,
            },
            Rough::next,
        );
        let rpm = live.speed().0 * (1.0 + SPEED_ERROR * speed_error) * rough.factor;
        let runs = live.runs() && !rough.nothing;
        let skip_ratio = runs.then(|| {
            let truth = live.skip_ratio();
            if let Some(dull) = &mut self.dull {
                return dull.hear(truth).clamp(0.0, 1.0);
            }
            // Read twice too fast every second turn is silent, read at half speed none is.
            let taken = match rough.factor {
                f if f > 1.9 => 0.5 + 0.5 * truth,
                f if f > 1.4 => 1.0 / 3.0,
                f if f < 0.9 => 0.0,
                _ => truth,
            };
            (taken + rough.bias + SKIP_ERROR * skip_error).clamp(0.0, 1.0)
        });
        self.skipping = skip_ratio.is_some_and(|s| s > if self.skipping { 0.04 } else { 0.07 });
        let kind = match (runs, live.limited(), self.skipping) {
            (false, ..) => FiringKind::None,
            (_, true, _) => FiringKind::Limiter,
            (_, _, true) => FiringKind::FourStroking,
            _ => FiringKind::Clean,
        };
        let speed = if runs {
            Ok(Speed {
                rpm: Rpm(rpm),
                low: Rpm(rpm * (1.0 - 2.0 * SPEED_ERROR)),
                high: Rpm(rpm * (1.0 + 2.0 * SPEED_ERROR)),
                confidence: 0.99,
                other: None,
            })
        } else {
            Err(Unreadable::NoEngine)
        };
        Heard {
            frame: Frame {
                t: Seconds(now),
                speed,
                firing: Firing {
                    kind,
                    skip_ratio,
                    pattern: None,
                    sub_order: None,
                    variation: None,
                },
                level: Decibels(-20.0),
                clipped: 0.0,
            },
            skip_ratio,
        }
    }
}

/// The program's own session on the engine's sound.
pub struct Program {
    session: Session,
    events: Vec<Event>,
}

impl Program {
    /// A session at `rate` samples a second.
    pub fn new(machine: &Profile, begin: Begin, rate: u32) -> Result<Self, String> {
        Ok(Program {
            session: Session::new(rate, 1, machine, begin).map_err(|e| e.to_string())?,
            events: vec![],
        })
    }

    /// Hears a block; appends the lines of the stream.
    pub fn hop(&mut self, block: &[f32], answers: &[Answer], lines: &mut Vec<String>) {
        for answer in answers {
            self.session.answer(*answer);
        }
        self.events.clear();
        self.session.push(block, &mut self.events);
        lines.extend(self.events.iter().map(line));
    }
}

fn line(event: &Event) -> String {
    serde_json::to_string(event).unwrap_or_default()
}
