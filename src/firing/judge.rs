//! From what a look shows to how the engine fires.
use super::glide::Glide;
use super::kind::{Firing, FiringKind, Pattern};
use super::pulse::{Pulse, Pulses};
use super::revolution::{Differences, Revolutions};
use super::sub_orders::{Families, families};
use super::weights::FIRING;
use crate::tach::angle::Turns;
use crate::tach::{Moment, TwoKinds};
use crate::units::Decibels;

/// Features of a look.
pub const FEATURES: usize = 35;
/// Those of them that need no throttle that is held.
pub const ALWAYS: usize = 30;
/// Scores of a look: clean, skipping, on the limiter (log probabilities but for a constant), and the log
/// odds of a turn to be skipped.
pub(super) const SCORES: usize = 4;

/// Memory of the score, per hop: 0.1 s.
const MEMORY: f64 = 0.15;
/// Score (log odds) beyond which the kind changes; between minus this and this it stays.
const HYSTERESIS: f64 = 0.3;
/// Largest score of a single look in size: one look never outweighs a fifth of a second.
const SURE: f64 = 8.0;
/// Score below which in size the kind is unclear, when nothing has been decided yet.
const UNCLEAR: f64 = 0.1;
/// The share of skipped turns is told times the probability that the engine skips at all; its log
/// odds get this much added, so that light skipping is not lost.
const LENIENT: f64 = 1.0;
/// Distances of two kinds of turns up to which and from which the score tells their share and their
/// count does, and the least that they must explain for it.
const DISTINCT: [f64; 2] = [4.0, 5.0];
const EXPLAINED: f64 = 0.15;
/// What they explain, and the correlation of a turn with the next up to which they come by turns, that
/// make them skips whatever else is heard; and the least score of that.
const BEYOND_DOUBT: f64 = 0.3;
const ALTERNATES: f64 = -0.4;
const BY_TURNS: f64 = 3.0;
/// How far apart in nepers the energies of the pulses are, how much of them two kinds explain, and how high they
/// stand, below which they are not counted and from which they are, and the share from which they are skips. Drawn
/// engines were counted right to 0.04 there, where the score was off by 0.06, by 0.15 where the whole turns
/// were not distinct; of the frames of clean ones 0.3 % came so far.
const PULSES_APART: [f64; 2] = [1.8, 2.2];
const PULSES_EXPLAINED: [f64; 2] = [0.68, 0.72];
const PULSES_HIGH: [f64; 2] = [0.5, 0.7];
const MISSED: f64 = 0.06;
/// No engine misses more of its turns: one firing in four is the rarest rhythm. What is counted beyond
/// are few odd turns among many that fire, as while the throttle opens.
const MOST_MISSED: f64 = 0.85;
/// Length of runs from which skips are bursts: an engine that four-strokes fires again after one to
/// three turns, since a missed turn scavenges the cylinder; a coil that cuts the spark stays silent
/// until the speed has fallen, then fires until it has risen.
const CUT_RUN: f64 = 2.0;
const FIRED_RUN: f64 = 1.9;
const LONG_RUN: f64 = 30.0;
/// Probability that a turn is followed by one of its kind, at most: runs of 30 turns.
const LONGEST: f64 = 29.0 / 30.0;
/// How distinct the two kinds must be for that, and how weak the cut turns against the fired ones, in
/// power: on recordings of clean engines 1 in 120 looks passes.
const APART: f64 = 0.65;
const CUT_POWER: f64 = 0.35;
/// Slowest crank at which a limiter cuts: coils cut at 7,000 rpm and far above (common practice, no
/// source).
const LIMITER_FROM: f64 = 5_500.0;
/// Change of speed a second, as a ratio, above which turns differ by themselves.
const STEADY: f64 = 0.3;

/// Judges hop after hop.
#[derive(Debug)]
pub struct Judge {
    revolutions: Revolutions,
    pulse: Pulse,
    score: Option<f64>,
    cut: f64,
    skipping: Option<bool>,
    limiter: bool,
    /// What the last look showed.
    pub differences: Differences,
    /// The lines of the last look.
    pub families: Families,
    /// The pulses of the last look.
    pub pulses: Pulses,
    /// How the speed glides.
    pub glide: Glide,
    /// The features of the last look.
    pub features: [f64; FEATURES],
}

impl Default for Judge {
    fn default() -> Self {
        Self::new()
    }
}

impl Judge {
    /// Nothing judged yet.
    pub fn new() -> Self {
        Judge {
            revolutions: Revolutions::new(),
            pulse: Pulse::default(),
            score: None,
            cut: 0.0,
            skipping: None,
            limiter: false,
            differences: Differences::default(),
            families: Families::default(),
            pulses: Pulses::default(),
            glide: Glide::default(),
            features: [0.0; FEATURES],
        }
    }

    /// Takes a look and gives the features that the score is made of.
    pub fn features(&mut self, moment: &Moment, look: &Turns) -> [f64; FEATURES] {
        if moment.fresh || self.families == Families::default() {
            self.differences = self.revolutions.differences(look);
            self.families = families(look);
            self.pulses = self.pulse.pulses(look);
        }
        self.glide.step(moment);
        let (d, f, k) = (&self.differences, &self.families, &moment.kinds);
        let log = |x: f64, least: f64| (x + least).log10();
        let skipped: f32 = moment.rhythm[1..].iter().sum();
        let rhythm = log(f64::from(skipped), 1e-3) - log(f64::from(moment.rhythm[0]), 1e-3);
        let again = d.apart[1..].iter().fold(f64::MAX, |m, v| m.min(*v));
        let share = d.weak_share.clamp(0.01, 0.99);
        let kinds = d.two_kinds.clamp(0.3, 0.999);
        // Squared distance of the two kinds in units of their own spread.
        let separation = (kinds / (1.0 - kinds) / (share * (1.0 - share))).log10();
        let distance = log(d.distance, 1e-3);
        let highest = f.contrast.iter().fold(f64::MIN, |m, v| m.max(*v));
        let logit = |x: f64| (x.clamp(0.01, 0.99) / (1.0 - x.clamp(0.01, 0.99))).ln() / 4.0;
        let known = f64::from(u8::from(k.turns > 0));
        let [weak, strong] = runs(k);
        let [held, one_way] = self.glide.held();
        let lowest = f.contrast.iter().fold(f64::MAX, |m, v| m.min(*v));
        self.features = [
            rhythm,
            log(again, 1e-3) - log(d.apart[0], 1e-3),
            log(d.apart[0], 1e-3),
            d.two_kinds,
            distance,
            d.two_kinds * distance,
            log(d.weak_to_strong, 1e-2),
            highest,
            highest - lowest,
            f.level,
            f.whole,
            (moment.rpm.0 / 6_000.0 - 1.0).clamp(-1.0, 1.0),
            separation,
            separation * distance,
            share,
            log(d.distance * share, 1e-3),
            d.main,
            log(d.weak_run.clamp(0.5, LONG_RUN), 0.0),
            log(d.strong_run.clamp(0.5, LONG_RUN), 0.0),
            4.0 * d.uneven[0] - 1.0,
            4.0 * d.uneven[1] - 1.0,
            known,
            known * log(k.distance.clamp(0.3, 30.0), 0.0),
            k.gain.clamp(0.0, 1.5),
            known * log(k.power, 0.01),
            k.again,
            known * logit(k.share),
            known * logit(k.recent),
            known * log(weak, 0.0),
            known * log(strong, 0.0),
            held,
            one_way,
            log(d.swing.late, 1e-4) + 2.0,
            d.swing.rough,
            d.swing.pushed,
        ];
        self.features
    }

    /// Judges a look.
    pub fn judge(&mut self, moment: &Moment, look: &Turns) -> Firing {
        let features = self.features(moment, look);
        let [clean, skipping, limiter, share] = scores(&features);
        let bursts = if moment.change.abs() < STEADY && moment.rpm.0 > LIMITER_FROM {
            (limiter - either(clean, skipping)).clamp(-SURE, SURE)
        } else {
            -SURE
        };
        // Where the two kinds are distinct, they are counted: of several firings in a turn, one may be
        // skipped or another.
        let k = &moment.kinds;
        let counts = k.gain > EXPLAINED && k.share < MOST_MISSED && moment.firings < 1.5;
        let trust = beyond(k.distance, DISTINCT) * f64::from(u8::from(counts));
        let share = odds(share);
        let share = share + trust * (k.share - share);
        let p = &self.pulses;
        let clear = if moment.firings < 1.5 {
            distinct(p)
        } else {
            0.0
        };
        let share = share + clear * (p.weak_share - share);
        let score = (either(skipping, limiter) - clean).clamp(-SURE, SURE);
        let score = if counts && alternates(k) {
            score.max(BY_TURNS)
        } else {
            score
        };
        let score = if p.weak_share > MISSED {
            score.max(-SURE + clear * (SURE + BY_TURNS))
        } else {
            score
        };
        let smooth = self.score.map_or(score, |s| s + (score - s) * MEMORY);
        self.score = Some(smooth);
        let d = &self.differences;
        self.cut += (bursts - self.cut) * MEMORY;
        if smooth > HYSTERESIS {
            self.skipping = Some(true);
        } else if smooth < -HYSTERESIS {
            self.skipping = Some(false);
        } else if self.skipping.is_none() && smooth.abs() > UNCLEAR {
            self.skipping = Some(smooth > 0.0);
        }
        self.limiter = self.cut
            > if self.limiter {
                -HYSTERESIS
            } else {
                HYSTERESIS
            };
        let kind = match self.skipping {
            _ if self.limiter => FiringKind::Limiter,
            None => FiringKind::Unclear,
            Some(false) => FiringKind::Clean,
            Some(true) => FiringKind::FourStroking,
        };
        let skips = matches!(kind, FiringKind::FourStroking | FiringKind::Limiter);
        Firing {
            kind,
            skip_ratio: (kind != FiringKind::Unclear).then(|| share * odds(smooth + LENIENT)),
            pattern: match kind {
                FiringKind::Limiter => Some(Pattern::Bursts),
                _ => skips.then(|| pattern(moment, d)),
            },
            sub_order: Some(Decibels(10.0 * self.families.level)),
            variation: Some(d.apart[0].min(1.0)),
        }
    }

    /// Forgets what was heard: the engine stopped or another begins.
    pub fn reset(&mut self) {
        self.score = None;
        self.cut = 0.0;
        self.skipping = None;
        self.limiter = false;
    }
}

/// Mean length of the runs of each of two kinds of turns, as their share and their correlation with the
/// turn before say.
fn runs(kinds: &TwoKinds) -> [f64; 2] {
    [kinds.share, 1.0 - kinds.share].map(|share| {
        let goes_on = share + kinds.again * (1.0 - share);
        1.0 / (1.0 - goes_on.clamp(-2.0, LONGEST))
    })
}

/// Log odds as a probability.
fn odds(log: f64) -> f64 {
    1.0 / (1.0 + (-log).exp())
}

/// The scores, the mean of all networks.
fn scores(features: &[f64; FEATURES]) -> [f64; SCORES] {
    let mut mean = [0.0; SCORES];
    for network in &FIRING {
        for (mean, score) in mean.iter_mut().zip(network.scores(features)) {
            *mean += score / FIRING.len() as f64;
        }
    }
    mean
}

/// How far a value is on its way from the first bound to the second, 0 to 1.
fn beyond(value: f64, [from, to]: [f64; 2]) -> f64 {
    ((value - from) / (to - from)).clamp(0.0, 1.0)
}

/// How surely the pulses of a look are of two kinds that can be counted, 0 to 1.
fn distinct(pulses: &Pulses) -> f64 {
    if pulses.weak_share > MOST_MISSED {
        return 0.0;
    }
    beyond(pulses.apart, PULSES_APART)
        * beyond(pulses.two_kinds, PULSES_EXPLAINED)
        * beyond(pulses.height, PULSES_HIGH)
}

/// The logarithm of one probability or another.
fn either(a: f64, b: f64) -> f64 {
    a.max(b) + (-(a - b).abs()).exp().ln_1p()
}

/// Are there two kinds of turns beyond doubt that come by turns? No clean engine has them, however weak
/// its firings are against the sounds of every turn.
fn alternates(kinds: &TwoKinds) -> bool {
    kinds.distance > DISTINCT[1] && kinds.gain > BEYOND_DOUBT && kinds.again < ALTERNATES
}

/// Do cut turns come in runs between runs of fired ones? The cut ones must be far weaker: turns that
/// only drift apart fall into two kinds as well.
fn in_bursts(d: &Differences) -> bool {
    let run = |least: f64, length: f64| (least..LONG_RUN).contains(&length);
    run(CUT_RUN, d.weak_run)
        && run(FIRED_RUN, d.strong_run)
        && d.two_kinds > APART
        && d.weak_to_strong < CUT_POWER
}

/// The rhythm of skips.
fn pattern(moment: &Moment, d: &Differences) -> Pattern {
    if in_bursts(d) {
        return Pattern::Bursts;
    }
    // A rhythm is one when the chain is sure of it and revolutions that far apart are alike.
    let best = (1..4)
        .max_by(|a, b| moment.rhythm[*a].total_cmp(&moment.rhythm[*b]))
        .unwrap_or(1);
    if moment.rhythm[best] < 0.6 || d.apart[best] > 0.8 * d.apart[0] {
        return Pattern::Irregular;
    }
    match best {
        1 => Pattern::EverySecond,
        2 => Pattern::EveryThird,
        _ => Pattern::EveryFourth,
    }
}
