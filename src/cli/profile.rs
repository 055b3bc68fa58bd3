//! What is known of the machine: the profile, and the flags over it.
use std::fs;
use std::path::Path;

use super::args::Known;
use super::exit::Outcome;
use super::trouble::{Trouble, reason};
use crate::machine::{Profile, ProfileError};

/// Largest profile, scene or expectation file: more is a mistaken argument.
const SMALL: u64 = 1 << 20;
/// Largest truth file: ten hours at 16,000 rpm fit.
const LONG: u64 = 1 << 31;

/// The profile that a command works with.
pub fn known(flags: &Known) -> Result<Profile, Trouble> {
    let profile = match &flags.machine {
        Some(path) => load(path)?,
        None => Profile::default(),
    };
    over(profile, flags)
}

/// A profile with the flags over it.
pub fn over(mut profile: Profile, flags: &Known) -> Result<Profile, Trouble> {
    if let Some(cycle) = flags.cycle {
        profile.cycle = cycle;
    }
    if let Some(cylinders) = flags.cylinders {
        profile.cylinders = cylinders;
    }
    if let Some(range) = flags.speed_range {
        profile.search = range;
    }
    profile
        .validate()
        .map_err(|error| wrong("the flags", &error))?;
    Ok(profile)
}

/// Reads a profile.
pub fn load(path: &Path) -> Result<Profile, Trouble> {
    let text = small_text(path)?;
    Profile::from_toml(&text).map_err(|error| wrong(&path.to_string_lossy(), &error))
}

/// A profile that cannot be used.
pub fn wrong(place: &str, error: &ProfileError) -> Trouble {
    Trouble::Told {
        words: format!("{place}: {error}"),
        hint: Some(error.hint()),
        outcome: Outcome::from(error),
    }
}

/// The text of a file that belongs to the question: a profile, a scene, an expectation.
pub fn small_text(path: &Path) -> Result<String, Trouble> {
    text(path, SMALL)
}

/// The text of a file that grows with its clip.
pub fn long_text(path: &Path) -> Result<String, Trouble> {
    text(path, LONG)
}

/// An error of the TOML reader on one line, with the line that it is about.
pub fn toml_words(text: &str, error: &toml::de::Error) -> String {
    let message = error.message().replace('\n', " ");
    match error.span().and_then(|span| text.get(..span.start)) {
        Some(before) => format!("line {}: {message}", before.matches('\n').count() + 1),
        None => message,
    }
}

fn text(path: &Path, most: u64) -> Result<String, Trouble> {
    let name = path.display();
    let check = |what: String| Trouble::usage(what, "check the name of the file");
    let facts = fs::metadata(path).map_err(|error| check(format!("{name}: {}", reason(&error))))?;
    if facts.is_file() && facts.len() > most {
        return Err(check(format!(
            "{name}: {} MiB is far too long for such a file",
            facts.len() >> 20
        )));
    }
    let bytes = fs::read(path).map_err(|error| check(format!("{name}: {}", reason(&error))))?;
    String::from_utf8(bytes).map_err(|_| check(format!("{name}: this is no text file")))
}
