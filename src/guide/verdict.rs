//! What the rules together come to: order, questions that remain, one sentence.
use super::advice::{Advice, Danger, DangerId, Move, ReasonId, Verdict};
use super::case::{Case, Draft};
use super::caution::cautions;
use super::record;
use super::screw::{Direction, Screw};
use super::trade;
use crate::firing::FiringKind;
use crate::machine::{Carburetor, Cycle};

/// How to tell the carburetors apart.
const WHICH_CARBURETOR: &str = "Which carburetor is it? A flat plate that turns in the bore: \
     \"butterfly\". A barrel that turns and rises with the cable, often with a plug or a screw in \
     its top: \"barrel-valve\". No mixture screw and a plug with wires: \"automatic\"";

/// Puts the parts in order and says what it comes to.
pub(super) fn finish(case: &Case<'_>, mut draft: Draft) -> Advice {
    let carburetor = case.machine.carburetor;
    if draft.stop {
        // What no screw explains leaves only what protects: richer at full throttle, slower idle.
        draft
            .moves
            .retain(|m| m.urgent || (m.screw == Screw::High && m.direction == Direction::Out));
    }
    draft.moves.sort_by_key(|m| rank(m, carburetor));
    draft
        .dangers
        .sort_by_key(|danger| danger.id != DangerId::OverMaximum);
    draft.faults.sort_by_key(|fault| fault.if_no_change);
    ask_what_remains(case, &mut draft);
    if carburetor == Some(Carburetor::Automatic) {
        draft.note(
            ReasonId::NoScrews,
            "This carburetor sets its mixture itself: there is no screw to turn; what is wrong \
             with it is for a workshop that can read its electronics"
                .into(),
        );
    }
    let verdict = verdict(case, &draft);
    let recording = record::tips(case, &draft);
    Advice {
        verdict,
        headline: headline(verdict, &draft),
        dangers: draft.dangers,
        moves: draft.moves,
        faults: draft.faults,
        notes: draft.notes,
        questions: draft.questions,
        recording,
        cautions: cautions(case.machine),
    }
}

/// Over the maximum first, then a moving attachment, then what protects, then the trade's order.
fn rank(m: &Move, carburetor: Option<Carburetor>) -> usize {
    let over = m
        .reasons
        .iter()
        .any(|reason| reason.id == ReasonId::OverMaximum);
    match (m.urgent, m.screw, m.direction) {
        _ if over => 0,
        (true, Screw::Idle, _) => 1,
        (_, Screw::High, Direction::Out) => 2,
        _ => {
            let order = trade::order(carburetor.unwrap_or(Carburetor::Butterfly));
            3 + order
                .iter()
                .position(|screw| *screw == m.screw)
                .unwrap_or(order.len())
        }
    }
}

fn ask_what_remains(case: &Case<'_>, draft: &mut Draft) {
    let bog = draft.notes.iter().any(|note| note.id == ReasonId::Bog);
    if case.machine.carburetor.is_none() && (bog || !draft.moves.is_empty()) {
        draft.ask(
            "carburetor",
            WHICH_CARBURETOR,
            if bog {
                "the screw for the pick-up and the order of the screws differ"
            } else {
                "the order of the screws differs, and an automatic one has none to turn"
            },
        );
    }
    // A four-stroke cycle read as a two-stroke seems to skip every second turn at all speeds.
    let every_second = |p: Option<&crate::reading::Plateau>| {
        p.is_some_and(|p| {
            p.firing == FiringKind::FourStroking && p.skip_ratio.is_some_and(|skips| skips >= 0.4)
        })
    };
    if case.machine.cycle == Cycle::TwoStroke
        && every_second(case.idle())
        && every_second(case.full())
    {
        draft.ask(
            "cycle",
            "Is it a four-stroke cycle (oil filled in apart from the fuel)?",
            "every second turn seems to be skipped at idle and at full throttle alike, which is \
             how such an engine sounds when it is well",
        );
        draft.unsure = true;
        draft
            .moves
            .retain(|m| !(m.screw == Screw::High && m.direction == Direction::In));
    }
}

fn verdict(case: &Case<'_>, draft: &Draft) -> Verdict {
    if !draft.dangers.is_empty() {
        Verdict::Danger
    } else if case.reading.readable.0 < record::LEAST_READABLE {
        Verdict::NotReadable
    } else if draft.stop || draft.faults.iter().any(|fault| !fault.if_no_change) {
        Verdict::Stop
    } else if !draft.moves.is_empty() {
        Verdict::Turn
    } else if draft.unsure || (case.idle().is_none() && case.full().is_none()) {
        Verdict::Ask
    } else {
        let heard = |id: ReasonId| draft.notes.iter().any(|note| note.id == id);
        let judged = heard(ReasonId::LightlyFourStroking)
            || heard(ReasonId::NearMaximum)
            || heard(ReasonId::NoScrews)
            || (case.full().is_none() && case.machine.speeds.idle.is_some());
        // Half an answer is better than a question only where the rest is not missing.
        if judged || draft.questions.is_empty() {
            Verdict::Leave
        } else {
            Verdict::Ask
        }
    }
}

fn headline(verdict: Verdict, draft: &Draft) -> String {
    match verdict {
        Verdict::Danger => danger_line(&draft.dangers),
        Verdict::Stop => match draft.faults.iter().find(|fault| !fault.if_no_change) {
            Some(fault) => format!("Stop: no screw explains this; first suspect: {}", fault.why),
            None => "Stop: no screw explains this".into(),
        },
        Verdict::Turn => draft
            .moves
            .first()
            .map_or_else(String::new, |m| m.say.clone()),
        Verdict::Leave if draft.notes.iter().any(|note| note.id == ReasonId::NoScrews) => {
            "Nothing to turn: this carburetor sets its mixture itself".into()
        }
        Verdict::Leave => "Nothing that was heard asks for a turn".into(),
        Verdict::Ask => match draft.questions.first() {
            Some(question) => format!("One thing first: {}", question.ask),
            None => "Not sure enough to turn a screw: record it again".into(),
        },
        Verdict::NotReadable => "No engine could be read in this recording".into(),
    }
}

fn danger_line(dangers: &[Danger]) -> String {
    let doubt = |danger: &Danger| {
        if danger.certain {
            "Danger"
        } else {
            "Possible danger"
        }
    };
    dangers.first().map_or_else(String::new, |danger| {
        format!("{}: {}", doubt(danger), danger.act)
    })
}
