//! Is it an engine at all?
//!
//! The tachometer always finds the best speed; this decides whether to believe it. An engine
//! stands on many orders at once, goes on without pauses, wobbles a little and varies from turn to
//! turn. Mains hum is too perfect, a voice glides and pauses, a chord has lines that belong to no
//! common crank, weather has no lines. Running means of such features over a second go, with what the
//! judge of the firing sees and how well the speed stands (`standing`), into the score of a small
//! [`Network`](crate::firing::Network), fitted on engines and on other sounds. Engines whose speed was read wrong were among the other
//! sounds: a speed by which no engine stands is none, either.
use super::gait::{Gait, MEAN as SLOW};
use super::standing;
use super::weights::ENGINE;
use crate::firing::{self, Differences, Judge};
use crate::spectrum::{sum, widest};
use crate::tach::angle::Turns;
use crate::tach::{Moment, TwoKinds, Unreadable};
use crate::units::{Decibels, Rpm};

/// Features of a hop.
pub const FEATURES: usize = 27;
/// All that the score is made of.
pub const SEEN: usize = FEATURES + firing::ALWAYS + 2 + standing::FEATURES;

/// Running means kept, each over 1 s.
const MEANS: usize = 18;
/// Mains hum and its rectified form show as these speeds: 25, 30, 50, 60, 100, 120, 150 and 180 Hz
/// (public supply frequencies are 50 and 60 Hz within 0.4 % and more closely most of the time).
const MAINS: [f64; 8] = [
    1_500.0, 1_800.0, 3_000.0, 3_600.0, 6_000.0, 7_200.0, 9_000.0, 10_800.0,
];
/// How close to a mains speed, as a ratio, and the wobble of the speed below which a sound there is
/// too even for an engine, whatever its turns are like; noise, which makes turns unlike, makes a hum
/// wobble by so much more.
const MAINS_NEAR: f64 = 0.004;
const TOO_EVEN: f64 = 0.000_3;
const IN_NOISE: f64 = 0.000_8;
/// Up to these wobbles the noise may have done it, the second for a mean of a second, which noise
/// hardly shifts, at a mains speed: such a sound has to be an engine's more surely, by so much of the
/// score.
const EVEN: f64 = 0.000_8;
const EVEN_IN_NOISE: f64 = 0.002_5;
const MAINS_EXACT: f64 = 0.000_8;
const DOUBT: f64 = 7.0;
/// But noise differs as much at one angle as at another. Turns that are unlike by more than the first
/// and whose difference lies this unevenly over the turn are a crank's: hums in noise gave 0.06 to 0.1,
/// engines 0.12 to 0.25 where noise does not drown it.
const UNLIKE: f64 = 0.01;
const BY_CRANK: f64 = 0.115;
/// Two kinds of turns are skips from this distance, gain and share of either on, and up to this
/// correlation of one turn with the next.
const APART: f64 = 3.5;
const EXPLAINED: f64 = 0.2;
const BOTH: f64 = 0.05;
const IN_A_ROW: f64 = 0.2;
/// Score of such a sound, at most.
const HUM: f64 = -6.0;

/// Scores hop after hop.
#[derive(Debug, Default)]
pub struct Presence {
    mean: [f64; MEANS],
    gait: Option<Gait>,
    level: f64,
    stretch: u32,
}

impl Presence {
    /// Nothing heard yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a hop and gives the features that the score is made of, each about -2 to 2.
    pub fn features(&mut self, moment: &Moment, judge: &Judge, look: &Turns) -> [f64; FEATURES] {
        let (d, f, glide) = (&judge.differences, &judge.families, &judge.glide);
        let log = |x: f64, least: f64| (x + least).log10();
        // The score was fitted with the level of the cut, which is as long as the turns in it.
        let power = widest!(sum(&look.samples, &look.samples, |a, b| a * b));
        let level = Decibels::from_power(f64::from(power) / look.samples.len() as f64)
            .0
            .max(-100.0);
        let going_on = self
            .gait
            .take()
            .filter(|_| self.stretch == moment.counts.stretch);
        let fresh = going_on.is_none();
        let mut gait = going_on.unwrap_or_else(|| Gait::new(moment.heard));
        let step = gait.step(moment.heard);
        self.gait = Some(gait);
        if fresh {
            self.level = level;
            self.mean[8] = level;
        }
        let jump = level - std::mem::replace(&mut self.level, level);
        self.stretch = moment.counts.stretch;
        let highest = f.contrast.iter().fold(f64::MIN, |m, v| m.max(*v));
        let small = step.change.clamp(-0.1, 0.1);
        let now: [f64; MEANS] = [
            moment.refined.height,
            moment.refined.lines as f64 / 12.0,
            log(1.0 - moment.probability.min(1.0), 0.003),
            log(unlike(d), 1e-2),
            step.change.abs().min(0.1),
            jump.abs().min(10.0),
            f.explained,
            step.off.powi(2).min(0.01),
            level,
            f.whole,
            highest,
            moment.heard.0.ln(),
            step.alike,
            small.powi(2),
            (level - self.mean[8]).powi(2).min(100.0),
            d.uneven[0],
            d.uneven[1],
            step.swing,
        ];
        for (mean, n) in self.mean.iter_mut().zip(now) {
            *mean += if fresh { 1.0 } else { SLOW } * (n - *mean);
        }
        let m = &self.mean;
        [
            now[0] - 1.0,
            2.0 * now[1] - 1.0,
            now[2] + 1.5,
            m[0] - 1.0,
            4.0 * m[1] - 3.0,
            m[2] + 1.5,
            2.0 * m[3] + 1.5,
            log(m[4], 1e-4) + 2.0,
            log(m[5], 0.05),
            4.0 * m[6] - 3.0,
            log(m[7].sqrt(), 1e-5) + 2.0,
            ((level - m[8]) / 10.0).clamp(-2.0, 2.0),
            m[9] - 1.5,
            m[10] - 0.7,
            2.0 * now[6] - 1.5,
            (moment.rpm.0 / 6_000.0 - 1.0).clamp(-1.0, 1.5),
            f64::from(u8::from(self.is_mains(moment))),
            f64::from(u8::from(moment.rpm.0 < 2_000.0)),
            // How strongly the speed glides, whether always one way, and how smoothly.
            glide.strength(),
            glide.one_way(),
            m[12] / (m[13] + 1e-9),
            log(step.spread, 1e-5) + 2.5,
            log(m[14].sqrt(), 0.02),
            4.0 * m[15] - 1.0,
            4.0 * m[16] - 1.0,
            4.0 * m[17] - 1.0,
            (-log(away_from_mains(step.mean), 2e-4) - 2.0).clamp(-1.0, 2.0),
        ]
    }

    /// Takes a hop that the judge has just seen, and gives all that the score is made of.
    pub fn seen(&mut self, moment: &Moment, judge: &Judge, look: &Turns) -> [f64; SEEN] {
        let mut seen = [0.0; SEEN];
        let (own, others) = seen.split_at_mut(FEATURES);
        let (firing, others) = others.split_at_mut(firing::ALWAYS);
        let (glide, standing) = others.split_at_mut(2);
        own.copy_from_slice(&self.features(moment, judge, look));
        firing.copy_from_slice(&judge.features[..firing::ALWAYS]);
        glide.copy_from_slice(&[judge.glide.strength(), judge.glide.one_way()]);
        standing.copy_from_slice(&standing::features(moment));
        seen
    }

    /// Log odds that an engine is heard, at this speed.
    pub fn score(&mut self, moment: &Moment, judge: &Judge, look: &Turns) -> f64 {
        let seen = self.seen(moment, judge, look);
        let sum: f64 = ENGINE.iter().map(|network| network.scores(&seen)[0]).sum();
        let score = sum / ENGINE.len() as f64;
        if self.is_mains(moment) || self.is_mains_in_noise(moment, judge) {
            HUM.min(score)
        } else if self.may_be_mains(moment, judge) {
            score - DOUBT
        } else {
            score
        }
    }

    /// At a mains speed and evener than any engine runs?
    fn is_mains(&self, moment: &Moment) -> bool {
        self.wobble() < TOO_EVEN && away_from_mains(moment.rpm) < MAINS_NEAR
    }

    /// The same for the noise in which it is heard, and with nothing of a crank. A hum in noise seems to skip now
    /// and then, but its score is far too low as it is.
    fn is_mains_in_noise(&self, moment: &Moment, judge: &Judge) -> bool {
        !self.is_cranked(moment, judge)
            && self.wobble() < TOO_EVEN + IN_NOISE * unlike(&judge.differences)
            && away_from_mains(moment.rpm) < MAINS_NEAR
    }

    /// At a mains speed, with nothing of a crank, and no less even than noise could make a hum?
    fn may_be_mains(&self, moment: &Moment, judge: &Judge) -> bool {
        let wobble = self.wobble();
        let mean = Rpm(self.mean[11].exp());
        !self.is_cranked(moment, judge)
            && ((wobble < EVEN && away_from_mains(moment.rpm) < MAINS_NEAR)
                || (wobble < EVEN_IN_NOISE && away_from_mains(mean) < MAINS_EXACT))
    }

    /// Skips, or turns that differ as a crank makes them differ?
    fn is_cranked(&self, moment: &Moment, judge: &Judge) -> bool {
        skips(&moment.kinds) || (unlike(&judge.differences) > UNLIKE && self.mean[15] > BY_CRANK)
    }

    /// What the speed of the last second leaves of a trend, as a ratio.
    fn wobble(&self) -> f64 {
        self.mean[7].sqrt()
    }

    /// The most likely reason why an engine is not believed.
    pub fn reason(&self, moment: &Moment, judge: &Judge) -> Unreadable {
        let f = &judge.families;
        if self.is_mains(moment) || self.may_be_mains(moment, judge) {
            Unreadable::SteadyHum
        } else if moment.refined.lines < 3 || self.mean[9] < 0.5 {
            Unreadable::NoEngine
        } else if moment.change.abs() > 1.0 || self.mean[4] > 0.05 {
            Unreadable::Unsteady
        } else if self.mean[9] > 1.2 && f.explained > 0.5 {
            Unreadable::OtherPitch
        } else if self.mean[6] < 0.5 {
            Unreadable::TwoEngines
        } else {
            Unreadable::TooMuchNoise
        }
    }
}

/// How unlike turns are, at the distance of one to four where they are most alike: 0 all the same, 1
/// nothing in common.
fn unlike(differences: &Differences) -> f64 {
    differences.apart.iter().fold(f64::MAX, |m, v| m.min(*v))
}

/// Whether the turns are of two kinds that come as firings and skips do: by turns or at random, not
/// one after the other.
fn skips(kinds: &TwoKinds) -> bool {
    kinds.distance > APART
        && kinds.gain > EXPLAINED
        && kinds.share.min(1.0 - kinds.share) > BOTH
        && kinds.again < IN_A_ROW
}

/// Distance of a speed to the nearest of [`MAINS`], as a ratio.
fn away_from_mains(speed: Rpm) -> f64 {
    let away = |m: &f64| (speed.0 / m - 1.0).abs();
    MAINS.iter().map(away).fold(f64::MAX, f64::min)
}

/// Memory of a causal smoothing of the score, per hop.
pub(super) const SMOOTH: f64 = 0.15;
