//! One channel heard from samples to frames.
use std::collections::VecDeque;

use super::frame::Frame;
use super::listener::Look;
use super::presence::{Presence, SMOOTH};
use crate::capture::WORKING_RATE;
use crate::firing::{Firing, FiringKind, Judge};
use crate::machine::Profile;
use crate::spectrum::HOP;
use crate::tach::angle::Turns;
use crate::tach::{LookAhead, Moment, Speed, Tachometer, Throttle, Unreadable, Usual};
use crate::units::{Decibels, Rpm, Seconds};

/// Hops of sound whose power makes the level of a frame: 0.13 s around it.
const LEVEL: usize = 8;
/// Level below which nothing is heard.
const SILENT: Decibels = Decibels(-75.0);
/// Hops on either side over which the score is averaged when there is time: 1 s.
const AROUND: usize = 60;
/// And over which it must not be below so much by itself, since a speed may be wrong for a moment: 0.1 s.
const NEAR: usize = 6;
const NEAR_LEAST: f64 = -4.5;
/// Averaged score (log odds) from which an engine is believed, and down to which it stays believed:
/// of a clip that may hold anything, and live, where somebody holds the microphone to an engine.
const BELIEVE: (f64, f64) = (-1.0, -2.0);
const BELIEVE_LIVE: (f64, f64) = (-0.8, -1.8);
/// Probability of the base below which a speed is not told.
const LEAST: f64 = 0.3;
/// Parts of the 95 % interval, as ratios, fitted to the errors on synthetic engines: the engine's
/// own wander within a look; the standard error of the lines, which counts only noise and is far too
/// small by itself; and the square of what a speed that changes by more than [`STILL`] a second adds
/// for each unit of change.
const WANDER: f64 = 0.001_8;
const LINES: f64 = 9.0;
const RAMP: f64 = 0.000_9;
const STILL: f64 = 0.05;
/// The live score follows at half of the quick memory.
const SLOWER: f64 = 0.5;
/// Log odds that an engine that was heard a moment ago still runs, where somebody says that one
/// stands there (nineteen to one), and what is left of them after each hop in which it is not heard:
/// they fade in 10 s. To be believed first it needs the score alone, since an engine that stands is
/// part of every tuning.
const EXPECTED: f64 = 2.944;
const FADES: f64 = 0.998_4;

/// Change of speed from hop to hop, as a ratio, that no crank makes, and the hops for which the base
/// is in doubt after it.
const JUMP: f64 = 1.125;
const DOUBTED: usize = 62;

/// A frame with the quality by which channels are compared.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard {
    pub frame: Frame,
    pub quality: f64,
}

/// A hop whose presence is not yet decided.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    frame: Frame,
    speed: Speed,
    score: f64,
    reason: Unreadable,
    silent: bool,
}

impl Waiting {
    /// Its score, silence included.
    fn heard(&self) -> f64 {
        if self.silent { -6.0 } else { self.score }
    }
}

/// Hears one channel.
pub(super) struct Ear {
    tachometer: Tachometer,
    decision: Decision,
}

/// From what the tachometer says to frames.
struct Decision {
    judge: Judge,
    presence: Presence,
    look: Look,
    /// Power summed over each hop not yet used up, and the hop under way.
    powers: VecDeque<f64>,
    first_power: usize,
    partial: (f64, usize),
    waiting: VecDeque<Waiting>,
    past: VecDeque<f64>,
    smooth: Option<f64>,
    believed: bool,
    /// Log odds added by what was heard before.
    expected: f64,
    /// The last speed, and hops for which its base stays in doubt after a jump, with the ratio of
    /// the jump.
    last: f64,
    doubt: (usize, f64),
}

impl Ear {
    pub(super) fn new(machine: &Profile, look: Look) -> Self {
        let ahead = match look {
            Look::Live | Look::Beside => LookAhead::LIVE,
            Look::Ahead => LookAhead::CLIP,
        };
        let decision = Decision {
            judge: Judge::new(),
            presence: Presence::new(),
            look,
            powers: VecDeque::new(),
            first_power: 0,
            partial: (0.0, 0),
            waiting: VecDeque::new(),
            past: VecDeque::new(),
            smooth: None,
            believed: false,
            expected: 0.0,
            last: 0.0,
            doubt: (0, 1.0),
        };
        Ear {
            tachometer: Tachometer::new(
                ahead,
                machine.search_band(),
                machine.firings_per_revolution(),
            )
            .with_usual(Usual {
                idle: machine.speeds.idle,
                full_throttle: machine.speeds.full_throttle,
                throttle: None,
            }),
            decision,
        }
    }

    /// How the throttle is held from now on, as far as somebody knows.
    pub(super) fn hold(&mut self, throttle: Option<Throttle>) {
        self.tachometer.hold(throttle);
    }

    pub(super) fn push(&mut self, samples: &[f32], out: &mut VecDeque<Heard>) {
        let Ear {
            tachometer,
            decision,
        } = self;
        decision.power(samples);
        tachometer.push(samples, &mut |m, look| decision.hop(m, look, out));
    }

    pub(super) fn finish(&mut self, out: &mut VecDeque<Heard>) {
        let Ear {
            tachometer,
            decision,
        } = self;
        if decision.partial.1 > 0 {
            decision
                .powers
                .push_back(decision.partial.0 / decision.partial.1 as f64);
        }
        tachometer.finish(&mut |m, look| decision.hop(m, look, out));
        while !decision.waiting.is_empty() {
            decision.settle(out);
        }
    }
}

impl Decision {
    /// Sums the power of each hop.
    fn power(&mut self, samples: &[f32]) {
        for s in samples {
            self.partial.0 += f64::from(s * s);
            self.partial.1 += 1;
            if self.partial.1 == HOP {
                self.powers.push_back(self.partial.0 / HOP as f64);
                self.partial = (0.0, 0);
            }
        }
    }

    /// Mean power around a hop.
    fn level(&mut self, hop: usize) -> Decibels {
        let from = hop.saturating_sub(LEVEL / 2);
        while self.first_power < from && self.powers.len() > 1 {
            self.powers.pop_front();
            self.first_power += 1;
        }
        let n = (hop + LEVEL / 2)
            .saturating_sub(self.first_power)
            .clamp(1, self.powers.len().max(1));
        let sum: f64 = self.powers.iter().take(n).sum();
        Decibels::from_power(sum / n as f64)
    }

    fn hop(&mut self, moment: &Moment, look: &Turns, out: &mut VecDeque<Heard>) {
        let level = self.level(moment.hop);
        let firing = self.judge.judge(moment, look);
        let score = self.presence.score(moment, &self.judge, look);
        let moved = RAMP * (moment.change.abs() - STILL).max(0.0);
        let half = (WANDER.powi(2) + (LINES * moment.error).powi(2) + moved)
            .sqrt()
            .min(0.5);
        let rpm = moment.rpm.0;
        let speed = Speed {
            rpm: Rpm(rpm),
            low: Rpm(rpm * (1.0 - half)),
            high: Rpm(rpm * (1.0 + half)),
            confidence: moment.probability,
            other: (moment.runner_up.1 > 0.25).then_some(Rpm(moment.runner_up.0.0)),
        };
        let speed = self.unjumped(speed);
        let t = Seconds((moment.hop * HOP) as f64 / f64::from(WORKING_RATE));
        self.waiting.push_back(Waiting {
            frame: Frame {
                t,
                speed: Ok(speed),
                firing,
                level,
                clipped: 0.0,
            },
            speed,
            score: score.clamp(-12.0, 12.0),
            reason: self.presence.reason(moment, &self.judge),
            silent: level < SILENT,
        });
        let enough = match self.look {
            Look::Live | Look::Beside => 0,
            Look::Ahead => AROUND,
        };
        if self.waiting.len() > enough {
            self.settle(out);
        }
    }

    /// A crank does not change its speed by an eighth in a hop: live, where the sound to come cannot
    /// be asked, the base is in doubt for a second after a jump, unless the speed jumps back.
    fn unjumped(&mut self, mut speed: Speed) -> Speed {
        if self.look == Look::Ahead {
            return speed;
        }
        let jump = speed.rpm.0 / std::mem::replace(&mut self.last, speed.rpm.0);
        if jump.is_finite() && !(1.0 / JUMP..JUMP).contains(&jump) {
            let back = self.doubt.0 > 0 && (self.doubt.1 * jump).ln().abs() < JUMP.ln();
            self.doubt = if back { (0, 1.0) } else { (DOUBTED, jump) };
        }
        if self.doubt.0 > 0 {
            self.doubt.0 -= 1;
            speed.confidence = speed.confidence.min(0.5);
            speed.other = speed.other.or(Some(Rpm(speed.rpm.0 / self.doubt.1)));
        }
        speed
    }

    /// The mean score of a hop and so many on either side.
    fn around(&self, score: f64, hops: usize) -> f64 {
        let later = self.waiting.iter().take(hops).map(Waiting::heard);
        let earlier = self.past.iter().rev().take(hops).copied();
        let (sum, n) = [score]
            .into_iter()
            .chain(earlier)
            .chain(later)
            .fold((0.0, 0), |(s, n), v| (s + v, n + 1));
        sum / f64::from(n)
    }

    /// Decides whether an engine is there at the oldest hop that waits.
    fn settle(&mut self, out: &mut VecDeque<Heard>) {
        let Some(mut w) = self.waiting.pop_front() else {
            return;
        };
        let score = w.heard();
        let (mean, near) = match self.look {
            Look::Live | Look::Beside => {
                let s = self
                    .smooth
                    .map_or(score, |s| s + SLOWER * SMOOTH * (score - s));
                self.smooth = Some(s);
                if self.look == Look::Beside {
                    self.expected = if self.believed {
                        EXPECTED
                    } else {
                        self.expected * FADES
                    };
                }
                (s + self.expected, 0.0)
            }
            Look::Ahead => {
                let means = (self.around(score, AROUND), self.around(score, NEAR));
                self.past.push_back(score);
                if self.past.len() > AROUND {
                    self.past.pop_front();
                }
                means
            }
        };
        let (believe, doubt) = match self.look {
            Look::Live | Look::Beside => BELIEVE_LIVE,
            Look::Ahead => BELIEVE,
        };
        self.believed = mean > if self.believed { doubt } else { believe };
        let unreadable = if w.silent {
            Some(Unreadable::Silence)
        } else if !self.believed || near < NEAR_LEAST {
            Some(w.reason)
        } else if w.speed.confidence < LEAST {
            Some(if w.reason == Unreadable::OtherPitch {
                Unreadable::TooMuchNoise
            } else {
                w.reason
            })
        } else {
            None
        };
        match unreadable {
            Some(reason) => {
                w.frame.speed = Err(reason);
                w.frame.firing = Firing {
                    kind: FiringKind::None,
                    skip_ratio: None,
                    pattern: None,
                    sub_order: None,
                    variation: None,
                };
            }
            None => {
                let sure = 1.0 / (1.0 + (-mean).exp());
                w.speed.confidence *= sure;
                w.frame.speed = Ok(w.speed);
            }
        }
        out.push_back(Heard {
            frame: w.frame,
            quality: score.max(-6.0) + 4.0 * w.speed.confidence,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn speed(rpm: f64) -> Speed {
        Speed {
            rpm: Rpm(rpm),
            low: Rpm(0.99 * rpm),
            high: Rpm(1.01 * rpm),
            confidence: 0.95,
            other: None,
        }
    }

    fn confidences(look: Look, speeds: &[f64]) -> Vec<f64> {
        let mut decision = Ear::new(&Profile::default(), look).decision;
        let unjumped = |rpm: &f64| decision.unjumped(speed(*rpm)).confidence;
        speeds.iter().map(unjumped).collect()
    }

    #[test]
    fn a_jump_that_no_crank_makes_is_doubted_for_a_second() {
        let speeds = [vec![2_900.0; 3], vec![8_700.0; DOUBTED + 2]].concat();
        let told = confidences(Look::Live, &speeds);
        assert!(told[..3].iter().all(|c| *c == 0.95));
        assert!(told[3..3 + DOUBTED].iter().all(|c| *c == 0.5));
        assert_eq!(told[3 + DOUBTED], 0.95);
    }

    #[test]
    fn a_speed_that_jumps_back_is_believed_at_once() {
        let told = confidences(Look::Live, &[2_900.0, 8_700.0, 8_700.0, 2_950.0]);
        assert_eq!(told, [0.95, 0.5, 0.5, 0.95]);
    }

    #[test]
    fn a_snap_is_no_jump() {
        // 350 % a second: 5.6 % a hop.
        let speeds: Vec<f64> = (0..20).map(|i| 2_900.0 * 1.056f64.powi(i)).collect();
        assert!(confidences(Look::Live, &speeds).iter().all(|c| *c == 0.95));
    }

    #[test]
    fn a_clip_is_judged_by_what_follows() {
        let told = confidences(Look::Ahead, &[2_900.0, 8_700.0, 8_700.0]);
        assert_eq!(told, [0.95; 3]);
    }
}
