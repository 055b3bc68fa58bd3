//! A result for people: what was heard in one sentence, the chart, the spans, what to do.
use super::advice;
use super::look::{Look, Tone};
use super::plot;
use super::result::Report;
use super::table::Table;
use super::words::{self, about, grouped, moment, percent, shown, wrapped};
use crate::firing::FiringKind;
use crate::reading::{Plateau, Reading, Span, SpanKind};
use crate::units::{Rpm, Seconds};

/// Spans that are listed; longer lists end with how many are left out.
const MOST_SPANS: usize = 40;
/// Share of the time from which one kind of firing stands for all of it.
const NEARLY_ALL: f64 = 0.8;
/// Below this confidence a speed is said to be unsure.
const SURE: f64 = 0.5;

/// The whole text of one clip, ending with a line break. With `titled` the clip's name stands above.
pub fn render(report: &Report, titled: bool, look: &Look) -> String {
    let mut out = String::new();
    if titled {
        let clip = &report.clip;
        out.push_str(&look.paint(Tone::Strong, &shown(&clip.path)));
        out.push_str(&look.paint(
            Tone::Faint,
            &format!("  ({})\n", moment(Seconds(clip.seconds))),
        ));
    }
    for line in wrapped("", &sentence(report), look.width).lines() {
        out.push_str(&look.paint(Tone::Strong, line));
        out.push('\n');
    }
    if report.heard_engine() {
        out.push('\n');
        out.push_str(&plot::draw(&report.trace, &report.machine, look));
        out.push('\n');
        out.push_str(&spans(&report.reading.spans, look));
        let events = events(&report.reading);
        if !events.is_empty() {
            out.push('\n');
        }
        for event in events {
            out.push_str(&wrapped("  ", &event, look.width));
        }
    }
    for warning in &report.warnings {
        out.push('\n');
        let mark = look.paint(Tone::Notable, "Note: ");
        out.push_str(&wrapped(
            &mark,
            &format!("{}; {}", warning.words, warning.hint),
            look.width,
        ));
    }
    out.push('\n');
    out.push_str(&advice::render(&report.advice, look));
    out
}

/// What was heard, in one sentence.
pub(super) fn sentence(report: &Report) -> String {
    let reading = &report.reading;
    if !report.heard_engine() {
        let why = reading
            .unreadable
            .first()
            .map_or("nothing that turns", |most| words::unreadable(most.reason));
        return format!("No engine heard: {why}.");
    }
    let plateaus = [
        ("idle", reading.idle),
        ("full throttle", reading.full_throttle),
    ];
    let mut heard: Vec<String> = plateaus
        .iter()
        .filter_map(|(name, plateau)| plateau.as_ref().map(|p| plateau_words(name, p)))
        .collect();
    if heard.is_empty() {
        heard = longest(&reading.spans)
            .into_iter()
            .map(span_words)
            .collect();
    }
    format!(
        "Heard an engine for {:.1} of {:.1} s: {}.",
        reading.readable.0,
        reading.heard.0,
        heard.join("; ")
    )
}

fn plateau_words(name: &str, plateau: &Plateau) -> String {
    let firing = firing_words(plateau.firing, plateau.skip_ratio, plateau.firing_share);
    format!(
        "{name} at {}{}, {firing}",
        about(plateau.rpm),
        doubt(plateau.other_rpm, plateau.confidence)
    )
}

pub(super) fn span_words(span: &Span) -> String {
    let what = words::span(span.kind);
    let speed = match (span.kind, span.from_rpm, span.to_rpm, span.rpm) {
        (SpanKind::Rising | SpanKind::Falling, Some(from), Some(to), _) => {
            format!(
                "from {} to {}",
                grouped((from.0 / 10.0).round() * 10.0),
                about(to)
            )
        }
        (_, _, _, Some(rpm)) => format!("at {}", about(rpm)),
        (_, _, _, None) => "at an unknown speed".into(),
    };
    let firing = firing_words(span.firing, span.skip_ratio, span.firing_share);
    format!(
        "{what} {speed}{}, {firing}",
        doubt(span.other_rpm, span.confidence)
    )
}

fn firing_words(kind: FiringKind, skipped: Option<f64>, share: f64) -> String {
    let mostly = mostly(kind, share);
    match (kind, skipped) {
        (FiringKind::Clean, _) => format!("{mostly}firing clean"),
        (FiringKind::FourStroking, Some(skipped)) => {
            format!(
                "{mostly}four-stroking ({} of the turns without a full firing)",
                percent(skipped)
            )
        }
        (FiringKind::FourStroking, None) => format!("{mostly}four-stroking"),
        (FiringKind::Limiter, _) => format!("{mostly}on the ignition limiter"),
        (FiringKind::Unclear | FiringKind::None, _) => "firing not clear enough to judge".into(),
    }
}

/// A word before the most frequent kind of firing where another is heard for much of the time.
fn mostly(kind: FiringKind, share: f64) -> &'static str {
    match kind {
        FiringKind::Clean | FiringKind::FourStroking | FiringKind::Limiter
            if share < NEARLY_ALL =>
        {
            "mostly "
        }
        _ => "",
    }
}

fn doubt(other: Option<Rpm>, confidence: f64) -> String {
    match other {
        Some(other) => format!(" (or {}: nothing decides between the two)", about(other)),
        None if confidence < SURE => " (not sure)".into(),
        None => String::new(),
    }
}

/// The two longest spans with a speed, in the order of time.
fn longest(spans: &[Span]) -> Vec<&Span> {
    let mut with_speed: Vec<&Span> = spans.iter().filter(|span| span.rpm.is_some()).collect();
    with_speed.sort_by(|a, b| b.length().0.total_cmp(&a.length().0));
    with_speed.truncate(2);
    with_speed.sort_by(|a, b| a.start.0.total_cmp(&b.start.0));
    with_speed
}

fn spans(spans: &[Span], look: &Look) -> String {
    let mut table = Table::new(&[
        ("time", 0),
        ("", 0),
        ("rpm", 0),
        ("± 95 %", 4),
        ("spread", 5),
        ("firing", 1),
        ("skips", 3),
        ("sure", 2),
    ]);
    for span in spans.iter().take(MOST_SPANS) {
        let moving = matches!(span.kind, SpanKind::Rising | SpanKind::Falling);
        let rpm = match (span.to_rpm.filter(|_| moving), span.rpm) {
            (Some(to), _) => format!("to {}", grouped(to.0)),
            (None, Some(rpm)) => grouped(rpm.0),
            (None, None) => String::new(),
        };
        let either_side = match (span.rpm_low, span.rpm_high) {
            (Some(low), Some(high)) if !moving => grouped(((high.0 - low.0) / 2.0).ceil()),
            _ => String::new(),
        };
        let firing = match (span.rpm, span.unreadable) {
            (None, Some(reason)) => words::unreadable_short(reason),
            (None, None) => "",
            (Some(_), _) => words::firing(span.firing),
        };
        table.row([
            stretch(span),
            words::span(span.kind).into(),
            match span.other_rpm {
                Some(other) => format!("{rpm} or {}", grouped(other.0)),
                None => rpm,
            },
            either_side,
            span.spread_pct
                .filter(|_| !moving)
                .map_or(String::new(), |spread| format!("{spread:.1} %")),
            match span.rpm {
                Some(_) => format!("{}{firing}", mostly(span.firing, span.firing_share)),
                None => firing.into(),
            },
            span.skip_ratio.map_or(String::new(), percent),
            span.rpm.map_or(String::new(), |_| percent(span.confidence)),
        ]);
    }
    let mut out = table.render(look);
    if spans.len() > MOST_SPANS {
        out.push_str(&format!(
            "  and {} more; `--format json` lists them all\n",
            spans.len() - MOST_SPANS
        ));
    }
    out
}

/// From when to when, with the unit once.
fn stretch(span: &Span) -> String {
    let (start, end) = (moment(span.start), moment(span.end));
    let start = if end.ends_with(" s") {
        start.trim_end_matches(" s")
    } else {
        &start
    };
    format!("{start} - {end}")
}

/// Hunting, accelerations with a bog, returns with a hang: a sentence each.
fn events(reading: &Reading) -> Vec<String> {
    let mut out = vec![];
    if let Some(hunting) = reading.hunting {
        out.push(format!(
            "The idle hunts: {:.1} times a second by {:.0} % to either side ({} to {}).",
            hunting.rate_hz.0,
            hunting.depth_pct,
            grouped(hunting.low_rpm.0),
            about(hunting.high_rpm)
        ));
    }
    for rise in &reading.accelerations {
        let bog = rise.bog.map_or(String::new(), |bog| {
            format!(
                ", with a bog of {} for {:.1} s",
                about(bog.dip_rpm),
                bog.lasts.0
            )
        });
        out.push(format!(
            "At {} it took {:.1} s from idle to {}{bog}.",
            moment(rise.start),
            rise.rise.0,
            about(rise.to_rpm)
        ));
    }
    for fall in &reading.returns {
        let hang = fall.hang.map_or(String::new(), |hang| {
            format!(
                ", hanging at {} for {:.1} s",
                about(hang.plateau_rpm),
                hang.lasts.0
            )
        });
        out.push(format!(
            "At {} it took {:.1} s back to idle{hang}.",
            moment(fall.start),
            fall.time.0
        ));
    }
    out
}
