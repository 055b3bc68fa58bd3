//! From the text of a profile to its types, with the line of whatever is wrong.
use std::collections::HashMap;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::check::contradiction;
use super::error::{Place, ProfileError};
use super::origin::{Origin, Sources};
use super::profile::{Carburetor, Coil, Cycle, Profile, SpeedRange, Speeds, Use};
use crate::units::Rpm;

const TOP_KEYS: &[&str] = &[
    "name",
    "use",
    "cycle",
    "cylinders",
    "carburetor",
    "coil",
    "speeds",
    "sources",
];
const SPEED_KEYS: &[&str] = &["idle", "clutch_in", "full_throttle", "limiter", "search"];
const SOURCE_KEYS: &[&str] = &["idle", "clutch_in", "full_throttle", "limiter"];

/// The words of the file and what they mean.
type Choices<T> = &'static [(&'static str, T)];

pub(super) const USES: Choices<Use> = &[
    ("trimmer head", Use::TrimmerHead),
    ("brush blade", Use::BrushBlade),
    ("saw", Use::Saw),
    ("blower", Use::Blower),
    ("hedge", Use::Hedge),
];
pub(super) const CYCLES: Choices<Cycle> = &[
    ("two-stroke", Cycle::TwoStroke),
    ("four-stroke", Cycle::FourStroke),
];
pub(super) const CARBURETORS: Choices<Carburetor> = &[
    ("butterfly", Carburetor::Butterfly),
    ("barrel-valve", Carburetor::BarrelValve),
    ("automatic", Carburetor::Automatic),
];
pub(super) const COILS: Choices<Coil> = &[
    ("plain", Coil::Plain),
    ("limited", Coil::Limited),
    ("unknown", Coil::Unknown),
];

const USE_WORDS: &[&str] = &["trimmer head", "brush blade", "saw", "blower", "hedge"];
const CYCLE_WORDS: &[&str] = &["two-stroke", "four-stroke"];
const CARBURETOR_WORDS: &[&str] = &["butterfly", "barrel-valve", "automatic"];
const COIL_WORDS: &[&str] = &["plain", "limited", "unknown"];

impl Profile {
    /// Reads a profile from the text of its TOML file. Whatever is left out is not known; an empty
    /// text is a single-cylinder two-stroke of which nothing else is known.
    ///
    /// # Errors
    /// The first thing that is wrong, in the order of the text, with its line and key; after that
    /// figures that contradict each other. What is only odd is given by [`Profile::check`].
    pub fn from_toml(text: &str) -> Result<Profile, ProfileError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let root = DeTable::parse(text).map_err(|error| syntax(text, &error))?;
        let mut reader = Reader {
            text,
            lines: HashMap::new(),
        };
        let mut profile = Profile::default();
        reader.top(root.get_ref(), &mut profile)?;
        match contradiction(&profile) {
            None => Ok(profile),
            Some(error) => Err(reader.with_line(error)),
        }
    }
}

fn syntax(text: &str, error: &toml::de::Error) -> ProfileError {
    let start = error.span().map_or(0, |span| span.start);
    let before = text.get(..start).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    ProfileError::Syntax {
        line,
        column,
        message: readable(error.message()),
    }
}

/// One line without control characters, cut to a readable length.
fn readable(text: &str) -> String {
    const LONGEST: usize = 120;
    let mut line: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(LONGEST)
        .collect();
    if text.chars().nth(LONGEST).is_some() {
        line.push('…');
    }
    line
}

/// A table in the order of the text.
fn in_order<'t, 'i>(table: &'t DeTable<'i>) -> Vec<(&'t str, Range<usize>, &'t DeValue<'i>)> {
    let mut entries: Vec<_> = table
        .iter()
        .map(|(key, value)| (key.get_ref().as_ref(), key.span(), value.get_ref()))
        .collect();
    entries.sort_by_key(|(_, span, _)| span.start);
    entries
}

struct Reader<'t> {
    text: &'t str,
    /// The line of every known key, for contradictions that are seen only at the end.
    lines: HashMap<String, usize>,
}

impl Reader<'_> {
    fn place(&mut self, table: &str, key: &str, span: &Range<usize>) -> Place {
        let line = self
            .text
            .get(..span.start)
            .map_or(1, |before| before.matches('\n').count() + 1);
        let key = readable(key);
        let key = if table.is_empty() {
            key
        } else {
            format!("{table}.{key}")
        };
        self.lines.insert(key.clone(), line);
        Place {
            line: Some(line),
            key,
        }
    }

    fn with_line(&self, mut error: ProfileError) -> ProfileError {
        if let ProfileError::OutOfRange { at, .. }
        | ProfileError::Reversed { at, .. }
        | ProfileError::ClutchOnBlower { at, .. }
        | ProfileError::WrongOrder { at, .. } = &mut error
        {
            at.line = self.lines.get(&at.key).copied();
        }
        error
    }

    fn top(&mut self, table: &DeTable<'_>, profile: &mut Profile) -> Result<(), ProfileError> {
        for (key, span, value) in in_order(table) {
            let at = self.place("", key, &span);
            match key {
                "name" => profile.name = Some(text_of(at, value)?.to_owned()),
                "use" => profile.used_for = Some(choice(at, value, USES, USE_WORDS)?),
                "cycle" => profile.cycle = choice(at, value, CYCLES, CYCLE_WORDS)?,
                "cylinders" => profile.cylinders = cylinders(at, value)?,
                "carburetor" => {
                    profile.carburetor = Some(choice(at, value, CARBURETORS, CARBURETOR_WORDS)?);
                }
                "coil" => profile.coil = choice(at, value, COILS, COIL_WORDS)?,
                "speeds" => self.speeds(at, value, profile)?,
                "sources" => profile.sources = self.sources(at, value)?,
                _ => return Err(unknown(at, key, TOP_KEYS)),
            }
        }
        Ok(())
    }

    fn speeds(
        &mut self,
        at: Place,
        value: &DeValue<'_>,
        profile: &mut Profile,
    ) -> Result<(), ProfileError> {
        let mut speeds = Speeds::default();
        for (key, span, value) in in_order(table_of(at, value)?) {
            let at = self.place("speeds", key, &span);
            match key {
                "idle" => speeds.idle = Some(range(at, value)?),
                "clutch_in" => speeds.clutch_in = Some(Rpm(number(at, value)?)),
                "full_throttle" => speeds.full_throttle = Some(range(at, value)?),
                "limiter" => speeds.limiter = Some(Rpm(number(at, value)?)),
                "search" => profile.search = range(at, value)?,
                _ => return Err(unknown(at, key, SPEED_KEYS)),
            }
        }
        profile.speeds = speeds;
        Ok(())
    }

    fn sources(&mut self, at: Place, value: &DeValue<'_>) -> Result<Sources, ProfileError> {
        let mut sources = Sources::default();
        for (key, span, value) in in_order(table_of(at, value)?) {
            let at = self.place("sources", key, &span);
            let slot = match key {
                "idle" => &mut sources.idle,
                "clutch_in" => &mut sources.clutch_in,
                "full_throttle" => &mut sources.full_throttle,
                "limiter" => &mut sources.limiter,
                _ => return Err(unknown(at, key, SOURCE_KEYS)),
            };
            *slot = Some(Origin::from(text_of(at, value)?.to_owned()));
        }
        Ok(sources)
    }
}

fn unknown(at: Place, key: &str, known: &'static [&'static str]) -> ProfileError {
    ProfileError::UnknownKey {
        at,
        nearest: nearest(key, known),
        known,
    }
}

/// The known word that reads most like this one, if any does.
fn nearest(word: &str, known: &'static [&'static str]) -> Option<&'static str> {
    const ALIKE: f64 = 0.75;
    // A word much longer than any known one is no slip of the finger.
    if word.len() > 60 {
        return None;
    }
    let plain = word.to_lowercase().replace(['-', ' '], "_");
    known
        .iter()
        .map(|k| {
            (
                strsim::jaro_winkler(&plain, &k.replace(['-', ' '], "_")),
                *k,
            )
        })
        .filter(|(alike, _)| *alike >= ALIKE)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

fn found(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text \"{}\"", readable(text)),
        DeValue::Integer(number) => format!("the number {}", readable(&number.to_string())),
        DeValue::Float(number) => format!("the number {}", readable(&number.to_string())),
        DeValue::Boolean(truth) => format!("{truth}"),
        DeValue::Datetime(_) => "a date".into(),
        DeValue::Array(items) => format!("a list of {}", items.len()),
        DeValue::Table(_) => "a table".into(),
    }
}

fn wrong(at: Place, value: &DeValue<'_>, expected: &'static str) -> ProfileError {
    ProfileError::WrongType {
        at,
        expected,
        found: found(value),
    }
}

fn table_of<'t, 'i>(at: Place, value: &'t DeValue<'i>) -> Result<&'t DeTable<'i>, ProfileError> {
    value
        .as_table()
        .ok_or_else(|| wrong(at, value, "a table of speeds or their sources"))
}

fn text_of<'t>(at: Place, value: &'t DeValue<'_>) -> Result<&'t str, ProfileError> {
    value
        .as_str()
        .ok_or_else(|| wrong(at, value, "a text in quotes"))
}

fn choice<T: Copy>(
    at: Place,
    value: &DeValue<'_>,
    choices: Choices<T>,
    words: &'static [&'static str],
) -> Result<T, ProfileError> {
    let Some(word) = value.as_str() else {
        return Err(wrong(at, value, "one of the known words in quotes"));
    };
    match choices.iter().find(|(known, _)| *known == word) {
        Some((_, meaning)) => Ok(*meaning),
        None => Err(ProfileError::UnknownWord {
            at,
            word: readable(word),
            nearest: nearest(word, words),
            choices: words,
        }),
    }
}

fn value_of(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(number) => i128::from_str_radix(number.as_str(), number.radix())
            .ok()
            .map(|n| n as f64),
        DeValue::Float(number) => number.as_str().parse().ok(),
        _ => None,
    }
}

fn number(at: Place, value: &DeValue<'_>) -> Result<f64, ProfileError> {
    value_of(value).ok_or_else(|| wrong(at, value, "one speed in rpm"))
}

fn cylinders(at: Place, value: &DeValue<'_>) -> Result<u8, ProfileError> {
    const EXPECTED: &str = "a whole number of cylinders";
    let DeValue::Integer(_) = value else {
        return Err(wrong(at, value, EXPECTED));
    };
    let count = value_of(value).ok_or_else(|| wrong(at.clone(), value, EXPECTED))?;
    if (1.0..=4.0).contains(&count) {
        Ok(count as u8)
    } else {
        Err(ProfileError::OutOfRange {
            at,
            value: count,
            low: 1.0,
            high: 4.0,
        })
    }
}

fn range(at: Place, value: &DeValue<'_>) -> Result<SpeedRange, ProfileError> {
    let ends: Option<Vec<f64>> = value.as_array().and_then(|items| {
        items
            .iter()
            .map(|item: &Spanned<_>| value_of(item.get_ref()))
            .collect()
    });
    match ends.as_deref() {
        Some(&[low, high]) => Ok(SpeedRange(Rpm(low), Rpm(high))),
        _ => Err(wrong(
            at,
            value,
            "a range of two speeds in rpm, [low, high],",
        )),
    }
}
