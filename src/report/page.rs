//! The page of a job sheet: one HTML file that needs nothing else.
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::history::within_words;
use super::room::Room;
use super::sheet::{Cell, Picture, ProofRow, Row, Sheet};

/// Layout for screen and paper, light and dark.
const STYLE: &str = include_str!("page.css");

/// Nothing from the net, no script, no form: whatever ends up in the page.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'";

impl Sheet {
    /// The whole page. Everything that came from outside is escaped, but for the pictures.
    pub fn page(&self) -> String {
        let room = Room::on_one_page(self);
        html! {
            (DOCTYPE)
            html lang="en" class=(room.letters.word()) {
                head {
                    meta charset="utf-8";
                    meta http-equiv="Content-Security-Policy" content=(POLICY);
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    meta name="generator" content=(concat!("engine-note ", env!("CARGO_PKG_VERSION")));
                    link rel="icon" href="data:,";
                    title { (self.title) }
                    style { (PreEscaped(STYLE)) }
                }
                body { (self.body(room)) }
            }
        }
        .into_string()
    }

    fn body(&self, room: Room) -> Markup {
        html! {
            header {
                h1 { "Job sheet: " (self.name) }
                dl {
                    @for (name, value) in &self.facts { div { dt { (name) } dd { (value) } } }
                    @if let Some(words) = &self.complaint { div.wide { dt { "Complaint" } dd { (words) } } }
                }
            }
            main {
                section.wide {
                    h2 { "Before and after" }
                    (figures(&self.figures))
                    @for line in &self.how { p.small { (line) } }
                }
                @if !self.pictures.is_empty() {
                    section class=(format!("wide pictures high-{}", room.picture_mm)) {
                        h2 { "What was heard" }
                        @for picture in &self.pictures { (figure(picture)) }
                    }
                }
                @if !self.advised.is_empty() { (list("What the sound asks for", &self.advised, "wide", room)) }
                (list_or("Checked first", &self.checked, "nothing was noted", room))
                (in_order("Turned, in order", &self.turned, "nothing was turned", room))
                @if !self.proof.is_empty() {
                    section.wide.proof {
                        h2 { "Proof" }
                        (proof(&self.proof, room))
                    }
                }
                @if !self.faults.is_empty() { (list("Likely faults, the likeliest first", &self.faults, "plain", room)) }
                @if let Some(notes) = &self.notes { section { h2 { "Notes" } p { (notes) } } }
                (list_or("Not checked", &self.unchecked, "nothing was left open", room))
                @if !self.clips.is_empty() { (list("Recordings", &self.clips, "plain", room)) }
                section.wide.cautions {
                    h2 { "Cautions" }
                    ul { @for words in &self.cautions { li { (words) } } }
                }
                section.wide.signatures {
                    h2 { "Signatures" }
                    @for who in ["Technician, day", "Customer, day"] {
                        p { span.line {} span { (who) } }
                    }
                }
            }
        }
    }
}

/// That a list goes on where it came from.
fn more(count: usize) -> Markup {
    html! { @if count > 0 { p.small { "and " (count) " more in the record" } } }
}

fn figures(rows: &[Row]) -> Markup {
    html! {
        table {
            caption { "Speeds, firing and screws as found and as left" }
            thead {
                tr { th scope="col" { "What" } th scope="col" { "Maker's figure" } th scope="col" { "As found" } th scope="col" { "As left" } }
            }
            tbody {
                @for row in rows {
                    tr {
                        th scope="row" { (row.what) }
                        td.said { (row.figure) }
                        (cell(&row.before))
                        (cell(&row.after))
                    }
                }
            }
        }
    }
}

fn cell(cell: &Cell) -> Markup {
    html! {
        td {
            (cell.words)
            @if cell.within.is_some() { ", " (verdict(cell.within)) }
        }
    }
}

/// Within, outside or not checked: in words, the bad one in heavy letters too.
fn verdict(within: Option<bool>) -> Markup {
    html! {
        @if within == Some(false) { strong { (within_words(within)) } } @else { (within_words(within)) }
    }
}

fn proof(rows: &[ProofRow], room: Room) -> Markup {
    let (rows, left) = room.of(rows);
    html! {
        table {
            caption { "What was measured after the work" }
            thead {
                tr { th scope="col" { "What" } th scope="col" { "Measured" } th scope="col" { "Limits" } th scope="col" { "Result" } }
            }
            tbody {
                @for row in rows {
                    tr {
                        th.said scope="row" { (row.line) }
                        td { (row.value) }
                        td { (row.limits) }
                        td { (verdict(row.within)) }
                    }
                }
            }
        }
        (more(left))
    }
}

fn figure(picture: &Picture) -> Markup {
    html! {
        figure {
            div role="img" aria-label=(picture.words) { (PreEscaped(&picture.svg)) }
            figcaption { (picture.title) }
        }
    }
}

fn list(title: &str, entries: &[String], class: &str, room: Room) -> Markup {
    let (entries, left) = room.of(entries);
    html! {
        section class=(class) {
            h2 { (title) }
            ul { @for entry in entries { li { (entry) } } }
            (more(left))
        }
    }
}

fn in_order(title: &str, entries: &[String], none: &str, room: Room) -> Markup {
    let (entries, left) = room.of(entries);
    html! {
        section {
            h2 { (title) }
            @if entries.is_empty() { p { (none) } } @else { ol { @for entry in entries { li { (entry) } } } }
            (more(left))
        }
    }
}

fn list_or(title: &str, entries: &[String], none: &str, room: Room) -> Markup {
    html! {
        @if entries.is_empty() { section { h2 { (title) } p { (none) } } } @else { (list(title, entries, "plain", room)) }
    }
}
