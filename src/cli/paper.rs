//! What the program prints about itself: schema, completions, man pages.
use clap::CommandFactory;
use clap_complete::Shell;
use clap_mangen::Man;

use super::args::Arguments;
use super::terminal::print;
use super::trouble::Trouble;
use crate::{report, session};

/// The JSON Schema of the results, of the lines of the event stream, or of a summary.
pub fn schema(events: bool, summary: bool) -> Result<(), Trouble> {
    print(&if events {
        session::schema()
    } else if summary {
        report::summary_schema()
    } else {
        report::schema()
    })
}

/// Completions for a shell.
pub fn completions(shell: Shell) -> Result<(), Trouble> {
    let mut text = vec![];
    clap_complete::generate(shell, &mut Arguments::command(), "engine-note", &mut text);
    print(&String::from_utf8_lossy(&text))
}

/// The man page of the program or of one of its commands.
pub fn man(path: &[String]) -> Result<(), Trouble> {
    let mut program = Arguments::command();
    program.build();
    let mut page = &program;
    for name in path {
        page = page
            .find_subcommand(name)
            .ok_or_else(|| unknown(page, name))?;
    }
    let mut text = vec![];
    Man::new(page.clone()).render(&mut text)?;
    print(&String::from_utf8_lossy(&text))
}

fn unknown(within: &clap::Command, name: &str) -> Trouble {
    let known: Vec<_> = within
        .get_subcommands()
        .map(|c| c.get_name())
        .filter(|name| *name != "help")
        .collect();
    let hint = if known.is_empty() {
        format!("`{}` has no commands below it", within.get_name())
    } else {
        format!("the commands are: {}", known.join(", "))
    };
    Trouble::usage(format!("there is no command `{name}`"), hint)
}
