//! The truth: what the samples were made from.
use serde::{Deserialize, Serialize};

use super::crank::Turn;
use super::engine_scene::Engine;
use super::plan::Plan;
use super::scene::{RollOff, Scene};
use super::speed::{STEP, SpeedLine};
use crate::machine::Cycle;
use crate::units::{Decibels, Rpm};

/// Truth beside a clip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// What the scene is for; synthetic sound says so.
    pub note: String,
    /// Always true: nothing here was recorded.
    pub synthetic: bool,
    /// Length in seconds.
    pub seconds: f64,
    /// Samples a second.
    pub sample_rate: u32,
    /// An engine is heard in the clip.
    pub engine: bool,
    /// Its cycle.
    pub cycle: Option<Cycle>,
    /// Its cylinders.
    pub cylinders: Option<u8>,
    /// Engine over noise as the scene asks for, in dB over the whole clip.
    pub snr_db: Option<f64>,
    /// Roll-off of the microphone.
    pub roll_off: Option<RollOff>,
    /// Share of samples at or beyond full scale.
    pub clipped: f64,
    /// Every turn of the crank.
    pub turns: Vec<TurnTruth>,
    /// What holds in each 10 ms.
    pub rows: Vec<Row>,
}

/// One turn of the crank.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TurnTruth {
    /// When it begins, in seconds.
    pub start_s: f64,
    /// When it ends.
    pub end_s: f64,
    /// A firing was due (a four-stroke cycle has turns without).
    pub due: bool,
    /// Every firing that was due came, with its full charge.
    pub fired: bool,
}

/// What holds around one moment.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Centre of the 10 ms.
    pub t_s: f64,
    /// Mean crank speed in these 10 ms; none where the engine stands.
    pub rpm: Option<Rpm>,
    /// Firing.
    pub firing: Label,
    /// Share of the due turns that begin within 0.25 s of `t_s` and did not fire.
    pub skip_ratio: Option<f64>,
    /// Turns between two firings where at least three of five gaps in that half second are alike
    /// and longer than one.
    pub every: Option<u8>,
    /// Within 0.25 s the speed changes by less than 2 % a second (at a limiter: it stays within the
    /// limiter's saw-tooth) and the firing keeps its label.
    pub steady: bool,
    /// An engine runs.
    pub engine: bool,
    /// Engine over noise as recorded, in dB, in the 100 ms around `t_s`.
    pub snr_db: Option<f64>,
}

/// Firing as the scene planned it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Label {
    /// Every turn that should fire does (a stray misfire aside).
    Clean,
    /// Turns are skipped, but not by a limiter.
    FourStroking,
    /// A limiter cuts the spark.
    Limiter,
    /// No engine runs.
    None,
}

/// Length of a row in seconds.
pub(super) const ROW: f64 = 0.01;

/// Share of skipped turns from which a plan that may skip counts as four-stroking.
const SKIPS: f64 = 0.02;

/// Rows on either side that the judgement of a row reaches: 0.25 s.
const AROUND: usize = 25;

impl Truth {
    /// Puts the truth together; `powers` holds engine and noise power for each row.
    pub(super) fn new(
        scene: &Scene,
        turns: Vec<TurnTruth>,
        powers: &[(f64, f64)],
        clipped: f64,
        seed: u64,
    ) -> Self {
        let count = (scene.seconds.0 / ROW).floor() as usize;
        let rows = match &scene.engine {
            Some(engine) => engine_rows(engine, &turns, powers, count, seed),
            None => (0..count).map(silent_row).collect(),
        };
        let runs = rows.iter().any(|r| r.engine);
        let engine = scene.engine.as_ref().filter(|_| runs);
        Truth {
            note: scene.note.clone(),
            synthetic: true,
            seconds: scene.seconds.0,
            sample_rate: scene.sample_rate,
            engine: runs,
            cycle: engine.map(|e| e.cycle),
            cylinders: engine.map(|e| e.cylinders),
            snr_db: scene.noise.map(|n| n.snr.0),
            roll_off: scene.microphone.roll_off,
            clipped,
            turns,
            rows,
        }
    }

    /// The truth as JSON.
    pub fn to_json(&self) -> String {
        // Only maps with keys that are no strings could fail, and there are none.
        serde_json::to_string(self).unwrap_or_default()
    }
}

impl TurnTruth {
    pub(super) fn new(turn: &Turn) -> Self {
        TurnTruth {
            start_s: rounded(turn.start, 1e8),
            end_s: rounded(turn.start + turn.seconds, 1e8),
            due: !turn.strokes.is_empty(),
            fired: !turn.strokes.is_empty() && turn.strokes.iter().all(|s| s.fired),
        }
    }
}

fn silent_row(i: usize) -> Row {
    Row {
        t_s: centre(i),
        rpm: None,
        firing: Label::None,
        skip_ratio: None,
        every: None,
        steady: true,
        engine: false,
        snr_db: None,
    }
}

fn centre(i: usize) -> f64 {
    rounded((i as f64 + 0.5) * ROW, 1e4)
}

/// As many digits as mean something, so that the file stays small: turns to 0.01 µs.
fn rounded(x: f64, parts: f64) -> f64 {
    (x * parts).round() / parts
}

fn engine_rows(
    engine: &Engine,
    turns: &[TurnTruth],
    powers: &[(f64, f64)],
    count: usize,
    seed: u64,
) -> Vec<Row> {
    let mut line = SpeedLine::new(engine, seed);
    let steps = (ROW / STEP).round() as usize;
    let mut last = line.next();
    // (mean turns a second, the limiter cuts, segment) of each row.
    let cells: Vec<_> = (0..count)
        .map(|_| {
            let (mut sum, mut cut, segment) = (0.0, last.cutting, last.segment);
            let mut runs = last.hertz > 0.0;
            for _ in 0..steps {
                let next = line.next();
                sum += 0.5 * (last.hertz + next.hertz);
                cut |= next.cutting;
                runs &= next.hertz > 0.0;
                last = next;
            }
            (runs.then_some(sum / steps as f64), cut, segment)
        })
        .collect();
    let mut first = 0;
    let mut rows: Vec<Row> = (0..count)
        .map(|i| {
            let t_s = centre(i);
            let (hertz, _, segment) = cells[i];
            while turns.get(first).is_some_and(|t| t.start_s < t_s - 0.25) {
                first += 1;
            }
            let window = turns[first..].iter().take_while(|t| t.start_s < t_s + 0.25);
            let due: Vec<bool> = window.filter(|t| t.due).map(|t| t.fired).collect();
            let skipped = due.iter().filter(|fired| !**fired).count();
            let skip_ratio = (!due.is_empty()).then(|| skipped as f64 / due.len() as f64);
            let range = i.saturating_sub(AROUND)..(i + AROUND + 1).min(count);
            let cut = cells[range].iter().any(|c| c.1);
            let plan = engine
                .schedule
                .get(segment)
                .map_or(&Plan::Clean, |s| &s.firing);
            let may_skip = !matches!(plan, Plan::Clean | Plan::Uneven { .. });
            let firing = match (hertz, cut, skip_ratio) {
                (None, ..) => Label::None,
                (_, true, _) => Label::Limiter,
                (_, _, Some(ratio)) if may_skip && ratio >= SKIPS => Label::FourStroking,
                _ => Label::Clean,
            };
            let near = powers.iter().skip(i.saturating_sub(5)).take(11);
            let (e, n) = near.fold((0.0, 0.0), |sum, p| (sum.0 + p.0, sum.1 + p.1));
            Row {
                t_s,
                rpm: hertz.map(|h| Rpm(rounded(60.0 * h, 1e3))),
                firing,
                skip_ratio: skip_ratio
                    .filter(|_| hertz.is_some())
                    .map(|ratio| rounded(ratio, 1e4)),
                every: every(&due),
                steady: false,
                engine: hertz.is_some(),
                snr_db: (e > 0.0 && n > 0.0).then(|| rounded(Decibels::from_power(e / n).0, 10.0)),
            }
        })
        .collect();
    // Under the deepest tooth.
    let floor = engine
        .limiter
        .map_or(0.0, |l| l.ceiling.0 * (0.998 - 0.013 * l.depth_percent));
    for i in 0..count {
        let (from, to) = (i.saturating_sub(AROUND), (i + AROUND).min(count - 1));
        let label = rows[i].firing;
        let same = rows[from..=to].iter().all(|r| r.firing == label);
        let slow = if label == Label::Limiter {
            // The saw-tooth belongs to it; what counts is that the ceiling holds the speed.
            (from..=to).all(|j| rows[j].rpm.is_some_and(|rpm| rpm.0 >= floor))
        } else {
            (from..=to).all(|j| {
                let (a, b) = (j.saturating_sub(5), (j + 5).min(count - 1));
                changes_slowly(rows[a].rpm, rows[b].rpm, (b - a) as f64)
            })
        };
        rows[i].steady = same && slow;
    }
    rows
}

/// Less than 2 % a second from `a` to `b`, which are `apart` rows from each other.
fn changes_slowly(a: Option<Rpm>, b: Option<Rpm>, apart: f64) -> bool {
    match (a, b) {
        (Some(Rpm(a)), Some(Rpm(b))) => (b / a).ln().abs() < 0.02 * ROW * apart.max(1.0),
        (None, None) => true,
        _ => false,
    }
}

/// The gap between firings that three of five share, when it is longer than one turn.
fn every(fired: &[bool]) -> Option<u8> {
    let places: Vec<usize> = fired
        .iter()
        .enumerate()
        .filter(|(_, f)| **f)
        .map(|(i, _)| i)
        .collect();
    let gaps: Vec<usize> = places.windows(2).map(|w| w[1] - w[0]).collect();
    (2..=8)
        .find(|&n| {
            let alike = gaps.iter().filter(|&&g| g == n).count();
            gaps.len() >= 2 && 5 * alike >= 3 * gaps.len()
        })
        .map(|n| n as u8)
}
