//! The way of the sound runs one way: imports go downstream to upstream only, one folder prints,
//! and the house keeps its shape. Reads the sources as text, so that an import that compiles and
//! breaks the order still fails here, with the file and the line.
use std::fs;
use std::path::{Path, PathBuf};

/// Who may import whom, in the order of the sound. A folder that is not listed is an error.
const ALLOWED: [(&str, &[&str]); 15] = [
    ("units", &[]),
    ("machine", &["units"]),
    ("capture", &["units", "machine"]),
    ("spectrum", &["units", "machine", "capture"]),
    ("tach", &["units", "machine", "capture", "spectrum"]),
    (
        "firing",
        &["units", "machine", "capture", "spectrum", "tach"],
    ),
    (
        "reading",
        &["units", "machine", "capture", "spectrum", "tach", "firing"],
    ),
    (
        "guide",
        &[
            "units", "machine", "capture", "spectrum", "tach", "firing", "reading",
        ],
    ),
    (
        "procedure",
        &[
            "units", "machine", "capture", "spectrum", "tach", "firing", "reading", "guide",
        ],
    ),
    (
        "session",
        &[
            "units",
            "machine",
            "capture",
            "spectrum",
            "tach",
            "firing",
            "reading",
            "guide",
            "procedure",
        ],
    ),
    (
        "book",
        &[
            "units",
            "machine",
            "capture",
            "spectrum",
            "tach",
            "firing",
            "reading",
            "guide",
            "procedure",
            "session",
        ],
    ),
    (
        "report",
        &[
            "units",
            "machine",
            "capture",
            "spectrum",
            "tach",
            "firing",
            "reading",
            "guide",
            "procedure",
            "session",
            "book",
        ],
    ),
    (
        "archive",
        &[
            "units",
            "machine",
            "capture",
            "spectrum",
            "tach",
            "firing",
            "reading",
            "guide",
            "procedure",
            "session",
            "book",
            "report",
        ],
    ),
    ("synth", &["units", "machine"]),
    (
        "cli",
        &[
            "units",
            "machine",
            "capture",
            "spectrum",
            "tach",
            "firing",
            "reading",
            "guide",
            "procedure",
            "session",
            "book",
            "report",
            "archive",
            "synth",
        ],
    ),
];

/// What only `cli` may say.
const ONLY_CLI: [&str; 8] = [
    "println!",
    "print!",
    "eprintln!",
    "eprint!",
    "dbg!",
    "process::exit",
    "clap",
    "indicatif",
];

/// Blanks out comments, strings and character literals, so that only code is left; every line
/// keeps its number.
fn code_only(text: &str) -> String {
    let bytes: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let at = |i: usize| bytes.get(i).copied().unwrap_or('\0');
    let mut i = 0;
    while i < bytes.len() {
        let c = bytes[i];
        if c == '/' && at(i + 1) == '/' {
            while i < bytes.len() && bytes[i] != '\n' {
                i += 1;
            }
        } else if c == '/' && at(i + 1) == '*' {
            let mut depth = 0;
            while i < bytes.len() {
                if bytes[i] == '/' && at(i + 1) == '*' {
                    depth += 1;
                    i += 2;
                } else if bytes[i] == '*' && at(i + 1) == '/' {
                    depth -= 1;
                    i += 2;
                    if depth == 0 {
                        break;
                    }
                } else {
                    if bytes[i] == '\n' {
                        out.push('\n');
                    }
                    i += 1;
                }
            }
        } else if c == 'r'
            && (at(i + 1) == '"' || at(i + 1) == '#')
            && raw_string(&bytes, i).is_some()
        {
            let end = raw_string(&bytes, i).expect("checked in the condition");
            out.extend(bytes[i..end].iter().filter(|c| **c == '\n'));
            i = end;
        } else if c == '"' {
            i += 1;
            while i < bytes.len() && bytes[i] != '"' {
                if bytes[i] == '\n' {
                    out.push('\n');
                }
                i += if bytes[i] == '\\' && at(i + 1) != '\n' {
                    2
                } else {
                    1
                };
            }
            i += 1;
            out.push(' ');
        } else if c == '\'' && (at(i + 2) == '\'' || at(i + 1) == '\\') {
            // A character literal; a lifetime has no closing quote two places on.
            i += if at(i + 1) == '\\' { 3 } else { 2 };
            while i < bytes.len() && bytes[i] != '\'' {
                i += 1;
            }
            i += 1;
        } else {
            out.push(c);
            i += 1;
        }
    }
    out
}

/// The place after a raw string that begins at `start`, if one does.
fn raw_string(text: &[char], start: usize) -> Option<usize> {
    let hashes = text[start + 1..].iter().take_while(|c| **c == '#').count();
    let mut i = start + 1 + hashes;
    if text.get(i) != Some(&'"') {
        return None;
    }
    i += 1;
    while i < text.len() {
        if text[i] == '"'
            && text[i + 1..]
                .iter()
                .take(hashes)
                .filter(|c| **c == '#')
                .count()
                == hashes
        {
            return Some(i + 1 + hashes);
        }
        i += 1;
    }
    Some(text.len())
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The first names of what stands at `rest`: one name, or those of a braced list.
fn heads(rest: &str) -> Vec<String> {
    let rest = rest.trim_start();
    let Some(list) = rest.strip_prefix('{') else {
        return vec![rest.chars().take_while(|c| is_word(*c)).collect()];
    };
    let (mut depth, mut item, mut items) = (0, String::new(), vec![]);
    for c in list.chars() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => items.push(std::mem::take(&mut item)),
            _ => {}
        }
        if depth == 0 && c != ',' {
            item.push(c);
        }
    }
    items.push(item);
    items
        .iter()
        .map(|item| item.trim().chars().take_while(|c| is_word(*c)).collect())
        .collect()
}

/// Every name that `code` reaches from the root of the crate, with its line. `depth` is how many
/// `super::` lead from the file's module to the root.
fn reached(code: &str, depth: usize) -> Vec<(String, usize)> {
    let mut found = vec![];
    let mut note = |at: usize, rest: &str| {
        let line = code[..at].matches('\n').count() + 1;
        found.extend(heads(rest).into_iter().map(|name| (name, line)));
    };
    for root in ["crate", "engine_note"] {
        for (at, _) in code.match_indices(root) {
            let alone = !code[..at].chars().next_back().is_some_and(is_word);
            if let (true, Some(rest)) = (
                alone,
                code[at + root.len()..].trim_start().strip_prefix("::"),
            ) {
                note(at, rest);
            }
        }
    }
    for (at, _) in code.match_indices("super") {
        let before = code[..at].trim_end();
        if before.ends_with("super::") || code[..at].chars().next_back().is_some_and(is_word) {
            continue;
        }
        let (mut rest, mut steps) = (&code[at..], 0);
        while let Some(next) = rest
            .trim_start()
            .strip_prefix("super")
            .and_then(|r| r.trim_start().strip_prefix("::"))
        {
            rest = next;
            steps += 1;
        }
        if steps >= depth {
            note(at, rest);
        }
    }
    found
}

/// What is wrong with the imports of one file, a sentence each.
fn breaches(stage: &str, name: &str, text: &str, depth: usize) -> Vec<String> {
    let Some((_, allowed)) = ALLOWED.iter().find(|(known, _)| *known == stage) else {
        return vec![format!(
            "{name}: `{stage}` has no place in the order of the stages"
        )];
    };
    reached(&code_only(text), depth)
        .into_iter()
        .filter(|(target, _)| ALLOWED.iter().any(|(known, _)| known == target))
        .filter(|(target, _)| target != stage && !allowed.contains(&target.as_str()))
        .map(|(target, line)| format!("{name}:{line}: `{stage}` must not import `{target}`"))
        .collect()
}

/// What only `cli` may say and this file says.
fn loud(name: &str, text: &str) -> Vec<String> {
    let code = code_only(text);
    let mut found = vec![];
    for word in ONLY_CLI {
        for (at, _) in code.match_indices(word) {
            let before = code[..at].chars().next_back().is_some_and(is_word);
            let after = code[at + word.len()..].chars().next().is_some_and(is_word);
            if !before && !after {
                let line = code[..at].matches('\n').count() + 1;
                found.push(format!("{name}:{line}: `{word}` belongs to `cli`"));
            }
        }
    }
    found
}

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// All source files with their path below `src`.
fn files() -> Vec<(PathBuf, String)> {
    fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).expect("src can be listed") {
            let path = entry.expect("src can be listed").path();
            if path.is_dir() {
                walk(&path, found);
            } else {
                found.push(path);
            }
        }
    }
    let mut found = vec![];
    walk(&source(), &mut found);
    found.sort();
    found
        .into_iter()
        .filter(|path| path.extension().is_some_and(|e| e == "rs"))
        .map(|path| {
            let text = fs::read_to_string(&path).expect("a source file is text");
            (
                path.strip_prefix(source())
                    .expect("below src")
                    .to_path_buf(),
                text,
            )
        })
        .collect()
}

/// The stage that a file belongs to and how many `super::` lead from it to the root.
fn place(path: &Path) -> (String, usize) {
    let parts: Vec<_> = path
        .iter()
        .map(|p| p.to_string_lossy().into_owned())
        .collect();
    let stage = parts[0].trim_end_matches(".rs").to_string();
    let own_module = parts.last().is_none_or(|file| file != "mod.rs");
    (
        stage,
        if parts.len() == 1 {
            1
        } else {
            parts.len() - 1 + usize::from(own_module)
        },
    )
}

#[test]
fn imports_run_upstream_only() {
    let mut wrong = vec![];
    for (path, text) in files() {
        let (stage, depth) = place(&path);
        if stage == "lib" || stage == "main" {
            continue;
        }
        wrong.extend(breaches(
            &stage,
            &format!("src/{}", path.display()),
            &text,
            depth,
        ));
    }
    assert!(wrong.is_empty(), "\n{}\n", wrong.join("\n"));
}

#[test]
fn each_stage_of_the_order_exists() {
    for (stage, _) in ALLOWED {
        let there = source().join(stage).join("mod.rs").exists()
            || source().join(format!("{stage}.rs")).exists();
        assert!(there, "`{stage}` stands in the order, but not in src");
    }
}

#[test]
fn main_only_starts_the_command_line() {
    let text = fs::read_to_string(source().join("main.rs")).expect("main.rs is there");
    assert!(
        text.lines().count() < 60,
        "main.rs has {} lines",
        text.lines().count()
    );
    let names: Vec<_> = reached(&code_only(&text), 1)
        .into_iter()
        .map(|(name, _)| name)
        .collect();
    assert_eq!(
        names,
        ["cli"],
        "main.rs reaches for more than the command line"
    );
}

#[test]
fn two_levels_of_folders_and_no_third() {
    for (path, _) in files() {
        assert!(
            path.iter().count() <= 2,
            "src/{} lies too deep",
            path.display()
        );
    }
}

#[test]
fn only_the_command_line_prints_parses_and_exits() {
    let mut wrong = vec![];
    for (path, text) in files() {
        if !path.starts_with("cli") {
            wrong.extend(loud(&format!("src/{}", path.display()), &text));
        }
    }
    assert!(wrong.is_empty(), "\n{}\n", wrong.join("\n"));
}

#[test]
fn no_drawers_for_everything() {
    for (path, _) in files() {
        let stem = path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        for drawer in [
            "util", "utils", "helper", "helpers", "common", "misc", "prelude",
        ] {
            assert_ne!(
                stem,
                drawer,
                "src/{} has a name that says nothing",
                path.display()
            );
        }
    }
}

// The proof that the tests above can fail.

#[test]
fn a_back_edge_is_caught_with_file_and_line() {
    let cases = [
        ("one name", "\nuse crate::guide::Advice;\n"),
        (
            "nested list",
            "use crate::units::Rpm;\nuse crate::{units::{Rpm, Hertz}, guide::Advice};\n",
        ),
        (
            "list over lines",
            "\nuse crate::{\n    units::Rpm,\n    guide,\n};\n",
        ),
        (
            "in the body",
            "fn f() {\n    let a = crate::guide::advise();\n}\n",
        ),
        ("by super", "\nuse super::super::guide::Advice;\n"),
        ("by super, a list", "\nuse super::super::{guide};\n"),
        ("spaced", "\nuse crate :: guide :: Advice;\n"),
    ];
    for (what, text) in cases {
        assert_eq!(
            breaches("tach", "src/tach/path.rs", text, 2),
            ["src/tach/path.rs:2: `tach` must not import `guide`"],
            "{what}"
        );
    }
    assert_eq!(
        breaches("tach", "src/tach/mod.rs", "use super::cli;\n", 1),
        ["src/tach/mod.rs:1: `tach` must not import `cli`"]
    );
    assert_eq!(
        breaches("synth", "src/synth/mod.rs", "use crate::tach::Speed;\n", 1).len(),
        1,
        "the synthesizer must not know what is tested with it"
    );
    assert_eq!(
        breaches("gadgets", "src/gadgets/mod.rs", "", 1).len(),
        1,
        "an unknown folder"
    );
}

#[test]
fn what_is_allowed_or_not_code_is_let_through() {
    let text = r##"
//! See [`crate::guide`].
/* use crate::guide::Advice; /* use crate::cli; */ use crate::report; */
use crate::{spectrum::Frame, units::Rpm};
use super::speed::Speed;
const WORDS: &str = "crate::guide \" crate::cli";
const RAW: &str = r#"crate::guide " crate::cli"#;
const QUOTE: char = '"';
fn f<'a>(x: &'a str) -> char { '\'' }
use crate::capture; // crate::guide
fn guide() {}
"##;
    assert_eq!(
        breaches("tach", "src/tach/path.rs", text, 2),
        Vec::<String>::new()
    );
    assert_eq!(
        reached(&code_only(text), 2)
            .into_iter()
            .map(|(name, _)| name)
            .collect::<Vec<_>>(),
        ["spectrum", "units", "capture"]
    );
}

#[test]
fn a_print_outside_the_command_line_is_caught() {
    assert_eq!(
        loud("src/tach/path.rs", "fn f() {\n    println!(\"x\");\n}\n"),
        ["src/tach/path.rs:2: `println!` belongs to `cli`"]
    );
    assert_eq!(loud("x.rs", "std::process::exit(1)").len(), 1);
    assert_eq!(loud("x.rs", "use clap::Parser;").len(), 1);
    assert_eq!(
        loud(
            "x.rs",
            "// println!\nlet s = \"println!\"; let clapped = blueprint!();"
        )
        .len(),
        0
    );
}
