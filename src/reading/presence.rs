//! Is it an engine at all?
//!
//! The tachometer always finds the best speed; this decides whether to believe it. An engine
//! stands on many orders at once, goes on without pauses, wobbles a little and varies from turn to
//! turn. Mains hum is too perfect, a voice glides and pauses, a chord has lines that belong to no
//! common crank, weather has no lines.
use super::weights::ENGINE;
use crate::firing::{Differences, Families};
use crate::tach::{Moment, Unreadable};
use crate::units::Decibels;

/// Features of a hop.
pub const FEATURES: usize = 26;

/// Memories of the running means, per hop: 0.25 s and 1 s.
const FAST: f64 = 0.062;
const SLOW: f64 = 0.016;
/// Running means kept at each memory.
const MEANS: usize = 9;
/// Score (log odds) from which an engine is believed, and down to which it stays believed.
const BELIEVE: f64 = 0.8;
const DOUBT: f64 = -0.6;
/// Level below which nothing is heard.
const SILENT: Decibels = Decibels(-75.0);

/// Decides hop by hop.
#[derive(Debug, Default)]
pub struct Presence {
    fast: [f64; MEANS],
    slow: [f64; MEANS],
    last: Option<(f64, f64)>,
    stretch: u32,
    score: f64,
    believed: bool,
}

impl Presence {
    /// Nothing heard yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a hop and gives the features that the score is made of.
    pub fn features(
        &mut self,
        moment: &Moment,
        d: &Differences,
        f: &Families,
        level: Decibels,
    ) -> [f64; FEATURES] {
        let log = |x: f64, least: f64| (x + least).log10();
        let speed = moment.rpm.0.ln();
        let level = level.0.max(-100.0);
        let (step, jump) = self
            .last
            .map_or((0.0, 0.0), |(s, l)| (speed - s, level - l));
        let alike = d.apart.iter().fold(f64::MAX, |m, v| m.min(*v));
        let now: [f64; MEANS] = [
            moment.refined.height,
            moment.refined.lines as f64 / 12.0,
            log(1.0 - moment.probability.min(1.0), 0.003),
            log(alike, 1e-2),
            step.abs().min(0.2),
            jump.abs().min(20.0),
            f.explained,
            moment.change.abs().min(10.0),
            level,
        ];
        let fresh = self.last.is_none() || self.stretch != moment.counts.stretch;
        for i in 0..MEANS {
            if fresh {
                self.fast[i] = now[i];
                self.slow[i] = now[i];
            } else {
                self.fast[i] += FAST * (now[i] - self.fast[i]);
                self.slow[i] += SLOW * (now[i] - self.slow[i]);
            }
        }
        self.stretch = moment.counts.stretch;
        self.last = Some((speed, level));
        let highest = f.contrast.iter().fold(f64::MIN, |m, v| m.max(*v));
        [
            1.0,
            now[0],
            now[1],
            now[2],
            self.fast[0],
            self.fast[1],
            self.fast[2],
            self.fast[3],
            log(self.fast[4], 1e-4),
            log(self.fast[5], 0.1),
            self.fast[6],
            log(self.fast[7], 1e-2),
            self.slow[0],
            self.slow[1],
            self.slow[2],
            self.slow[3],
            log(self.slow[4], 1e-4),
            log(self.slow[5], 0.1),
            self.slow[6],
            level - self.slow[8],
            log(moment.error, 1e-5),
            f.whole,
            highest,
            (moment.rpm.0 / 6_000.0 - 1.0).clamp(-1.0, 1.0),
            f64::from(u8::from(moment.rpm.0 > 13_500.0)),
            f64::from(u8::from(moment.rpm.0 < 2_000.0)),
        ]
    }

    /// Decides on a hop.
    pub fn decide(
        &mut self,
        moment: &Moment,
        d: &Differences,
        f: &Families,
        level: Decibels,
    ) -> Result<(), Unreadable> {
        let features = self.features(moment, d, f, level);
        let score: f64 = features.iter().zip(&ENGINE).map(|(f, w)| f * w).sum();
        self.score += 0.25 * (score - self.score);
        if level < SILENT {
            self.believed = false;
            self.score = self.score.min(DOUBT);
            return Err(Unreadable::Silence);
        }
        self.believed = self.score > if self.believed { DOUBT } else { BELIEVE };
        if self.believed {
            Ok(())
        } else {
            Err(self.reason(moment, f))
        }
    }

    /// Why an engine is not believed.
    fn reason(&self, moment: &Moment, f: &Families) -> Unreadable {
        if moment.refined.lines < 3 || f.whole < 0.35 {
            Unreadable::NoEngine
        } else if moment.change.abs() > 1.0 || self.fast[4] > 0.05 {
            Unreadable::Unsteady
        } else if f.explained < 0.5 {
            Unreadable::TwoEngines
        } else if f.whole > 1.2 {
            Unreadable::OtherPitch
        } else {
            Unreadable::TooMuchNoise
        }
    }
}
