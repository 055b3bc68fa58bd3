//! From a profile to the text of its file, with comments that teach.
use std::fmt::Write;

use super::parse::{CARBURETORS, COILS, CYCLES, USES};
use super::profile::{DEFAULT_SEARCH, Figure, Profile, SpeedRange};
use crate::units::Rpm;

/// What each speed is, and an example for a profile that does not know it.
fn teaches(figure: Figure) -> (&'static str, &'static str) {
    match figure {
        Figure::Idle => ("Idle, throttle released, engine warm.", "[2700, 3000]"),
        Figure::ClutchIn => (
            "Speed at which the clutch begins to drive the attachment; a blower has none. It \
             should be\n# at least 1.25 times the idle speed.",
            "3750",
        ),
        Figure::FullThrottle => (
            "Full throttle without load, attachment fitted. The second figure is the maker's \
             maximum;\n# advice never goes beyond it.",
            "[9500, 10500]",
        ),
        Figure::Limiter => ("Speed at which a limited coil cuts the spark.", "11500"),
    }
}

impl Profile {
    /// The text of the profile's file. [`Profile::from_toml`] reads it back unchanged.
    pub fn to_toml(&self) -> String {
        let mut text = String::from(
            "# A machine, as it was known before it was heard. Speeds are in rpm of the crankshaft.\n\
             # The maker's manual comes first: its figures win over anything typical or measured.\n\n",
        );
        let quoted = |words: &str| toml::Value::from(words).to_string();
        line(
            &mut text,
            "name",
            self.name.as_deref().map(quoted),
            "\"the red one\"",
        );
        text.push_str("\n# \"trimmer head\", \"brush blade\", \"saw\", \"blower\" or \"hedge\".\n");
        line(
            &mut text,
            "use",
            self.used_for.map(|u| quoted(word(USES, u))),
            "\"trimmer head\"",
        );
        text.push_str(
            "\n# A two-stroke fires in every turn of the crank, a four-stroke cycle in every second.\n",
        );
        line(
            &mut text,
            "cycle",
            Some(quoted(word(CYCLES, self.cycle))),
            "",
        );
        line(&mut text, "cylinders", Some(self.cylinders.to_string()), "");
        text.push_str(
            "\n# \"butterfly\": a plate in the bore turns on a shaft. \"barrel-valve\": a barrel turns and \
             rises\n# with the cable, often with a needle screw in its top. \"automatic\": electronics set \
             the\n# mixture, there is no mixture screw, and no turns are advised.\n",
        );
        let carburetor = self.carburetor.map(|c| quoted(word(CARBURETORS, c)));
        line(&mut text, "carburetor", carburetor, "\"butterfly\"");
        text.push_str(
            "\n# \"limited\": the coil cuts the spark at a ceiling speed, which sounds much like a rich \
             mixture.\n# \"plain\": it does not. \"unknown\" is a good answer.\n",
        );
        line(&mut text, "coil", Some(quoted(word(COILS, self.coil))), "");
        text.push_str("\n[speeds]\n");
        for figure in Figure::ALL {
            let (comment, example) = teaches(figure);
            let value = self.range_of(figure).map(|range| match figure {
                Figure::Idle | Figure::FullThrottle => pair(range),
                Figure::ClutchIn | Figure::Limiter => one(range.low()),
            });
            let _ = writeln!(text, "# {comment}");
            line(&mut text, figure.key(), value, example);
        }
        text.push_str(
            "# Where the speed is searched for. Narrow it only when half or double the \
             speed is read.\n",
        );
        let search = (self.search != DEFAULT_SEARCH).then(|| pair(self.search));
        line(&mut text, "search", search, &pair(DEFAULT_SEARCH));
        text.push_str(
            "\n# Where each speed came from: \"maker\", \"measured\", \"typical\" (common practice for such\n\
             # machines, no source) or a few words of your own.\n[sources]\n",
        );
        for figure in Figure::ALL {
            let origin = self.origin(figure).map(|origin| quoted(origin.as_str()));
            line(&mut text, figure.key(), origin, "\"maker\"");
        }
        text
    }
}

/// A key with its value, or as an example behind a comment sign where it is not known.
fn line(text: &mut String, key: &str, value: Option<String>, example: &str) {
    let _ = match value {
        Some(value) => writeln!(text, "{key} = {value}"),
        None => writeln!(text, "# {key} = {example}"),
    };
}

fn word<T: Copy + PartialEq>(choices: &'static [(&'static str, T)], meaning: T) -> &'static str {
    choices
        .iter()
        .find(|(_, m)| *m == meaning)
        .map_or("", |(word, _)| word)
}

fn one(speed: Rpm) -> String {
    // Whole numbers as integers, everything else so that it reads back unchanged.
    if speed.0.fract() == 0.0 && speed.0.abs() < 1e9 {
        format!("{:.0}", speed.0)
    } else {
        toml::Value::from(speed.0).to_string()
    }
}

fn pair(range: SpeedRange) -> String {
    format!("[{}, {}]", one(range.low()), one(range.high()))
}
