//! Values on the command line: the words of a profile, classes, scenes, speeds.
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use serde::Deserialize;
use serde::de::IntoDeserializer;
use serde::de::value::Error as WordError;

use super::ready::READY;
use crate::machine::{Class, SpeedRange};
use crate::units::Rpm;

/// A word of the profile and what it means.
type Word = (&'static str, &'static str);

pub const CYCLES: &[Word] = &[
    ("two-stroke", "fires in every turn"),
    ("four-stroke", "fires in every second turn"),
];
pub const USES: &[Word] = &[
    ("trimmer head", "string trimmer with a line head"),
    ("brush blade", "brush cutter with a blade"),
    ("saw", "chain saw"),
    ("blower", "blower: no clutch"),
    ("hedge", "hedge trimmer"),
];
pub const CARBURETORS: &[Word] = &[
    ("butterfly", "a plate in the bore turns on a shaft"),
    ("barrel-valve", "a barrel turns and rises with the cable"),
    (
        "automatic",
        "electronics set the mixture: no turns are advised",
    ),
];
pub const COILS: &[Word] = &[
    ("plain", "fires at every speed"),
    ("limited", "cuts the spark at a ceiling"),
    ("unknown", "not known"),
];

/// A parser for one of `words`, which the type knows by the same words in a file.
pub fn words<T>(words: &'static [Word]) -> impl TypedValueParser<Value = T>
where
    T: for<'a> Deserialize<'a> + Clone + Send + Sync + 'static,
{
    PossibleValuesParser::new(
        words
            .iter()
            .map(|(word, help)| PossibleValue::new(*word).help(*help)),
    )
    .try_map(|word| {
        T::deserialize(IntoDeserializer::<WordError>::into_deserializer(
            word.as_str(),
        ))
    })
}

pub fn ready_names() -> impl TypedValueParser<Value = String> {
    PossibleValuesParser::new(
        READY
            .iter()
            .map(|ready| PossibleValue::new(ready.name).help(ready.about)),
    )
}

pub fn classes() -> impl TypedValueParser<Value = Class> {
    PossibleValuesParser::new(
        Class::ALL.map(|class| PossibleValue::new(class.word()).help(class.describes())),
    )
    .try_map(|word| word.parse::<Class>())
}

/// A speed in rpm.
pub fn speed(text: &str) -> Result<Rpm, String> {
    match text.parse::<f64>() {
        Ok(rpm) if rpm.is_finite() && rpm > 0.0 => Ok(Rpm(rpm)),
        _ => Err("give a speed in rpm, for example 3750".into()),
    }
}

/// Two speeds in rpm with a colon between, the lower one first.
pub fn speed_range(text: &str) -> Result<SpeedRange, String> {
    let example =
        || "give two speeds in rpm, the lower one first, for example 2700:3000".to_string();
    let (low, high) = text.split_once(':').ok_or_else(example)?;
    match (speed(low), speed(high)) {
        (Ok(low), Ok(high)) if low <= high => Ok(SpeedRange(low, high)),
        _ => Err(example()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::machine::{Carburetor, Coil, Cycle, Use};

    #[test]
    fn every_word_on_the_command_line_is_a_word_of_the_profile() {
        fn all<T: for<'a> Deserialize<'a> + std::fmt::Debug>(words: &[Word]) -> usize {
            let read =
                |word: &str| T::deserialize(IntoDeserializer::<WordError>::into_deserializer(word));
            words
                .iter()
                .map(|(word, _)| format!("{:?}", read(word).expect(word)))
                .collect::<std::collections::HashSet<_>>()
                .len()
        }
        assert_eq!(all::<Cycle>(CYCLES), 2);
        assert_eq!(all::<Use>(USES), 5);
        assert_eq!(all::<Carburetor>(CARBURETORS), 3);
        assert_eq!(all::<Coil>(COILS), 3);
    }

    #[test]
    fn ranges_are_two_speeds_the_lower_first() {
        assert_eq!(
            speed_range("2700:3000"),
            Ok(SpeedRange(Rpm(2_700.0), Rpm(3_000.0)))
        );
        for wrong in [
            "2700",
            "3000:2700",
            "a:b",
            "-1:5",
            ":",
            "1:inf",
            "nan:nan",
            "1:2:3",
        ] {
            assert!(speed_range(wrong).is_err(), "{wrong}");
        }
    }
}
