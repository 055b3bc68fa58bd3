//! Advice in the order of urgency: dangers, turns, faults, what to find out; cautions at the end.
use super::look::{Look, Tone};
use super::words::wrapped;
use crate::guide::{Advice, Caution, Move};

/// The advice as text, ending with a line break.
pub fn render(advice: &Advice, look: &Look) -> String {
    let mut out = heading("What to do", look);
    if !advice.headline.is_empty() {
        out.push_str(&wrapped("  ", &advice.headline, look.width));
    }
    for danger in &advice.dangers {
        let word = if danger.certain {
            "DANGER: "
        } else {
            "POSSIBLE DANGER: "
        };
        let mark = format!("  {}", look.paint(Tone::Alarming, word));
        out.push_str(&wrapped(
            &mark,
            &format!("{} {}", danger.why, danger.act),
            look.width,
        ));
    }
    for (at, turn) in advice.moves.iter().enumerate() {
        out.push_str(&one_move(at + 1, turn, look));
    }
    section(
        &mut out,
        "Likely faults, the likeliest first",
        look,
        |out| {
            for (at, fault) in advice.faults.iter().enumerate() {
                out.push_str(&wrapped(&format!("  {}. ", at + 1), &fault.why, look.width));
                out.push_str(&wrapped("     check: ", &fault.check, look.width));
            }
        },
    );
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
                &format!("{} {}", question.ask, question.because),
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
        out.push_str(&wrapped("     why: ", &reason.words, look.width));
    }
    out.push_str(&wrapped(
        "     then listen for: ",
        &turn.listen_for,
        look.width,
    ));
    out.push_str(&wrapped("     never: ", &turn.never, look.width));
    out
}

fn heading(words: &str, look: &Look) -> String {
    format!("{}\n", look.paint(Tone::Strong, words))
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
