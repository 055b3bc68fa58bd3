//! The card of the procedure: as text, and as one printed page.
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::words::wrapped;
use crate::procedure::Card;

/// One A4 page: two columns of small print, nothing that needs colour.
const STYLE: &str = "@page{size:A4;margin:8mm}\
body{font:6.4pt/1.16 sans-serif;margin:0 auto;max-width:194mm;color:#000;background:#fff}\
h1{font-size:12pt;margin:0 0 1mm}h2{font-size:8.6pt;margin:1.6mm 0 .4mm;break-after:avoid}\
main{columns:3;column-gap:4mm}p,ol,ul,dl{margin:0 0 .6mm}ol,ul{padding-left:4mm}\
section{break-inside:auto}.aim{font-style:italic}dt{font-weight:bold}dd{margin:0 0 .4mm 3mm}\
@media screen{body{font-size:11pt;max-width:70em;padding:1em}h1{font-size:18pt}h2{font-size:13pt}}";

const TITLE: &str = "Setting a two-stroke by ear";
const REPEAT: &str = "Turns of a screw are made again, and smaller near the goal, until the line in \
     slanted letters holds";
const MAKER: &str =
    "Figures without a source are common practice, no source; the maker's manual wins";

fn heading(card: &Card) -> String {
    match &card.machine {
        Some(name) => {
            let name: String = name.chars().filter(|c| !c.is_control()).collect();
            format!("{TITLE}: {name}")
        }
        None => TITLE.to_owned(),
    }
}

/// As text, in lines of at most `width` characters.
pub fn card_text(card: &Card, width: usize) -> String {
    let mut out = format!("{}\n\n", heading(card));
    for caution in &card.cautions {
        out.push_str(&wrapped("  ! ", caution, width));
    }
    for (n, step) in card.steps.iter().enumerate() {
        out.push_str(&format!("\n{}. {}\n", n + 1, step.title));
        out.push_str(&wrapped("   until: ", &step.aim, width));
        for prompt in &step.prompts {
            out.push_str(&wrapped("   - ", prompt, width));
        }
    }
    out.push_str("\nWhen it does not come right: stop, and check in this order\n");
    for symptom in &card.symptoms {
        let faults = symptom.faults.join(", ");
        out.push_str(&wrapped(
            "   - ",
            &format!("{}: {faults}", symptom.found),
            width,
        ));
    }
    out.push_str("\nThe checks\n");
    for check in &card.checks {
        let line = format!("{}: {}. {}", check.fault, check.what, check.check);
        out.push_str(&wrapped("   - ", &line, width));
    }
    out.push('\n');
    out.push_str(&wrapped("", MAKER, width));
    out
}

/// As a page of HTML that prints on one sheet and needs nothing else.
pub fn card_html(card: &Card) -> String {
    let page: Markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (heading(card)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (heading(card)) }
                main {
                    section {
                        h2 { "Cautions" }
                        ul { @for caution in &card.cautions { li { (caution) } } }
                    }
                    @for (n, step) in card.steps.iter().enumerate() {
                        section {
                            h2 { (n + 1) ". " (step.title) }
                            p.aim { (step.aim) }
                            ul { @for prompt in &step.prompts { li { (prompt) } } }
                        }
                    }
                    p { (REPEAT) }
                    section {
                        h2 { "When it does not come right" }
                        dl {
                            @for symptom in &card.symptoms {
                                dt { (symptom.found) }
                                dd { (symptom.faults.join(", ")) }
                            }
                        }
                    }
                    section {
                        h2 { "The checks" }
                        dl {
                            @for check in &card.checks {
                                dt { (check.fault) ": " (check.what) }
                                dd { (check.check) }
                            }
                        }
                    }
                }
                p { (MAKER) }
            }
        }
    };
    page.into_string()
}
