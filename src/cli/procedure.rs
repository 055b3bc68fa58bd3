//! `procedure`: the card of the whole adjustment.
use super::args::{Paper, Procedure};
use super::exit::Outcome;
use super::profile::load;
use super::terminal::{look, print};
use super::trouble::Trouble;
use crate::machine::Profile;
use crate::procedure::Card;
use crate::report::{card_html, card_text};

/// Prints the card.
pub fn card(arguments: &Procedure) -> Result<Outcome, Trouble> {
    let machine = match &arguments.machine {
        Some(file) => load(file)?,
        None => Profile::default(),
    };
    let card = Card::of(&machine);
    match arguments.format {
        Paper::Text => print(&card_text(&card, look().width))?,
        Paper::Html => print(&card_html(&card))?,
    }
    Ok(Outcome::Read)
}
