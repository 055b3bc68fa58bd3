//! An example of a command, out of its own help.
use std::ffi::OsString;

use clap::{Command, CommandFactory};

use super::args::Arguments;

/// The first example in the help of the command that the arguments name, the program's name first.
pub fn of(arguments: &[OsString]) -> Option<String> {
    let mut command = &Arguments::command();
    for word in arguments.iter().skip(1) {
        let Some(named) = command.find_subcommand(word) else {
            break;
        };
        command = named;
    }
    first(command)
}

/// The first example that stands on one line, without what is said about it.
fn first(command: &Command) -> Option<String> {
    let help = command
        .get_after_long_help()
        .or_else(|| command.get_after_help())?
        .to_string();
    let line = help
        .lines()
        .map(str::trim)
        .find(|line| line.starts_with("engine-note ") && !line.ends_with('\\'))?;
    let line = line.split("  #").next().unwrap_or(line);
    Some(line.trim_end().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every(command: &Command, check: &mut impl FnMut(&Command)) {
        check(command);
        for below in command.get_subcommands() {
            every(below, check);
        }
    }

    /// As a shell takes them apart, up to where the output goes.
    fn words(example: &str) -> Vec<&str> {
        let mut words = vec![];
        for (at, part) in example.split('"').enumerate() {
            if at % 2 == 1 {
                words.push(part);
            } else {
                words.extend(part.split_whitespace());
            }
        }
        words.into_iter().take_while(|word| *word != ">").collect()
    }

    /// What a command cannot do without, its example has: clap itself takes it.
    #[test]
    fn every_command_that_needs_something_has_an_example_that_is_enough() {
        let mut found = 0;
        every(&Arguments::command(), &mut |command| {
            let needs = command.get_arguments().any(|it| it.is_required_set())
                || command.get_groups().any(|group| group.is_required_set());
            if !needs || command.has_subcommands() {
                return;
            }
            let example = first(command).unwrap_or_else(|| panic!("{}", command.get_name()));
            let taken = Arguments::command().try_get_matches_from(words(&example));
            assert!(taken.is_ok(), "{example}: {taken:?}");
            found += 1;
        });
        assert!(found >= 9, "{found}");
    }

    #[test]
    fn the_command_is_found_behind_its_parent() {
        let of = |words: &[&str]| of(&words.iter().map(OsString::from).collect::<Vec<_>>());
        let import = of(&["engine-note", "book", "import"]);
        assert_eq!(import.as_deref(), Some("engine-note book import book.json"));
        let synth = of(&["engine-note", "synth", "--drawn", "3"]);
        assert_eq!(
            synth.as_deref(),
            Some("engine-note synth --ready trimmer-rich -o clip.wav")
        );
    }
}
