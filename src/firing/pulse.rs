//! The short pulse of a firing, by its energy turn by turn.
//!
//! Below a kilohertz a muffler rings from one firing into the next, an intake sounds in every turn, and the
//! two kinds of turns run into each other. What rises within a few degrees of crank angle is over before the
//! next turn and is there only where a turn fired: its energy at the angle where most of it lies stands ten
//! decibels lower in the turns without one.
use crate::spectrum::{best_cut, sum, widest};
use crate::tach::angle::Turns;

/// Bins of a turn, and how many of them on either side of the loudest belong to its pulse.
const BINS: usize = 16;
const BESIDE: usize = 1;
/// Turns that have to be heard.
const LEAST: usize = 8;
/// Energies below this part of the mean are no less than it, as a ratio.
const FLOOR: f32 = 1e-4;

/// What the pulses of a look show.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pulses {
    /// Share of the variance of their energy, in nepers, that two kinds explain, 0 to 1: 0.64 where there is
    /// but one.
    pub two_kinds: f64,
    /// Share of the turns of the weaker kind, 0 to 1.
    pub weak_share: f64,
    /// How far the kinds are apart, in nepers of energy.
    pub apart: f64,
    /// Energy of a pulse against the mean of as many bins of the turn, in nepers.
    pub height: f64,
}

/// Room to work in.
#[derive(Debug, Default)]
pub struct Pulse {
    /// Square of what bends within a sample or two, and its sum over each bin of each turn.
    bends: Vec<f32>,
    bins: Vec<f32>,
    energy: Vec<f32>,
    places: Vec<u32>,
    order: Vec<f32>,
}

impl Pulse {
    /// The pulses of a look.
    pub fn pulses(&mut self, look: &Turns) -> Pulses {
        let wide = look.per_turn / BINS;
        let turns = look.sounded.start.div_ceil(look.per_turn.max(1))
            ..(look.samples.len().min(look.sounded.end) / look.per_turn.max(1));
        if wide == 0 || turns.len() < LEAST {
            return Pulses::default();
        }
        let heard = &look.samples[turns.start * look.per_turn..turns.end * look.per_turn];
        self.bends.clear();
        self.bends.resize(heard.len() - 2, 0.0);
        widest!({
            let three = heard.iter().zip(&heard[1..]).zip(&heard[2..]);
            for (bend, ((a, b), c)) in self.bends.iter_mut().zip(three) {
                *bend = (c - 2.0 * b + a) * (c - 2.0 * b + a);
            }
        });
        self.bins.clear();
        self.bins
            .extend(self.bends.chunks(wide).map(|bin| bin.iter().sum::<f32>()));
        let mut by_angle = [0.0f32; BINS];
        for turn in self.bins.as_chunks::<BINS>().0 {
            for (mean, bin) in by_angle.iter_mut().zip(turn) {
                *mean += bin / turns.len() as f32;
            }
        }
        let at =
            |angle: usize| -> f32 { (0..=2 * BESIDE).map(|i| by_angle[(angle + i) % BINS]).sum() };
        let from = (0..BINS).fold(0, |best, i| if at(i) > at(best) { i } else { best });
        let mean: f32 = by_angle.iter().sum::<f32>() / BINS as f32;
        if mean <= 0.0 {
            return Pulses::default();
        }
        let as_many = mean * (2 * BESIDE + 1) as f32;
        self.energy.clear();
        self.energy.extend(
            (self.bins[from..].chunks(BINS))
                .filter_map(|turn| turn.get(..=2 * BESIDE))
                .map(|pulse| (pulse.iter().sum::<f32>() / as_many + FLOOR).ln()),
        );
        let n = self.energy.len() as f64;
        let middle = sum(&self.energy, &self.energy, |x, _| x) / n as f32;
        self.energy.iter_mut().for_each(|e| *e -= middle);
        let e = &self.energy[..];
        let variance = f64::from(sum(e, e, |x, y| x * y)) / n;
        let (best, cut) = best_cut(e, &mut self.places, &mut self.order);
        let weak = e.iter().filter(|e| **e <= cut).count() as f64 / n;
        // Of two means whose weighted sum is nought.
        let apart = (best / (weak * (1.0 - weak)).max(1.0 / n)).sqrt();
        Pulses {
            two_kinds: if variance > 0.0 { best / variance } else { 0.0 },
            weak_share: weak,
            apart,
            height: f64::from((at(from) / as_many).ln()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 40 turns of 64 samples: a slow wave in each, and a short pulse at `angle` in those that fire.
    fn look(angle: usize, fires: impl Fn(usize) -> bool) -> Turns {
        let sample = |i: usize| {
            let (turn, at) = (i / 64, i % 64);
            let pulse = if at == angle && fires(turn) { 1.0 } else { 0.0 };
            let flutter = if at == angle {
                0.03 * ((turn * 7) % 5) as f32
            } else {
                0.0
            };
            (std::f32::consts::TAU * at as f32 / 64.0).sin()
                + pulse
                + flutter
                + 0.01 * (i % 3) as f32
        };
        Turns {
            samples: (0..40 * 64).map(sample).collect(),
            sounded: 0..40 * 64,
            per_turn: 64,
            ..Turns::default()
        }
    }

    #[test]
    fn skipped_turns_lack_the_pulse_wherever_it_lies() {
        for angle in [0, 1, 30, 63] {
            let seen = Pulse::default().pulses(&look(angle, |turn| turn % 4 != 3));
            assert!((seen.weak_share - 0.25).abs() < 0.03, "{angle}: {seen:?}");
            assert!(
                seen.two_kinds > 0.9 && seen.apart > 2.0,
                "{angle}: {seen:?}"
            );
        }
    }

    #[test]
    fn where_every_turn_fires_the_kinds_lie_close() {
        let seen = Pulse::default().pulses(&look(30, |_| true));
        assert!(seen.apart < 0.3 && seen.height > 1.0, "{seen:?}");
    }

    #[test]
    fn what_is_too_short_or_silent_shows_nothing() {
        let short = Turns {
            sounded: 0..7 * 64,
            ..look(30, |_| true)
        };
        assert_eq!(Pulse::default().pulses(&short), Pulses::default());
        let silent = Turns {
            samples: vec![0.0; 40 * 64],
            ..look(30, |_| true)
        };
        assert_eq!(Pulse::default().pulses(&silent), Pulses::default());
        assert_eq!(
            Pulse::default().pulses(&Turns::default()),
            Pulses::default()
        );
    }
}
