//! The papers of the house say what is so: links lead somewhere, commands exist, every dependency has
//! its line.
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn text(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// README, guides and everything in docs, relative to the root.
fn papers() -> Vec<String> {
    let docs = fs::read_dir(root().join("docs"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name());
    let mut papers: Vec<String> = docs
        .map(|name| format!("docs/{}", name.to_string_lossy()))
        .filter(|name| name.ends_with(".md"))
        .chain(["README.md", "DEVELOPERS.md", "CHANGELOG.md"].map(String::from))
        .collect();
    papers.sort();
    papers
}

/// Targets of `[words](target)` that lie in the repository.
fn links(markdown: &str) -> Vec<&str> {
    let after_bracket = markdown.split("](").skip(1);
    after_bracket
        .filter_map(|rest| rest.split(')').next())
        .filter(|target| !target.contains("://") && !target.starts_with('#'))
        .map(|target| target.split('#').next().unwrap_or(target))
        .collect()
}

#[test]
fn every_link_leads_to_a_file() {
    for paper in papers() {
        let text = text(&paper);
        for target in links(&text) {
            let folder = root().join(&paper).parent().map(Path::to_path_buf).unwrap();
            assert!(folder.join(target).exists(), "{paper} links to {target}");
        }
    }
    assert_eq!(
        links("a [b](c.md#d) [e](https://f) [g](#h)"),
        ["c.md"],
        "links are found"
    );
}

#[test]
fn every_make_target_that_is_named_exists() {
    let makefile = text("Makefile");
    let targets: BTreeSet<&str> = makefile
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_lowercase()))
        .filter_map(|line| line.split_once(": ").map(|(name, _)| name))
        .collect();
    let mut sources = papers();
    sources.push(".ci/run".into());
    let mut named = BTreeSet::new();
    for paper in sources {
        for after in text(&paper).split("make ").skip(1) {
            let target: String = after
                .chars()
                .take_while(|c| c.is_ascii_lowercase() || *c == '-')
                .collect();
            named.insert((paper.clone(), target));
        }
    }
    // "make" is a word of English too: only what stands in code counts.
    let commands = [
        "demo",
        "test",
        "test-mic",
        "browser",
        "tables",
        "archive",
        "check",
        "install",
        "bench",
        "fuzz",
        "fuzz-build",
        "docs",
        "schema",
        "snapshots",
    ];
    for command in commands {
        assert!(
            named.iter().any(|(_, target)| target == command),
            "nobody tells of `make {command}`"
        );
        assert!(targets.contains(command), "`make {command}` does not exist");
    }
}

#[test]
fn every_dependency_has_its_line() {
    let manifest: toml::Table = text("Cargo.toml").parse().unwrap();
    let page = text("docs/dependencies.md");
    let named: BTreeSet<&str> = page
        .lines()
        .filter_map(|line| line.strip_prefix("| "))
        .filter_map(|line| line.split(" |").next())
        .flat_map(|crates| crates.split(", "))
        .collect();
    // Those of a single system count too.
    let systems = manifest.get("target").and_then(|it| it.as_table());
    let tables = systems.into_iter().flat_map(|it| it.values());
    let used: BTreeSet<&str> = tables
        .filter_map(|it| it.as_table())
        .chain([&manifest])
        .flat_map(|it| ["dependencies", "dev-dependencies"].map(|name| it.get(name)))
        .flatten()
        .flat_map(|it| it.as_table().unwrap().keys())
        .map(String::as_str)
        .collect();
    for name in &used {
        assert!(
            named.contains(name),
            "docs/dependencies.md does not say why `{name}` is here"
        );
    }
    for name in named.iter().filter(|name| !["crate", "---"].contains(name)) {
        assert!(
            used.contains(name),
            "docs/dependencies.md names `{name}`, which is not used"
        );
    }
}

#[test]
fn the_readme_begins_with_the_job_and_two_commands() {
    let readme = text("README.md");
    let mut parts = readme.split("\n\n");
    assert_eq!(parts.next(), Some("# engine-note"));
    let job = parts.next().unwrap();
    assert!(
        !job.starts_with(['#', '`', '-', '!']),
        "the job stands first, in a paragraph"
    );
    let commands: Vec<&str> = parts
        .next()
        .unwrap()
        .lines()
        .filter(|line| line.starts_with("make "))
        .collect();
    let targets: Vec<_> = commands
        .iter()
        .filter_map(|line| line.split_whitespace().nth(1))
        .collect();
    assert_eq!(targets, ["demo", "test"]);
}
