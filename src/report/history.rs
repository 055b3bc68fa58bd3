//! What the job book knows, for people: the list of machines, the history of one.
use jiff::civil::Date;

use super::look::{Look, Tone};
use super::machine_words;
use super::table::Table;
use super::words::{self, about, capital, grouped, percent, shown, wrapped};
use crate::book::{
    Air, AirAdvice, AirChange, Check, Finding, How, Machine, Measured, Moved, Numbered, Quantity,
    Screws, Series, Visit, When, air_change, trends,
};
use crate::guide::Screw;
use crate::procedure::{ProofLine, Verdict};

/// The machines of a book, a line each.
pub fn machines(list: &[(Machine, u32, Option<Date>)], look: &Look) -> String {
    let mut table = Table::new(&[("machine", 0), ("class", 2), ("visits", 0), ("latest", 1)]);
    for (machine, visits, latest) in list {
        table.row([
            shown(machine.tag.as_str()),
            machine
                .class
                .map_or(String::new(), |class| class.word().into()),
            visits.to_string(),
            latest.map_or(String::new(), |date| date.to_string()),
        ]);
    }
    table.render(look)
}

/// A machine with its visits in order of time, what changed between them, and what the air asks
/// for: here and `now`, or at the latest visit.
pub fn history(machine: &Machine, visits: &[Numbered], now: Option<Air>, look: &Look) -> String {
    let mut out = look.paint(Tone::Strong, &shown(machine.tag.as_str()));
    out.push_str(
        &machine
            .class
            .map_or("\n".into(), |class| format!("  ({})\n", class.describes())),
    );
    for (name, value) in machine_words::figures(&machine.profile) {
        out.push_str(&field(&name, &value, look));
    }
    for visit in visits {
        out.push('\n');
        out.push_str(&one_visit(visit, look));
    }
    if visits.is_empty() {
        out.push_str("\nNo visit yet\n");
    }
    let series = trends(visits);
    if visits.len() > 1 && !series.is_empty() {
        out.push('\n');
        out.push_str(&look.paint(Tone::Strong, "From visit to visit"));
        out.push('\n');
        out.push_str(&table(visits, look));
        for series in &series {
            if let Some(moved) = &series.moved {
                let mark = look.paint(Tone::Notable, "  Note: ");
                out.push_str(&wrapped(&mark, &moved_words(series, moved), look.width));
            }
        }
    }
    if let Some(change) = air_change(visits, now) {
        out.push('\n');
        let mark = look.paint(Tone::Notable, "Air: ");
        out.push_str(&wrapped(&mark, &air_words(&change), look.width));
    }
    out
}

/// What the air asks for since the visit before the latest one, as one line; none where nothing.
pub fn air_notice(visits: &[Numbered]) -> Option<String> {
    air_change(visits, None).map(|change| format!("Air: {}", air_words(&change)))
}

fn field(name: &str, value: &str, look: &Look) -> String {
    wrapped(&format!("  {name:<14}"), value, look.width)
}

fn one_visit(numbered: &Numbered, look: &Look) -> String {
    let visit = &numbered.visit;
    let title = format!("Visit {}, {}", numbered.number, visit.date);
    let mut out = look.paint(Tone::Strong, &title) + "\n";
    let mut add = |name: &str, value: Option<String>| {
        if let Some(value) = value.filter(|value| !value.is_empty()) {
            out.push_str(&field(name, &value, look));
        }
    };
    add("attachment", visit.attachment.as_deref().map(shown));
    add("complaint", visit.complaint.as_deref().map(shown));
    add("checks", join(visit.checks.iter().map(check_words)));
    add("as found", visit.before.as_ref().map(measured_words));
    add("screws", Some(screws_words(visit)));
    add("turned", join(visit.moves.iter().map(words::turned)));
    add("as left", visit.after.as_ref().map(measured_words));
    add(
        "ended",
        visit.verdict.map(|verdict| verdict_words(verdict).into()),
    );
    add("proof", join(visit.proof.iter().map(proof_words)));
    add(
        "faults",
        join(
            visit
                .faults
                .iter()
                .map(|fault| format!("{}: {}", fault.id.what(), shown(&fault.why))),
        ),
    );
    add("air", Some(place_words(visit.air)));
    add("fuel", visit.fuel.as_deref().map(shown));
    add("technician", visit.technician.as_deref().map(shown));
    add("notes", visit.notes.as_deref().map(shown));
    add(
        "clips",
        join(
            visit
                .clips
                .iter()
                .map(|clip| format!("{} ({})", shown(&clip.path), clip.moment.word())),
        ),
    );
    out
}

fn join(words: impl Iterator<Item = String>) -> Option<String> {
    Some(words.collect::<Vec<_>>().join("; "))
}

/// A check and what it found.
pub(super) fn check_words(check: &Check) -> String {
    format!("{}: {}", shown(&check.what), finding_words(&check.found))
}

/// What a check found.
pub(super) fn finding_words(found: &Finding) -> String {
    match found {
        Finding::Good => "good".into(),
        Finding::Words(words) => shown(words),
        Finding::NotChecked => "not checked".into(),
    }
}

/// How something was measured, in a sentence.
pub(super) fn measurement_words(how: How) -> &'static str {
    match how {
        How::Heard => {
            "Speeds heard in a recording by this program; ± is half of the interval that holds the true speed 95 times in 100"
        }
        How::Tuning => "Speeds heard during the tuning by this program: medians of what was held",
        How::Typed => "Speeds typed in by hand",
    }
}

fn measured_words(measured: &Measured) -> String {
    let mut parts = vec![];
    if let Some(idle) = measured.idle {
        parts.push(format!("idle {}", about(idle.rpm)));
    }
    if let Some(full) = measured.full_throttle {
        parts.push(format!("full throttle {}", about(full.rpm)));
    }
    if let Some(firing) = measured.firing {
        parts.push(words::firing(firing).into());
    }
    if let Some(skips) = measured.skip_ratio {
        parts.push(format!("{} of the turns skipped", percent(skips)));
    }
    parts.join(", ")
}

/// Where the screws stood and stand, each with its name.
fn screws_words(visit: &Visit) -> String {
    let all = [Screw::High, Screw::Low, Screw::Idle];
    let parts = all.iter().filter_map(|screw| {
        let (found, left) = (
            visit.screws_found.get(*screw),
            visit.screws_left.get(*screw),
        );
        let words = match (found, left) {
            (None, None) => return None,
            (Some(found), Some(left)) => format!("{}, left at {}", turns(found), turns(left)),
            (Some(found), None) => turns(found),
            (None, Some(left)) => format!("left at {}", turns(left)),
        };
        Some(format!("{screw} {words}"))
    });
    parts.collect::<Vec<_>>().join("; ")
}

/// A position in turns.
pub(super) fn turns(value: f64) -> String {
    let text = position(value);
    let unit = if text == "1" { "turn" } else { "turns" };
    format!("{text} {unit}")
}

/// The same without the unit and without zeros that say nothing.
fn position(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').into()
}

/// How a tuning ended.
pub(super) fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Tuned => "set and proved",
        Verdict::Stopped => "stopped: no setting helps",
        Verdict::Unfinished => "not finished",
    }
}

fn proof_words(line: &ProofLine) -> String {
    let value = line.value.map_or("not measured".into(), number);
    let limits = limits(line).map_or(String::new(), |limits| format!(" ({limits})"));
    format!(
        "{}: {value}{limits}, {}",
        shown(&line.line),
        within_words(line.within)
    )
}

/// The limits of a proof line, if it has any.
pub(super) fn limits(line: &ProofLine) -> Option<String> {
    match (line.low, line.high) {
        (Some(low), Some(high)) => Some(format!("{} to {}", number(low), number(high))),
        (Some(low), None) => Some(format!("at least {}", number(low))),
        (None, Some(high)) => Some(format!("at most {}", number(high))),
        (None, None) => None,
    }
}

/// Whether a value lies where it should.
pub(super) fn within_words(within: Option<bool>) -> &'static str {
    match within {
        Some(true) => "within",
        Some(false) => "outside",
        None => "not checked",
    }
}

/// A number as it is read aloud: large ones whole, small ones to two places at most.
pub(super) fn number(value: f64) -> String {
    if value.abs() >= 100.0 {
        return grouped(value);
    }
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').into()
}

/// Temperature and height, as far as they are known.
pub(super) fn place_words(air: Air) -> String {
    let parts = [
        air.temperature_c
            .map(|celsius| format!("{} °C", number(celsius))),
        air.altitude_m
            .map(|metres| format!("{} m above the sea", grouped(metres))),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// A row for each visit with what was found and left; columns without a value do not appear.
fn table(visits: &[Numbered], look: &Look) -> String {
    let mut table = Table::new(&[
        ("visit", 0),
        ("date", 1),
        ("idle rpm", 0),
        ("full rpm", 0),
        ("skips", 2),
        ("high", 3),
        ("low", 4),
        ("idle screw", 5),
    ]);
    let pair = |found: Option<String>, left: Option<String>| match (found, left) {
        (None, None) => String::new(),
        (Some(found), None) => found,
        (None, Some(left)) => format!("> {left}"),
        (Some(found), Some(left)) => format!("{found} > {left}"),
    };
    for numbered in visits {
        let visit = &numbered.visit;
        let of = |pick: &dyn Fn(&Measured) -> Option<String>| {
            pair(
                visit.before.as_ref().and_then(pick),
                visit.after.as_ref().and_then(pick),
            )
        };
        let screw = |pick: &dyn Fn(&Screws) -> Option<f64>| {
            pair(
                pick(&visit.screws_found).map(position),
                pick(&visit.screws_left).map(position),
            )
        };
        table.row([
            numbered.number.to_string(),
            visit.date.to_string(),
            of(&|measured| measured.idle.map(|held| grouped(held.rpm.0))),
            of(&|measured| measured.full_throttle.map(|held| grouped(held.rpm.0))),
            of(&|measured| measured.skip_ratio.map(percent)),
            screw(&|screws| screws.high),
            screw(&|screws| screws.low),
            screw(&|screws| screws.idle),
        ]);
    }
    table.render(look) + "  (as found > as left; screws in turns)\n"
}

fn moved_words(series: &Series, moved: &Moved) -> String {
    let what = match series.quantity {
        Quantity::Idle => "idle speed".into(),
        Quantity::FullThrottle => "full-throttle speed".into(),
        Quantity::SkipRatio => "share of skipped turns".into(),
        Quantity::Position(screw) => format!("{screw}"),
    };
    let when = match series.when {
        When::Found => "as found",
        When::Left => "as left",
    };
    let value = |value: f64| match series.quantity {
        Quantity::Idle | Quantity::FullThrottle => format!("{} rpm", grouped(value)),
        Quantity::SkipRatio => percent(value),
        Quantity::Position(_) => turns(value),
    };
    format!(
        "{} {when} is {}; over {} earlier visits it was {}, give or take {}: look for the reason before another turn hides it",
        capital(&what),
        value(moved.value),
        moved.earlier,
        value(moved.usual),
        value(moved.within)
    )
}

/// What a change of the air asks for, in a sentence or two.
pub(super) fn air_words(change: &AirChange) -> String {
    let denser = if change.enrich_first() {
        "denser"
    } else {
        "thinner"
    };
    let asks = match change.advice {
        AirAdvice::Check => "check the mixture",
        AirAdvice::Retune => "set the mixture anew before use",
    };
    let first = if change.enrich_first() {
        ". Denser air makes the mixture leaner: turn the high-speed screw an eighth of a turn out before the first run \
         at full throttle"
    } else {
        ""
    };
    format!(
        "{:.0} % {denser} than at visit {} ({:.2} against {:.2} kg/m³): {asks}{first}",
        change.share().abs() * 100.0,
        change.since,
        change.now,
        change.then
    )
}
