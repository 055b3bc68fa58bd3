//! What the program prints about itself: schema, completions, man pages.
use clap::CommandFactory;
use clap_complete::Shell;
use clap_mangen::Man;

use super::args::Arguments;
use super::terminal::print;
use super::trouble::Trouble;
use crate::report;

/// The JSON Schema of the output.
pub fn schema() -> Result<(), Trouble> {
    print(&report::schema())
}

/// Completions for a shell.
pub fn completions(shell: Shell) -> Result<(), Trouble> {
    let mut text = vec![];
    clap_complete::generate(shell, &mut Arguments::command(), "engine-note", &mut text);
    print(&String::from_utf8_lossy(&text))
}

/// The man page of the program or of one of its commands.
pub fn man(command: Option<&str>) -> Result<(), Trouble> {
    let mut program = Arguments::command();
    program.build();
    let page = match command {
        None => program,
        Some(name) => match program.find_subcommand(name) {
            Some(found) => found.clone(),
            None => {
                let known: Vec<_> = program
                    .get_subcommands()
                    .map(|c| c.get_name())
                    .filter(|name| *name != "help")
                    .collect();
                return Err(Trouble::usage(
                    format!("there is no command `{name}`"),
                    format!("the commands are: {}", known.join(", ")),
                ));
            }
        },
    };
    let mut text = vec![];
    Man::new(page).render(&mut text)?;
    print(&String::from_utf8_lossy(&text))
}
