//! The card and the procedure cannot differ.
use std::collections::BTreeSet;

use engine_note::guide::Screw;
use engine_note::machine::{Carburetor, Profile, Use};
use engine_note::procedure::Card;
use engine_note::report::{card_html, card_text};

use crate::bench::run;
use crate::hearing::GOOD;

fn machine(carburetor: Carburetor) -> Profile {
    Profile {
        used_for: Some(Use::Saw),
        carburetor: Some(carburetor),
        ..Profile::default()
    }
}

#[test]
fn every_step_of_a_run_stands_on_its_card() {
    for seed in 1..=6 {
        let run = run(seed, None, GOOD, true);
        let card = Card::of(&run.profile);
        let steps: BTreeSet<&str> = card.steps.iter().map(|step| step.step).collect();
        for (_, prompt) in &run.prompts {
            // A new start after a stall is no step of the plan.
            assert!(
                steps.contains(prompt.step.as_str()) || prompt.step == "restart",
                "{}",
                prompt.step
            );
        }
    }
}

#[test]
fn the_order_is_that_of_the_carburetor() {
    let place = |carburetor, step: &str| {
        let card = Card::of(&machine(carburetor));
        card.steps.iter().position(|s| s.step == step).unwrap()
    };
    let butterfly = |step| place(Carburetor::Butterfly, step);
    let barrel = |step| place(Carburetor::BarrelValve, step);
    assert!(butterfly("low-speed") < butterfly("high-speed"));
    assert!(barrel("high-speed") < barrel("low-speed"));
    assert!(
        butterfly("checks") < butterfly("base") && butterfly("high-speed") < butterfly("proof")
    );
}

#[test]
fn an_automatic_carburetor_has_a_card_without_turns() {
    let card = Card::of(&machine(Carburetor::Automatic));
    let text = card_text(&card, 80);
    let screws = [Screw::High, Screw::Low, Screw::Idle].map(|s| s.to_string());
    let turns = card
        .steps
        .iter()
        .flat_map(|step| &step.prompts)
        .any(|prompt| screws.iter().any(|screw| prompt.contains(screw.as_str())));
    assert!(!turns, "{text}");
    assert!(text.contains("maker"));
}

#[test]
fn a_page_escapes_what_it_did_not_write() {
    let profile = Profile {
        name: Some("<b>the blue one</b>".into()),
        ..Profile::default()
    };
    let page = card_html(&Card::of(&profile));
    assert!(page.contains("&lt;b&gt;the blue one"));
    assert!(
        !page.contains("http://") && !page.contains("https://"),
        "needs nothing else"
    );
}
