//! What a job sheet says: from a visit to the rows and lists of the page.
use super::history::{
    check_words, limits, measurement_words, number, place_words, turns, verdict_words,
};
use super::machine_words;
use super::words::{self, capital, grouped, percent, shown, turned};
use crate::book::{Finding, Held, Machine, Measured, Moment, MoveMade, Visit};
use crate::guide::{Advice, Screw, cautions};
use crate::machine::{Figure, Profile, SpeedRange};

/// The page has room for this many characters of a text.
const LONGEST: usize = 200;
/// The same for one entry of a list.
const LONGEST_ENTRY: usize = 80;
/// And for what stands beside another thing on a line.
const LONGEST_FACT: usize = 44;

/// A picture of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Its title.
    pub title: String,
    /// What it shows, for those who do not see it.
    pub words: String,
    /// The picture itself: the text of an SVG, which is put into the page as it is.
    pub svg: String,
}

/// A job sheet. The page itself comes from [`Sheet::page`].
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    pub(super) title: String,
    pub(super) name: String,
    pub(super) complaint: Option<String>,
    pub(super) facts: Vec<(&'static str, String)>,
    pub(super) figures: Vec<Row>,
    pub(super) how: Vec<String>,
    pub(super) pictures: Vec<Picture>,
    pub(super) checked: Vec<String>,
    pub(super) turned: Vec<String>,
    pub(super) proof: Vec<ProofRow>,
    pub(super) unchecked: Vec<String>,
    pub(super) faults: Vec<String>,
    pub(super) advised: Vec<String>,
    pub(super) notes: Option<String>,
    pub(super) cautions: Vec<String>,
    pub(super) clips: Vec<String>,
}

/// A row of the table of what was found and left.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Row {
    pub(super) what: &'static str,
    pub(super) figure: String,
    pub(super) before: Cell,
    pub(super) after: Cell,
}

/// A value, and whether it lies where it should.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cell {
    pub(super) words: String,
    pub(super) within: Option<bool>,
}

/// A line of the proof.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ProofRow {
    pub(super) line: String,
    pub(super) value: String,
    pub(super) limits: String,
    pub(super) within: Option<bool>,
}

impl Sheet {
    /// Of a visit; with its number where it is one of the job book.
    pub fn of_visit(machine: &Machine, visit: &Visit, number: Option<u32>) -> Sheet {
        let name = shown(machine.tag.as_str());
        let day = match number {
            Some(number) => format!("visit {number}, {}", visit.date),
            None => visit.date.to_string(),
        };
        let mut facts = vec![];
        let mut add = |name, value: Option<String>| {
            facts.extend(
                value
                    .filter(|value| !value.is_empty())
                    .map(|value| (name, value)),
            );
        };
        add("Class", machine.class.map(|class| class.describes().into()));
        add("Day", Some(visit.date.to_string()));
        add(
            "Visit",
            number.map(|number| format!("{number} in the job book")),
        );
        add("Attachment", fact(visit.attachment.as_deref()));
        add("Fuel", fact(visit.fuel.as_deref()));
        add("Air", Some(place_words(visit.air)));
        add("Technician", fact(visit.technician.as_deref()));
        add(
            "Tuning",
            visit.verdict.map(|verdict| verdict_words(verdict).into()),
        );
        Sheet {
            title: format!("Job sheet: {name}, {day}"),
            complaint: text(visit.complaint.as_deref()),
            figures: figures(&machine.profile, visit),
            how: how(visit),
            pictures: vec![],
            checked: entries(
                visit
                    .checks
                    .iter()
                    .filter(|check| check.found != Finding::NotChecked)
                    .map(check_words),
            ),
            turned: moves(&visit.moves),
            proof: proof(visit),
            unchecked: unchecked(&machine.profile, visit),
            faults: entries(
                visit
                    .faults
                    .iter()
                    .map(|fault| format!("{}: {}", fault.id.what(), fault.why)),
            ),
            advised: vec![],
            notes: text(visit.notes.as_deref()),
            cautions: cautions(&machine.profile)
                .into_iter()
                .map(|caution| caution.words)
                .collect(),
            clips: entries(visit.clips.iter().map(|clip| {
                let hash = clip.sha256.to_string();
                format!(
                    "{}: {} (SHA-256 {}…)",
                    moment(clip.moment),
                    file_name(&clip.path),
                    &hash[..16]
                )
            })),
            name,
            facts,
        }
    }

    /// Puts in what the sound asked for.
    pub fn with_advice(mut self, advice: &Advice) -> Sheet {
        let dangers = advice
            .dangers
            .iter()
            .map(|danger| format!("{} {}", words::stopped(&danger.why), danger.act));
        let moves = advice.moves.iter().map(|turn| turn.say.clone());
        let faults = advice
            .faults
            .iter()
            .map(|fault| format!("Look for: {}", fault.why));
        let all: Vec<String> = dangers.chain(moves).chain(faults).collect();
        let said = if all.is_empty() {
            vec![advice.headline.clone()]
        } else {
            all
        };
        self.advised = said.iter().map(|words| cut(words, LONGEST)).collect();
        self
    }

    /// Puts in a picture.
    pub fn with_picture(mut self, picture: Picture) -> Sheet {
        self.pictures.push(picture);
        self
    }
}

/// Text that fits on the page.
fn cut(text: &str, most: usize) -> String {
    let text = shown(text);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if text.chars().count() <= most {
        return text;
    }
    let kept: String = text.chars().take(most - 1).collect();
    kept.trim_end().to_string() + "…"
}

fn text(words: Option<&str>) -> Option<String> {
    words.map(|words| cut(words, LONGEST))
}

fn fact(words: Option<&str>) -> Option<String> {
    words.map(|words| cut(words, LONGEST_FACT))
}

/// Entries of a list, each on a line of its own.
fn entries(entries: impl Iterator<Item = String>) -> Vec<String> {
    entries
        .map(|entry| cut(&capital(&entry), LONGEST_ENTRY))
        .collect()
}

/// Turns in order; the same turn several times in a row is one entry.
fn moves(moves: &[MoveMade]) -> Vec<String> {
    let words = |same: &[MoveMade]| {
        let once = turned(&same[0]);
        match same.len() {
            1 => capital(&once),
            2 => format!("Twice: {once}"),
            times => format!("{times} times: {once}"),
        }
    };
    moves.chunk_by(|a, b| a == b).map(words).collect()
}

fn file_name(path: &str) -> String {
    let name = path.rsplit(['/', '\\']).next().unwrap_or(path);
    cut(name, 40)
}

fn moment(moment: Moment) -> &'static str {
    match moment {
        Moment::Before => "before",
        Moment::During => "during",
        Moment::After => "after",
    }
}

fn figures(profile: &Profile, visit: &Visit) -> Vec<Row> {
    let speeds = &profile.speeds;
    let both = |pick: &dyn Fn(&Measured) -> Option<Cell>| {
        let cell = |measured: &Option<Measured>| {
            measured.as_ref().and_then(pick).unwrap_or_else(Cell::empty)
        };
        (cell(&visit.before), cell(&visit.after))
    };
    let mut rows = vec![];
    let mut add = |what, figure: String, (before, after): (Cell, Cell)| {
        rows.push(Row {
            what,
            figure,
            before,
            after,
        });
    };
    let judged = |range: Option<SpeedRange>| {
        move |held: Held| Cell {
            words: held_words(held),
            within: range.map(|range| (range.low().0..=range.high().0).contains(&held.rpm.0)),
        }
    };
    add(
        "Idle",
        known(profile, Figure::Idle),
        both(&|measured| measured.idle.map(judged(speeds.idle))),
    );
    add(
        "Full throttle, no load",
        known(profile, Figure::FullThrottle),
        both(&|measured| measured.full_throttle.map(judged(speeds.full_throttle))),
    );
    let plain = |words: String| Cell {
        words,
        within: None,
    };
    add(
        "Turns skipped at full throttle",
        "no figure".into(),
        both(&|measured| measured.skip_ratio.map(|share| plain(percent(share)))),
    );
    add(
        "Firing at full throttle",
        "no figure".into(),
        both(&|measured| {
            measured
                .firing
                .map(|firing| plain(words::firing(firing).into()))
        }),
    );
    for (screw, what) in [
        (Screw::High, "High-speed screw, out from seated"),
        (Screw::Low, "Low-speed screw, out from seated"),
        (Screw::Idle, "Idle-speed screw, in from first touch"),
    ] {
        let position =
            |turned: Option<f64>| turned.map_or_else(Cell::empty, |value| plain(turns(value)));
        let cells = (
            position(visit.screws_found.get(screw)),
            position(visit.screws_left.get(screw)),
        );
        add(what, "no figure".into(), cells);
    }
    // The two speeds always have their row, so that it is seen what was not measured.
    let mut place = 0;
    rows.retain(|row| {
        place += 1;
        place <= 2 || row.before != Cell::empty() || row.after != Cell::empty()
    });
    rows
}

impl Cell {
    fn empty() -> Cell {
        Cell {
            words: "not measured".into(),
            within: None,
        }
    }
}

fn held_words(held: Held) -> String {
    match (held.low, held.high) {
        (Some(low), Some(high)) => {
            let half = ((high.0 - low.0) / 2.0).ceil();
            format!("{} ± {} rpm", grouped(held.rpm.0), grouped(half))
        }
        _ => format!("{} rpm", grouped(held.rpm.0)),
    }
}

/// A figure of the profile and where it came from.
fn known(profile: &Profile, figure: Figure) -> String {
    let lines = machine_words::figures(profile);
    let name = machine_words::name(figure);
    lines
        .into_iter()
        .find(|(known, _)| known == name)
        .map_or("not known".into(), |(_, value)| cut(&value, LONGEST_ENTRY))
}

/// How it was measured, as far as the two ends of the visit differ.
fn how(visit: &Visit) -> Vec<String> {
    let mut lines: Vec<String> = vec![];
    for measured in [&visit.before, &visit.after].into_iter().flatten() {
        let words = measurement_words(measured.how).to_string();
        if !lines.contains(&words) {
            lines.push(words);
        }
    }
    lines
}

/// The lines of the proof, those outside their limits first: whatever has to be cut, they stay.
fn proof(visit: &Visit) -> Vec<ProofRow> {
    let mut lines: Vec<_> = visit.proof.iter().collect();
    lines.sort_by_key(|line| line.within != Some(false));
    lines
        .into_iter()
        .map(|line| ProofRow {
            line: cut(&capital(&line.line), LONGEST_ENTRY),
            value: line.value.map_or("not measured".into(), number),
            limits: limits(line).unwrap_or_else(|| "none given".into()),
            within: line.within,
        })
        .collect()
}

/// What nobody looked at, so that nobody takes it as proved.
fn unchecked(profile: &Profile, visit: &Visit) -> Vec<String> {
    let mut open = vec![];
    let after = visit.after.as_ref();
    if after.and_then(|measured| measured.idle).is_none() {
        open.push("idle as left".to_string());
    }
    if after.and_then(|measured| measured.full_throttle).is_none() {
        open.push("full throttle as left".into());
    }
    for (figure, name) in [
        (Figure::Idle, "maker's idle"),
        (Figure::FullThrottle, "maker's maximum"),
    ] {
        if !profile.knows(figure) {
            open.push(format!("{name}: not known"));
        } else if profile.is_typical(figure) {
            open.push(format!("{name}: only what is usual for the class"));
        }
    }
    if visit.proof.is_empty() {
        open.push(
            "pick-up from idle, return to idle, attachment still at idle, hot restart".into(),
        );
    }
    let lines = visit.proof.iter().filter(|line| line.within.is_none());
    open.extend(lines.map(|line| line.line.clone()));
    let checks = visit
        .checks
        .iter()
        .filter(|check| check.found == Finding::NotChecked);
    open.extend(checks.map(|check| check.what.clone()));
    if visit.checks.is_empty() {
        open.push("filter, fuel, plug, screen, compression".into());
    }
    entries(open.into_iter())
}
