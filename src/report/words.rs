//! The words of the trade for what the types say.
use crate::book::MoveMade;
use crate::firing::FiringKind;
use crate::procedure::Reference;
use crate::reading::SpanKind;
use crate::tach::Unreadable;
use crate::units::{Rpm, Seconds};

/// How the engine fires.
pub fn firing(kind: FiringKind) -> &'static str {
    match kind {
        FiringKind::Clean => "clean",
        FiringKind::FourStroking => "four-stroking",
        FiringKind::Limiter => "limiter",
        FiringKind::Unclear => "unclear",
        FiringKind::None => "-",
    }
}

/// What the engine does.
pub fn span(kind: SpanKind) -> &'static str {
    match kind {
        SpanKind::Idle => "idle",
        SpanKind::Rising => "rising",
        SpanKind::PartThrottle => "part throttle",
        SpanKind::FullThrottle => "full throttle",
        SpanKind::Falling => "falling",
        SpanKind::Stopped => "stopped",
        SpanKind::Unreadable => "not readable",
    }
}

/// Why there is no speed, to follow a colon.
pub fn unreadable(reason: Unreadable) -> &'static str {
    match reason {
        Unreadable::Silence => "silence",
        Unreadable::NoEngine => "no sound of an engine",
        Unreadable::SteadyHum => "a hum that never moves",
        Unreadable::OtherPitch => "a pitch, but not an engine's",
        Unreadable::TooMuchNoise => "too much noise",
        Unreadable::TwoEngines => "two engines at once",
        Unreadable::Unsteady => "speed too unsteady to follow",
    }
}

/// A turn that was made.
pub fn turned(made: &MoveMade) -> String {
    let MoveMade {
        screw,
        direction,
        turns,
        from,
    } = made;
    let from = match from {
        Reference::Here => "",
        Reference::Seat => ", counted from lightly seated",
        Reference::Touch => ", counted from the first touch",
        Reference::RichStop => ", counted from the rich end of the cap's travel",
    };
    format!("{screw} {turns} {direction}{from}")
}

/// A whole number in groups of three: 12345.6 is "12,346".
pub fn grouped(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if value < 0.0 && digits != "0" {
        format!("-{out}")
    } else {
        out
    }
}

/// A speed as a technician says it: to ten revolutions a minute.
pub fn about(speed: Rpm) -> String {
    format!("{} rpm", grouped((speed.0 / 10.0).round() * 10.0))
}

/// A moment: seconds up to two minutes, then minutes and hours.
pub fn moment(t: Seconds) -> String {
    let s = t.0.max(0.0);
    if s < 120.0 {
        return format!("{s:.1} s");
    }
    let whole = s.round() as u64;
    match whole / 3_600 {
        0 => format!("{}:{:02}", whole / 60, whole % 60),
        hours => format!("{hours}:{:02}:{:02}", whole / 60 % 60, whole % 60),
    }
}

/// A share of 0 to 1 in percent.
pub fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// Text from outside (a path, a name) without what could steer a terminal.
pub fn shown(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect()
}

/// The same in a word or two, for a table.
pub fn unreadable_short(reason: Unreadable) -> &'static str {
    match reason {
        Unreadable::Silence => "silence",
        Unreadable::NoEngine => "no engine",
        Unreadable::SteadyHum => "steady hum",
        Unreadable::OtherPitch => "other pitch",
        Unreadable::TooMuchNoise => "too noisy",
        Unreadable::TwoEngines => "two engines",
        Unreadable::Unsteady => "unsteady",
    }
}

/// Breaks `text` at spaces into lines of at most `width` columns. The first line begins with
/// `first`, the others with as many spaces.
pub fn wrapped(first: &str, text: &str, width: usize) -> String {
    hanging(first, console::measure_text_width(first), text, width)
}

/// The same with an indent of its own for the lines after the first.
pub fn hanging(first: &str, indent: usize, text: &str, width: usize) -> String {
    let lead = console::measure_text_width(first);
    let mut out = String::from(first);
    // Columns used on this line, and those that it began with.
    let (mut used, mut begin) = (lead, lead);
    let mut words = text.split_whitespace().peekable();
    while let Some(word) = words.next() {
        // A number and its unit stay on one line.
        let unit =
            words.next_if(|next| word.ends_with(|c: char| c.is_ascii_digit()) && is_unit(next));
        let word = unit.map_or(word.to_string(), |unit| format!("{word} {unit}"));
        let length = console::measure_text_width(&word);
        if used > begin && used + 1 + length > width {
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', indent));
            (used, begin) = (indent, indent);
        } else if used > begin {
            out.push(' ');
            used += 1;
        }
        out.push_str(&word);
        used += length;
    }
    out.push('\n');
    out
}

/// With a capital at the beginning, as a line of its own begins.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// With a full stop at the end, where another sentence stands beside it.
pub fn stopped(text: &str) -> String {
    let ended = text.ends_with(['.', '!', '?']);
    if ended {
        text.to_string()
    } else {
        format!("{text}.")
    }
}

fn is_unit(word: &str) -> bool {
    let word = word.trim_end_matches(|c: char| ",.;:)".contains(c));
    ["s", "ms", "rpm", "%", "Hz", "dB", "m", "mm", "bar"].contains(&word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_grouped_by_three() {
        let cases = [
            (0.0, "0"),
            (999.4, "999"),
            (999.6, "1,000"),
            (12_345.6, "12,346"),
            (1e6, "1,000,000"),
            (-1234.0, "-1,234"),
        ];
        for (value, words) in cases {
            assert_eq!(grouped(value), words);
        }
        assert_eq!(about(Rpm(9_436.0)), "9,440 rpm");
    }

    #[test]
    fn moments_grow_from_seconds_to_hours() {
        let cases = [
            (0.0, "0.0 s"),
            (9.96, "10.0 s"),
            (125.0, "2:05"),
            (3_599.9, "1:00:00"),
            (36_000.0, "10:00:00"),
        ];
        for (t, words) in cases {
            assert_eq!(moment(Seconds(t)), words);
        }
    }

    #[test]
    fn lines_break_at_spaces_and_keep_their_indent() {
        assert_eq!(wrapped("- ", "one two three", 9), "- one two\n  three\n");
        assert_eq!(
            wrapped("", "unbreakablelongword x", 5),
            "unbreakablelongword\nx\n"
        );
        assert_eq!(
            hanging("why: ", 2, "one two three", 10),
            "why: one\n  two\n  three\n"
        );
        assert_eq!(wrapped("  ", "", 5), "  \n");
        assert_eq!(wrapped("", "it took 0.3 s.", 10), "it took\n0.3 s.\n");
    }

    #[test]
    fn a_file_name_cannot_steer_the_terminal() {
        assert_eq!(shown("a\u{1b}[31mb\nc"), "a\u{fffd}[31mb\u{fffd}c");
    }
}
