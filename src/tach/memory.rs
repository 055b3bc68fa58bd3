//! The turns of the last while, laid one over the other.
//!
//! A look holds 16 to 64 turns, too few to learn from the sound alone how a firing of this engine
//! differs from a turn without one. So the turns of successive looks are kept: each look adds those
//! that are new, cut where the crank stands at the same angle, and those at another speed leave.
use super::angle::Turns;
use super::fit::TwoKinds;
use super::mixture::Mixture;
use crate::capture::WORKING_RATE;
use crate::spectrum::{HOP, sum, widest};

/// Points of a turn.
pub(super) const POINTS: usize = 32;
/// A turn, its mean taken off.
pub(super) type Points = [f32; POINTS];

/// Turns that are kept.
const KEPT: usize = 160;
/// Turns from which something is said.
const ENOUGH: usize = 24;
/// Shares of a look before its middle from which a first look is taken, and after it up to which
/// every look is.
const BEFORE: f64 = 0.4;
const AFTER: f64 = 0.2;
/// Speeds, as a ratio to the present one, of the turns that are kept.
const ALIKE: f64 = 1.1;
/// Change from look to look, as a ratio, and time between looks in seconds, beyond which all begins
/// anew.
const JUMP: f64 = 1.12;
const GAP: f64 = 0.1;
/// How much of what the new turns are off in crank angle is put right, and the most that counts, in
/// points.
const PULL: f64 = 0.2;
const FARTHEST: f64 = 1.5;
/// Time between two steps of the fits, in seconds.
const STEP: f64 = 0.06;
/// Time over which the turns are recent, in seconds.
const RECENT: f64 = 0.3;

/// Keeps turns, and tells two kinds of them apart.
#[derive(Debug, Default)]
pub struct Memory {
    /// One after the other, oldest first.
    turns: Vec<Points>,
    /// Turns a second when each was cut.
    rates: Vec<f64>,
    /// Crank angle in the middle of the last look, in turns, and the next turn to be cut.
    angle: f64,
    next: f64,
    /// Hop of the last look and turns a second at it.
    last: Option<(usize, f64)>,
    mixture: Mixture,
    /// What was told last, and the time since, in seconds.
    told: Option<TwoKinds>,
    since: f64,
}

impl Memory {
    /// Takes a fresh look around a hop, whose turns come `rate` times a second, and says what the
    /// turns of the last while show; `together` of them are kept as one.
    pub fn look(&mut self, hop: usize, rate: f64, together: u8, look: &Turns) -> TwoKinds {
        let rate = rate / f64::from(together);
        let per_turn = look.per_turn * usize::from(together);
        if per_turn == 0 || rate.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
            self.reset();
            return TwoKinds::default();
        }
        let in_look = (look.samples.len() / per_turn) as f64;
        let advance = self.last.and_then(|(last, before)| {
            let seconds = (hop.abs_diff(last) * HOP) as f64 / f64::from(WORKING_RATE);
            let jump = (rate / before).ln().abs() > JUMP.ln();
            (seconds < GAP && !jump).then_some(0.5 * seconds * (rate + before))
        });
        match advance {
            Some(advance) => {
                self.angle += advance;
                self.since += advance / rate;
            }
            None => {
                self.reset();
                self.next = -(BEFORE * in_look).floor();
            }
        }
        self.last = Some((hop, rate));
        widest!({
            self.forget(rate);
            let kept = self.turns.len();
            while self.next + 1.0 <= self.angle + AFTER * in_look {
                if let Some(turn) = cut(look, per_turn, self.next - self.angle) {
                    self.mixture.add(&turn);
                    self.turns.push(turn);
                    self.rates.push(rate);
                }
                self.next += 1.0;
            }
            self.align(kept);
            if self.turns.len() < ENOUGH {
                return TwoKinds::default();
            }
            if let Some(told) = self.told.filter(|_| self.since < STEP) {
                return told;
            }
            let recent = ((RECENT * rate) as usize).max(8);
            let told = self.mixture.tell(&self.turns, recent);
            self.told = Some(told);
            self.since = 0.0;
            told
        })
    }

    /// Lets go what is too old or was at another speed.
    #[inline(always)]
    fn forget(&mut self, rate: f64) {
        let alike = |r: &f64| (r / rate).ln().abs() < ALIKE.ln();
        let strange = self
            .rates
            .iter()
            .rposition(|r| !alike(r))
            .map_or(0, |i| i + 1);
        let spent = strange.max(self.turns.len().saturating_sub(KEPT));
        for turn in self.turns.drain(..spent) {
            self.mixture.remove(&turn);
        }
        self.rates.drain(..spent);
    }

    /// Puts the crank angle right where the turns after the first `kept` come early or late against
    /// the mean: a turn that comes early by s is the mean and s times its slope. Their strength does
    /// not matter, since a periodic curve has nothing in common with its slope.
    #[inline(always)]
    fn align(&mut self, kept: usize) {
        let new = &self.turns[kept..];
        if kept < ENOUGH || new.is_empty() {
            return;
        }
        let mean = self.mixture.mean();
        let slope: Points = std::array::from_fn(|i| {
            0.5 * (mean[(i + 1) % POINTS] - mean[(i + POINTS - 1) % POINTS])
        });
        let steep = f64::from(sum(&slope, &slope, |x, y| x * y));
        if steep <= 0.0 {
            return;
        }
        let off: f32 = new.iter().map(|turn| sum(turn, &slope, |x, s| x * s)).sum();
        let early = (f64::from(off) / (new.len() as f64 * steep)).clamp(-FARTHEST, FARTHEST);
        self.angle += PULL * early / POINTS as f64;
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.turns.clear();
        self.rates.clear();
        self.angle = 0.0;
        self.next = 0.0;
        self.last = None;
        self.mixture.reset();
        self.told = None;
    }
}

/// The turn of so many samples that begins so many turns after the middle of the look, each point the
/// mean over its share of the turn; none where the look does not hold all of it, or not all has sounded:
/// the silence before a recording is no skipped turn.
#[inline(always)]
fn cut(look: &Turns, per_turn: usize, from: f64) -> Option<Points> {
    let samples = &look.samples[..];
    let parts = per_turn.div_ceil(POINTS);
    let per_turn = per_turn as f64;
    let start = (samples.len() / 2) as f64 + from * per_turn;
    let step = per_turn / (POINTS * parts) as f64;
    // Curves need a sample before and two after.
    let sounded = &look.sounded;
    if start < sounded.start.max(1) as f64 || start + per_turn + 2.0 >= sounded.end as f64 {
        return None;
    }
    let mut turn = [0.0; POINTS];
    if step == 1.0 {
        // Every place lies as far after its sample, and all can be worked on together.
        let at = start as usize;
        let share = (start - at as f64) as f32;
        let near = &samples[at - 1..at + POINTS * parts + 2];
        for part in 0..parts {
            for (i, point) in turn.iter_mut().enumerate() {
                let from = i * parts + part;
                *point += between(
                    [near[from], near[from + 1], near[from + 2], near[from + 3]],
                    share,
                );
            }
        }
    } else {
        for (i, point) in turn.iter_mut().enumerate() {
            for part in 0..parts {
                let place = start + step * (i * parts + part) as f64;
                let at = place as usize;
                let share = (place - at as f64) as f32;
                let near = &samples[at - 1..at + 3];
                *point += between([near[0], near[1], near[2], near[3]], share);
            }
        }
    }
    let mean = sum(&turn, &turn, |x, _| x) / POINTS as f32;
    let parts = parts as f32;
    turn.iter_mut().for_each(|x| *x = (*x - mean) / parts);
    Some(turn)
}

/// The curve of the third degree through four samples, between the middle two.
#[inline(always)]
fn between([a, b, c, d]: [f32; 4], share: f32) -> f32 {
    let third = (d - a) / 6.0 + 0.5 * (b - c);
    let second = 0.5 * (a + c) - b;
    let first = c - b - second - third;
    ((third * share + second) * share + first) * share + b
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::tach::angle::SAMPLES;

    const PER_TURN: usize = 32;
    const RATE: f64 = 150.0;

    /// What stands in a crank angle in turns: a pulse at the beginning of those that fire and, a third
    /// further on, one of every turn.
    fn sound(angle: f64, fires: &impl Fn(i64) -> bool) -> f32 {
        let (turn, part) = (angle.floor() as i64, angle.rem_euclid(1.0));
        let bump = |at: f64| (30.0 * ((TAU * (part - at)).cos() - 1.0)).exp();
        let fired = if fires(turn) { 1.0 } else { 0.0 };
        (fired * bump(0.2) + 1.5 * bump(0.6)) as f32
    }

    /// What the turns show after three seconds, if the speed is read wrong by a factor.
    fn heard(wrong: f64, together: u8, fires: impl Fn(i64) -> bool) -> (TwoKinds, Points) {
        let mut memory = Memory::default();
        let mut told = TwoKinds::default();
        for hop in 0..180 {
            let angle = (hop * HOP) as f64 / f64::from(WORKING_RATE) * RATE;
            let place = |i| angle + (i as f64 - (SAMPLES / 2) as f64) / PER_TURN as f64;
            let look = Turns {
                samples: (0..SAMPLES).map(|i| sound(place(i), &fires)).collect(),
                sounded: 0..SAMPLES,
                per_turn: PER_TURN,
                ..Turns::default()
            };
            told = memory.look(hop, RATE * wrong, together, &look);
        }
        (told, memory.mixture.mean())
    }

    fn height(turn: &Points) -> f32 {
        turn.iter().fold(0.0, |most, x| x.max(most))
    }

    #[test]
    fn skipped_turns_are_counted() {
        // Every fifth and every seventh turn: 1 - 4/5 * 6/7 of all.
        let (told, _) = heard(1.0, 1, |turn| turn % 5 != 0 && turn % 7 != 0);
        assert!((told.share - 11.0 / 35.0).abs() < 0.02, "{told:?}");
        assert!(told.distance > 5.0 && told.gain > 0.5, "{told:?}");
        assert!((told.recent - 11.0 / 35.0).abs() < 0.05, "{told:?}");
    }

    #[test]
    fn turns_stay_one_over_the_other_when_the_speed_is_a_little_wrong() {
        // A thousandth is 5 points over the turns that are kept, more than the pulses are wide.
        let fires = |turn: i64| turn % 5 != 0;
        let (_, right) = heard(1.0, 1, fires);
        let (told, wrong) = heard(1.001, 1, fires);
        assert!((told.share - 0.2).abs() < 0.02, "{told:?}");
        assert!(height(&wrong) > 0.9 * height(&right));
    }

    #[test]
    fn firings_that_slip_by_half_a_period_are_the_same_but_for_a_shift() {
        // Every second turn, a turn late every 31st: periods of two turns, shifted by a half.
        let fires = |turn: i64| (turn + turn.div_euclid(31)) % 2 == 0;
        let (told, _) = heard(1.0, 2, fires);
        let [stays, turns] = told.unlike[0];
        assert!(stays < 0.05 && turns > 0.6, "{told:?}");
        // By a third of three turns.
        let fires = |turn: i64| (turn + turn.div_euclid(61)) % 3 == 0;
        let (told, _) = heard(1.0, 3, fires);
        let [stays, turns] = told.unlike[1];
        assert!(stays < 0.1 && turns > 0.6, "{told:?}");
    }

    #[test]
    fn the_silence_before_a_recording_is_no_turn() {
        let mut memory = Memory::default();
        for hop in 0..40 {
            // The sound begins where the first look has its middle.
            let before = (SAMPLES / 2)
                .saturating_sub((hop * HOP * PER_TURN) * RATE as usize / WORKING_RATE as usize);
            let look = Turns {
                samples: (0..SAMPLES)
                    .map(|i| {
                        if i < before {
                            0.0
                        } else {
                            (i % PER_TURN) as f32
                        }
                    })
                    .collect(),
                sounded: before..SAMPLES,
                per_turn: PER_TURN,
                ..Turns::default()
            };
            memory.look(hop, RATE, 1, &look);
        }
        assert!(memory.turns.len() > 80);
        let silent = |turn: &Points| turn.iter().filter(|x| x.abs() < 1e-3).count() > 8;
        assert!(!memory.turns.iter().any(silent));
    }

    #[test]
    fn another_speed_begins_anew() {
        let mut memory = Memory::default();
        let look = Turns {
            samples: vec![0.5; SAMPLES],
            sounded: 0..SAMPLES,
            per_turn: PER_TURN,
            ..Turns::default()
        };
        for hop in 0..60 {
            memory.look(hop, RATE, 1, &look);
        }
        assert!(memory.turns.len() > 100);
        memory.look(60, 1.2 * RATE, 1, &look);
        assert!(memory.turns.len() < 64);
    }
}
