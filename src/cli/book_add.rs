//! `book add`, and what the commands that hear write into the book.
use std::path::Path;

use jiff::ZonedDateTime;
use jiff::civil::Date;

use super::book::to_write;
use super::book_args::{Add, Save};
use super::exit::Outcome;
use super::profile::load;
use super::terminal::{print, say};
use super::trouble::Trouble;
use crate::book::{
    Book, BookError, Clip, Digest, How, Machine, Measured, Moment, Screws, Tag, Visit,
};
use crate::machine::Profile;
use crate::report::{Report, air_notice};
use crate::units::Rpm;

/// Today, where the computer is.
pub fn today() -> Date {
    ZonedDateTime::now().date()
}

/// Runs `book add`.
pub fn add(place: Option<&Path>, fields: &Add) -> Result<(), Trouble> {
    let tag: Tag = fields.tag.parse()?;
    let clips = clips(fields)?;
    let profile = fields.machine.as_deref().map(load).transpose()?;
    let mut book = to_write(place)?;
    let known = book.machine(tag.as_str())?;
    let new = known.is_none();
    let mut machine = known.unwrap_or_else(|| Machine::new(tag.clone()));
    if let Some(profile) = profile {
        machine.profile = profile;
    }
    if let Some(class) = fields.class {
        machine.class = Some(class);
        // What the class usually does helps until the maker's figures are known, and is marked so.
        machine.profile.fill_from(class);
    }
    if !says_a_visit(fields, &clips) {
        book.put_machine(&machine)?;
        return print(&format!("`{tag}` is in the book\n"));
    }
    let number = match fields.to {
        Some(number) => {
            let (owner, _) = book.visit(number)?;
            if owner.tag != tag {
                return Err(Trouble::usage(
                    format!("visit {number} is one of `{}`, not of `{tag}`", owner.tag),
                    format!("`engine-note book show '{tag}'` shows the numbers of its visits"),
                ));
            }
            book.put_machine(&machine)?;
            book.change_visit(number, |visit| fill(visit, fields, &clips))?;
            number
        }
        None => {
            let mut visit = Visit::on(fields.date.unwrap_or_else(today));
            fill(&mut visit, fields, &clips);
            book.add_visit(&machine, &visit)?
        }
    };
    if new && fields.machine.is_none() && fields.class.is_none() {
        say(&format!(
            "note: nothing is known of `{tag}` yet; `engine-note book add '{tag}' --machine FILE` gives it a profile\n"
        ));
    }
    written(&book, &tag, number)
}

fn says_a_visit(fields: &Add, clips: &[Clip]) -> bool {
    let mut visit = Visit::on(Date::ZERO);
    fill(&mut visit, fields, clips);
    fields.to.is_some() || fields.date.is_some() || visit != Visit::on(Date::ZERO)
}

/// Says that a visit is in the book, and what the air there asks for.
fn written(book: &Book, tag: &Tag, number: u32) -> Result<(), Trouble> {
    print(&format!("visit {number} of `{tag}` is in the book\n"))?;
    let (_, visits) = book.history(tag.as_str())?;
    if visits.last().is_some_and(|last| last.number == number)
        && let Some(notice) = air_notice(&visits)
    {
        say(&format!("{notice}\n"));
    }
    Ok(())
}

fn clips(fields: &Add) -> Result<Vec<Clip>, Trouble> {
    let lists = [
        (Moment::Before, &fields.clip_before),
        (Moment::During, &fields.clip_during),
        (Moment::After, &fields.clip_after),
    ];
    let all = lists
        .into_iter()
        .flat_map(|(moment, paths)| paths.iter().map(move |path| clip(moment, path)));
    all.collect()
}

/// A clip with its hash.
pub fn clip(moment: Moment, path: &Path) -> Result<Clip, Trouble> {
    let sha256 = Digest::of(path)?;
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    Ok(Clip {
        moment,
        path: whole.to_string_lossy().into_owned(),
        sha256,
    })
}

/// Puts what is given into a visit.
fn fill(visit: &mut Visit, fields: &Add, clips: &[Clip]) {
    fn over<T: Clone>(old: &mut Option<T>, new: &Option<T>) {
        if new.is_some() {
            old.clone_from(new);
        }
    }
    if let Some(date) = fields.date {
        visit.date = date;
    }
    over(&mut visit.complaint, &fields.complaint);
    over(&mut visit.notes, &fields.note);
    over(&mut visit.fuel, &fields.fuel);
    over(&mut visit.technician, &fields.technician);
    over(&mut visit.attachment, &fields.attachment);
    over(&mut visit.air.temperature_c, &fields.air_temperature);
    over(&mut visit.air.altitude_m, &fields.altitude);
    visit.checks.extend_from_slice(&fields.checks);
    visit.moves.extend_from_slice(&fields.moves);
    visit.proof.extend_from_slice(&fields.proof);
    visit.clips.extend_from_slice(clips);
    measured(
        &mut visit.before,
        fields.idle_before,
        fields.full_before,
        fields.skips_before,
    );
    measured(
        &mut visit.after,
        fields.idle_after,
        fields.full_after,
        fields.skips_after,
    );
    screws(&mut visit.screws_found, fields.found);
    screws(&mut visit.screws_left, fields.left);
}

fn measured(
    place: &mut Option<Measured>,
    idle: Option<Rpm>,
    full: Option<Rpm>,
    skips: Option<f64>,
) {
    if idle.is_none() && full.is_none() && skips.is_none() {
        return;
    }
    let measured = place.get_or_insert(Measured::nothing(How::Typed));
    // What is typed over something heard is typed.
    measured.how = How::Typed;
    if let Some(rpm) = idle {
        measured.idle = Some(crate::book::Held::bare(rpm));
    }
    if let Some(rpm) = full {
        measured.full_throttle = Some(crate::book::Held::bare(rpm));
        measured.firing = None;
    }
    if skips.is_some() {
        measured.skip_ratio = skips;
    }
}

fn screws(place: &mut Screws, given: Option<Screws>) {
    let Some(given) = given else { return };
    place.high = given.high.or(place.high);
    place.low = given.low.or(place.low);
    place.idle = given.idle.or(place.idle);
}

/// What a command that hears will write, looked up before anything is heard: so that a mistyped tag
/// is found out at once.
pub struct Keeping {
    book: Book,
    machine: Machine,
    /// The visit that it goes into; none for a new one.
    into: Option<u32>,
    /// How the machine left, not how it came.
    after: bool,
}

impl Keeping {
    /// Looks up the machine. `given` is the profile from the command line, if there was one.
    pub fn begin(save: &Save, given: Option<&Profile>) -> Result<Option<Keeping>, Trouble> {
        let Some(tag) = &save.save else {
            return Ok(None);
        };
        let tag: Tag = tag.parse()?;
        let book = to_write(save.book.as_deref())?;
        let machine = match (book.machine(tag.as_str())?, given) {
            (Some(known), None) => known,
            (Some(known), Some(profile)) => Machine {
                profile: profile.clone(),
                ..known
            },
            (None, Some(profile)) if !save.after => Machine {
                profile: profile.clone(),
                ..Machine::new(tag.clone())
            },
            // Says which tag is near.
            (None, _) => {
                return Err(book
                    .history(tag.as_str())
                    .err()
                    .map_or(Trouble::ClosedPipe, Trouble::from));
            }
        };
        let visits = match book.machine(tag.as_str())? {
            Some(_) => book.history(tag.as_str())?.1,
            None => vec![],
        };
        let into = match visits.last() {
            None if save.after => {
                let tag = tag.to_string();
                return Err(BookError::NoVisit { tag }.into());
            }
            Some(last) if save.after => Some(last.number),
            // A visit that was begun today with its complaint, and in which nothing was heard yet.
            Some(last) if last.visit.date == today() && last.visit.before.is_none() => {
                Some(last.number)
            }
            Some(_) | None => None,
        };
        Ok(Some(Keeping {
            book,
            machine,
            into,
            after: save.after,
        }))
    }

    /// The profile to hear with.
    pub fn profile(&self) -> &Profile {
        &self.machine.profile
    }

    /// Writes what was heard in the clip at `path`.
    pub fn keep(mut self, path: &Path, report: &Report) -> Result<Outcome, Trouble> {
        let heard = Measured::from(&report.reading);
        if heard.is_empty() {
            return Err(Trouble::input(
                format!(
                    "{}: neither idle nor full throttle was heard: nothing is written into the book",
                    path.display()
                ),
                "record some seconds of idle, then full throttle, and read that",
                Outcome::NoEngine,
            ));
        }
        let moment = if self.after {
            Moment::After
        } else {
            Moment::Before
        };
        let clip = clip(moment, path)?;
        let after = self.after;
        let put = |visit: &mut Visit| {
            let place = if after {
                &mut visit.after
            } else {
                &mut visit.before
            };
            *place = Some(heard);
            if !visit.clips.contains(&clip) {
                visit.clips.push(clip);
            }
        };
        let number = match self.into {
            Some(number) => {
                self.book.put_machine(&self.machine)?;
                self.book.change_visit(number, put)?;
                number
            }
            None => {
                let mut visit = Visit::on(today());
                put(&mut visit);
                self.book.add_visit(&self.machine, &visit)?
            }
        };
        say(&format!(
            "visit {number} of `{}` is in the book\n",
            self.machine.tag
        ));
        Ok(Outcome::Read)
    }
}
