//! What the program prints about itself.
use super::bench::Bench;

macro_rules! helps {
    ($($test:ident: $arguments:expr;)*) => { $(
        #[test]
        fn $test() {
            insta::assert_snapshot!(Bench::new().run($arguments));
        }
    )* };
}

helps! {
    help: &["--help"];
    help_read: &["read", "--help"];
    help_listen: &["listen", "--help"];
    help_tune: &["tune", "--help"];
    help_practice: &["practice", "--help"];
    help_synth: &["synth", "--help"];
    help_check: &["check", "--help"];
    help_machine: &["machine", "--help"];
    help_machine_new: &["machine", "new", "--help"];
    help_machine_show: &["machine", "show", "--help"];
    help_machine_check: &["machine", "check", "--help"];
    help_procedure: &["procedure", "--help"];
    help_book: &["book", "--help"];
    help_book_add: &["book", "add", "--help"];
    help_book_show: &["book", "show", "--help"];
    help_book_export: &["book", "export", "--help"];
    help_sheet: &["sheet", "--help"];
    help_schema: &["schema", "--help"];
    help_completions: &["completions", "--help"];
    help_man: &["man", "--help"];
}

#[test]
fn version_is_that_of_the_crate() {
    let expected = format!(
        "code: 0\n--- out\nengine-note {}\n--- err\n",
        env!("CARGO_PKG_VERSION")
    );
    assert_eq!(Bench::new().run(&["--version"]), expected);
}

#[test]
fn every_help_has_an_example_where_there_is_something_to_give() {
    let commands: &[&[&str]] = &[
        &["read"],
        &["listen"],
        &["tune"],
        &["practice"],
        &["synth"],
        &["check"],
        &["machine", "new"],
        &["machine", "show"],
        &["machine", "check"],
        &["procedure"],
        &["book"],
        &["book", "add"],
        &["book", "list"],
        &["book", "show"],
        &["book", "export"],
        &["book", "import"],
        &["sheet"],
        &["completions"],
        &["man"],
    ];
    for command in commands {
        let mut arguments = command.to_vec();
        arguments.push("--help");
        let help = Bench::new().run(&arguments);
        assert!(
            help.contains("Example") && help.contains("  engine-note "),
            "{command:?}\n{help}"
        );
    }
}

#[test]
fn a_man_page_for_each_command() {
    let bench = Bench::new();
    for command in [
        "",
        "read",
        "listen",
        "synth",
        "check",
        "machine",
        "machine new",
        "machine show",
        "machine check",
        "book",
        "book add",
        "sheet",
        "schema",
        "completions",
        "man",
    ] {
        let arguments: Vec<&str> = std::iter::once("man")
            .chain(command.split_whitespace())
            .collect();
        let page = bench.run(&arguments);
        assert!(
            page.contains(".TH ") && page.contains(".SH SYNOPSIS"),
            "{command}: {page}"
        );
    }
}

#[test]
fn completions_name_the_commands() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = Bench::new().run(&["completions", shell]);
        assert!(
            script.starts_with("code: 0\n")
                && script.contains("synth")
                && script.contains("speed-range"),
            "{shell}"
        );
    }
}
