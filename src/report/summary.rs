//! Many clips together, machine by machine, the worst first.
use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::brief::{Brief, Finding};
use super::look::{Look, Tone};
use super::table::Table;
use super::tidy::Tidy;
use super::words::{grouped, percent, shown};
use crate::units::{Rpm, Seconds};

/// Clips that could not be read and are named; of the others there is the number.
const MOST_NAMED: usize = 1_000;
/// Of those, how many a text shows.
const MOST_SHOWN: usize = 100;
/// Machines in a text.
const MOST_MACHINES: usize = 100;

/// Which layout of the data this is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub enum SummaryLayout {
    /// The first.
    #[serde(rename = "engine-note/summary/1")]
    Summary1,
}

/// Many clips together.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Summary {
    /// Which layout of the data this is.
    pub schema: SummaryLayout,
    /// Clips, those that could not be read among them.
    pub clips: u64,
    /// Clips that could not be read.
    pub broken: u64,
    /// Seconds of sound.
    #[serde(rename = "heard_s")]
    pub heard: Seconds,
    /// Share of the sound with a readable speed, 0 to 1; null without sound.
    pub readable_share: Option<f64>,
    /// The machines, worst first: by their worst finding, then by the share of their clips with it,
    /// then by the share of sound that is not readable, then by tag.
    pub machines: Vec<MachineSummary>,
    /// Clips that could not be read, each with its reason in one line, in the order of the clips;
    /// the first thousand.
    pub cannot_be_read: Vec<String>,
}

/// The clips of one machine.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MachineSummary {
    /// Its tag.
    pub machine: String,
    /// Clips, those that could not be read among them.
    pub clips: u64,
    /// Clips that could not be read.
    pub broken: u64,
    /// Share of the sound with a readable speed, 0 to 1; null without sound.
    pub readable_share: Option<f64>,
    /// Idle over its clips; null where none was heard.
    pub idle: Option<Spread>,
    /// Full throttle over its clips; null where none was heard.
    pub full_throttle: Option<Spread>,
    /// The worst that was found in any of its clips.
    pub worst: Finding,
    /// How many clips show it.
    pub worst_clips: u64,
    /// The first of them, as its result names it.
    pub worst_clip: String,
}

/// A speed over many clips, in rpm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Spread {
    /// Clips with it.
    pub clips: u64,
    /// Median over the clips.
    #[serde(rename = "median_rpm")]
    pub median: Rpm,
    /// The slowest.
    #[serde(rename = "low_rpm")]
    pub low: Rpm,
    /// The fastest.
    #[serde(rename = "high_rpm")]
    pub high: Rpm,
}

impl Spread {
    fn of(mut speeds: Vec<f64>) -> Option<Spread> {
        speeds.sort_by(f64::total_cmp);
        let (low, high) = (*speeds.first()?, *speeds.last()?);
        let middle = speeds.len() / 2;
        let median = if speeds.len().is_multiple_of(2) {
            0.5 * (speeds[middle - 1] + speeds[middle])
        } else {
            speeds[middle]
        };
        Some(Spread {
            clips: speeds.len() as u64,
            median: Rpm(median),
            low: Rpm(low),
            high: Rpm(high),
        })
    }

    fn range(self) -> String {
        format!("{} - {}", about(self.low), about(self.high))
    }
}

/// To ten revolutions a minute.
fn about(rpm: Rpm) -> String {
    grouped((rpm.0 / 10.0).round() * 10.0)
}

/// Takes clip after clip; of each it keeps two speeds at most.
#[derive(Default)]
pub struct Summarizer {
    machines: BTreeMap<String, Gathered>,
    broken: Vec<String>,
}

#[derive(Default)]
struct Gathered {
    clips: u64,
    broken: u64,
    heard: f64,
    readable: f64,
    idle: Vec<f64>,
    full: Vec<f64>,
    worst: Option<(Finding, u64, String)>,
}

impl Summarizer {
    /// Takes the next clip, as its result names it.
    pub fn add(&mut self, clip: &str, brief: &Brief) {
        let machine = self.machines.entry(brief.machine.clone()).or_default();
        machine.clips += 1;
        machine.heard += brief.heard.0;
        machine.readable += brief.readable.0;
        machine.idle.extend(brief.idle.map(|rpm| rpm.0));
        machine.full.extend(brief.full_throttle.map(|rpm| rpm.0));
        match &mut machine.worst {
            Some((worst, clips, _)) if *worst == brief.finding => *clips += 1,
            Some((worst, _, _)) if *worst < brief.finding => {}
            worst => *worst = Some((brief.finding, 1, clip.into())),
        }
        if let Some(words) = &brief.broken {
            machine.broken += 1;
            if self.broken.len() < MOST_NAMED {
                self.broken.push(words.clone());
            }
        }
    }

    /// Takes what kept clips from being found, in one line.
    pub fn miss(&mut self, words: &str) {
        if self.broken.len() < MOST_NAMED {
            self.broken.push(words.into());
        }
    }

    /// What they come to.
    pub fn finish(self) -> Summary {
        let share = |readable: f64, heard: f64| (heard > 0.0).then(|| readable / heard);
        let total = |of: fn(&Gathered) -> f64| self.machines.values().map(of).sum::<f64>();
        let (heard, readable) = (total(|m| m.heard), total(|m| m.readable));
        let (clips, broken) = self
            .machines
            .values()
            .fold((0, 0), |(c, b), m| (c + m.clips, b + m.broken));
        let mut machines: Vec<MachineSummary> = self
            .machines
            .into_iter()
            .filter_map(|(machine, gathered)| {
                let (worst, worst_clips, worst_clip) = gathered.worst?;
                Some(MachineSummary {
                    machine,
                    clips: gathered.clips,
                    broken: gathered.broken,
                    readable_share: share(gathered.readable, gathered.heard),
                    idle: Spread::of(gathered.idle),
                    full_throttle: Spread::of(gathered.full),
                    worst,
                    worst_clips,
                    worst_clip,
                })
            })
            .collect();
        let part = |m: &MachineSummary| m.worst_clips as f64 / m.clips.max(1) as f64;
        let readable_share = |m: &MachineSummary| m.readable_share.unwrap_or(0.0);
        // Stable: the tags are in order already.
        machines.sort_by(|a, b| {
            a.worst
                .cmp(&b.worst)
                .then(part(b).total_cmp(&part(a)))
                .then(readable_share(a).total_cmp(&readable_share(b)))
        });
        Summary {
            schema: SummaryLayout::Summary1,
            clips,
            broken,
            heard: Seconds(heard),
            readable_share: share(readable, heard),
            machines,
            cannot_be_read: self.broken,
        }
    }
}

impl Summary {
    /// The same as indented JSON, ending with a line break.
    pub fn json(&self) -> String {
        let mut out = vec![];
        let mut serializer = serde_json::Serializer::with_formatter(&mut out, Tidy::lines());
        // Writing into memory does not fail, and all keys are strings.
        let _ = self.serialize(&mut serializer);
        String::from_utf8_lossy(&out).into_owned()
    }

    /// For people: the table of machines, then the clips that could not be read.
    pub fn text(&self, look: &Look) -> String {
        let number = |count: u64| grouped(count as f64);
        let clips = |count: u64| match count {
            1 => "1 clip".into(),
            more => format!("{} clips", number(more)),
        };
        let mut first = clips(self.clips);
        if self.broken > 0 {
            first.push_str(&format!(", {} cannot be read", number(self.broken)));
        }
        if let Some(share) = self.readable_share {
            first.push_str(&format!(
                "; a speed is readable in {} of the sound",
                percent(share)
            ));
        }
        let mut out = look.paint(Tone::Strong, &first) + "\n\n";
        let mut table = Table::new(&[
            ("machine, worst first", 0),
            ("clips", 1),
            ("readable", 3),
            ("idle rpm", 0),
            ("from - to", 5),
            ("full rpm", 0),
            ("from - to", 4),
            ("worst", 0),
            ("in", 2),
            ("first heard in", 6),
        ])
        .words(&[0, 9]);
        for machine in self.machines.iter().take(MOST_MACHINES) {
            let (idle, full) = (&machine.idle, &machine.full_throttle);
            table.row([
                shown(&machine.machine),
                number(machine.clips),
                machine.readable_share.map_or("-".into(), percent),
                idle.map_or("-".into(), |idle| about(idle.median)),
                idle.map_or(String::new(), Spread::range),
                full.map_or("-".into(), |full| about(full.median)),
                full.map_or(String::new(), Spread::range),
                machine.worst.words().into(),
                clips(machine.worst_clips),
                shown(&machine.worst_clip),
            ]);
        }
        out.push_str(&table.render(look));
        let more = self.machines.len().saturating_sub(MOST_MACHINES);
        if more > 0 {
            out.push_str(&format!(
                "  and {} more machines; `--summary FILE` lists them all\n",
                number(more as u64)
            ));
        }
        if self.broken > 0 {
            out.push_str(&format!("\n{} cannot be read:\n", clips(self.broken)));
            for words in self.cannot_be_read.iter().take(MOST_SHOWN) {
                out.push_str(&format!("  {}\n", shown(words)));
            }
            let more = self.broken.saturating_sub(MOST_SHOWN as u64);
            if more > 0 {
                out.push_str(&format!("  and {} more\n", number(more)));
            }
        }
        out
    }
}
