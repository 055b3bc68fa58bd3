//! Advice in the order of urgency: dangers, turns, faults, what to find out; cautions at the end.
use super::look::{Look, Tone};
use super::words::{capital, hanging, stopped, wrapped};
use crate::guide::{Advice, Caution, Move};

/// Columns before the lines that go on with a reason or a check.
const DEEP: usize = 7;

/// The advice as text, ending with a line break.
pub fn render(advice: &Advice, look: &Look) -> String {
    let mut out = heading("What to do", look);
    // Where the headline is the first danger or turn itself, it is said once.
    let said = advice.moves.iter().any(|turn| turn.say == advice.headline)
        || advice
            .dangers
            .iter()
            .any(|danger| advice.headline.ends_with(&danger.act));
    if !said && !advice.headline.is_empty() {
        out.push_str(&wrapped("  ", &advice.headline, look.width));
    }
    for danger in &advice.dangers {
        let word = if danger.certain {
            "DANGER:"
        } else {
            "POSSIBLE DANGER:"
        };
        let mark = format!("  {} ", look.paint(Tone::Alarming, word));
        let words = format!("{} {}", stopped(&danger.why), stopped(&danger.act));
        out.push_str(&hanging(&mark, 4, &words, look.width));
    }
    for (at, turn) in advice.moves.iter().enumerate() {
        out.push_str(&one_move(at + 1, turn, look));
    }
    let after_the_turn = advice.faults.iter().all(|fault| fault.if_no_change);
    let faults = if after_the_turn {
        "If that changes nothing, look for, the likeliest first"
    } else {
        "Likely faults, the likeliest first"
    };
    section(&mut out, faults, look, |out| {
        for (at, fault) in advice.faults.iter().enumerate() {
            out.push_str(&wrapped(
                &format!("  {}. ", at + 1),
                &capital(&fault.why),
                look.width,
            ));
            out.push_str(&hanging("     check: ", DEEP, &fault.check, look.width));
        }
    });
    section(&mut out, "Also heard", look, |out| {
        advice
            .notes
            .iter()
            .for_each(|note| out.push_str(&wrapped("  - ", &note.words, look.width)));
    });
    section(&mut out, "Worth knowing for better advice", look, |out| {
        for question in &advice.questions {
            out.push_str(&wrapped(
                "  - ",
                &format!("{} {}", question.ask, stopped(&capital(&question.because))),
                look.width,
            ));
            out.push_str(&wrapped(
                "    ",
                &format!("In the machine profile: `{}`", question.key),
                look.width,
            ));
        }
    });
    section(&mut out, "For the next recording", look, |out| {
        advice
            .recording
            .iter()
            .for_each(|words| out.push_str(&wrapped("  - ", words, look.width)));
    });
    out
}

/// The cautions, which stand at the end of every text.
pub fn cautions(cautions: &[Caution], look: &Look) -> String {
    let mut out = String::new();
    section(&mut out, "Cautions", look, |out| {
        cautions
            .iter()
            .for_each(|caution| out.push_str(&wrapped("  - ", &caution.words, look.width)));
    });
    out
}

fn one_move(number: usize, turn: &Move, look: &Look) -> String {
    let first = format!("  {number}. ");
    let mut out = String::new();
    for (at, line) in wrapped(&first, &turn.say, look.width).lines().enumerate() {
        let (lead, words) = line.split_at(first.len().min(line.len()));
        out.push_str(if at == 0 { lead } else { "     " });
        out.push_str(&look.paint(Tone::Strong, words));
        out.push('\n');
    }
    for reason in &turn.reasons {
        out.push_str(&hanging("     why: ", DEEP, &reason.words, look.width));
    }
    out.push_str(&hanging(
        "     then listen for: ",
        DEEP,
        &turn.listen_for,
        look.width,
    ));
    out.push_str(&hanging("     never: ", DEEP, &turn.never, look.width));
    out
}

fn heading(words: &str, look: &Look) -> String {
    let lines = wrapped("", words, look.width);
    lines
        .lines()
        .map(|line| look.paint(Tone::Strong, line) + "\n")
        .collect()
}

/// A heading with what `fill` writes below it; nothing where that is nothing.
fn section(out: &mut String, words: &str, look: &Look, fill: impl FnOnce(&mut String)) {
    let mut body = String::new();
    fill(&mut body);
    if !body.is_empty() {
        out.push('\n');
        out.push_str(&heading(words, look));
        out.push_str(&body);
    }
}
