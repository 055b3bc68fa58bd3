//! The book by hand and by ear, through the real program.
use std::path::Path;
use std::process::Command;

use engine_note::book::{Contents, How, Moment};

use crate::bench::{Bench, told};

fn book<'a>(rest: &[&'a str]) -> Vec<&'a str> {
    [&["book", "--book", "book"], rest].concat()
}

fn add(bench: &Bench, rest: &[&str]) {
    let output = bench.output(&[&book(&["add", "trimmer 4"])[..], rest].concat());
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
}

fn contents(bench: &Bench) -> Contents {
    let output = bench.output(&book(&["export"]));
    Contents::from_json(&String::from_utf8(output.stdout).unwrap()).unwrap()
}

/// A demonstration clip, which is invented.
fn demo(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/demo")
        .join(name);
    path.to_string_lossy().into_owned()
}

/// Six visits of one machine, typed in.
fn six_visits() -> Bench {
    let bench = Bench::new();
    add(
        &bench,
        &["--machine", &demo("trimmer.toml"), "--class", "trimmer"],
    );
    for (date, idle, full) in [
        ("2024-04-02", "2830", "9400"),
        ("2024-09-10", "2790", "9380"),
        ("2025-03-28", "2850", "9420"),
        ("2025-09-02", "2810", "9390"),
        ("2026-03-30", "2820", "9410"),
    ] {
        add(
            &bench,
            &[
                "--date",
                date,
                "--idle-before",
                idle,
                "--full-before",
                full,
                "--air-temperature",
                "15",
                "--altitude",
                "0",
            ],
        );
    }
    add(
        &bench,
        &[
            "--date",
            "2026-09-12",
            "--complaint",
            "idles fast, no power",
            "--check",
            "air filter: good",
            "--check",
            "fuel line: cracked, replaced",
            "--check",
            "compression: not checked",
            "--idle-before",
            "3350",
            "--full-before",
            "9405",
            "--skips-before",
            "38",
            "--found",
            "high=1 1/4,low=1,idle=2",
            "--move",
            "high in 1/8",
            "--move",
            "idle out 1/4",
            "--idle-after",
            "2840",
            "--full-after",
            "9400",
            "--skips-after",
            "12",
            "--left",
            "high=1.125,low=1,idle=1.75",
            "--proof",
            "idle, rpm=2840:2700:3000",
            "--proof",
            "back to idle, s=3.4::3",
            "--proof",
            "hot restart",
            "--air-temperature",
            "30",
            "--altitude",
            "1000",
            "--fuel",
            "fresh, 1:50",
            "--note",
            "told to bring it back in spring",
        ],
    );
    bench
}

#[test]
fn a_history_typed_in_is_shown_with_its_trends() {
    let bench = six_visits();
    insta::assert_snapshot!("list", bench.run(&book(&["list"])));
    insta::assert_snapshot!("show", bench.run(&book(&["show", "trimmer 4"])));
}

#[test]
fn the_air_of_another_place_is_compared() {
    let bench = six_visits();
    let here = |celsius: &str, metres: &str| {
        let output = bench.output(&book(&[
            "show",
            "trimmer 4",
            "--air-temperature",
            celsius,
            "--altitude",
            metres,
        ]));
        let text = String::from_utf8(output.stdout).unwrap();
        text.split("Air: ")
            .nth(1)
            .map(|air| air.split_whitespace().collect::<Vec<_>>().join(" "))
    };
    // Set at 1,000 m and 30 °C: 1.03 kg/m³ by ISO 2533. At sea level and 0 °C it is 1.29: 25 % more.
    let denser = here("0", "0").unwrap();
    assert!(denser.starts_with("25 % denser than at visit 6 (1.29 against 1.03 kg/m³): set the mixture anew before use. "), "{denser}");
    assert!(denser.ends_with("turn the high-speed screw an eighth of a turn out before the first run at full throttle"), "{denser}");
    assert_eq!(
        here("30", "1700").unwrap(),
        "8 % thinner than at visit 6 (0.95 against 1.03 kg/m³): check the mixture"
    );
    assert_eq!(here("28", "1000"), None);
}

#[test]
fn what_is_said_again_of_a_visit_is_put_in() {
    let bench = Bench::new();
    add(
        &bench,
        &[
            "--complaint",
            "no power",
            "--found",
            "high=1",
            "--full-before",
            "8350",
        ],
    );
    add(
        &bench,
        &[
            "--to",
            "1",
            "--note",
            "later",
            "--found",
            "low=1.5",
            "--skips-before",
            "40",
            "--move",
            "high in 1/8",
        ],
    );
    let visits = contents(&bench).visits;
    assert_eq!(visits.len(), 1);
    let visit = &visits[0].visit;
    assert_eq!(visit.complaint.as_deref(), Some("no power"));
    assert_eq!(visit.notes.as_deref(), Some("later"));
    assert_eq!(
        (visit.screws_found.high, visit.screws_found.low),
        (Some(1.0), Some(1.5))
    );
    let before = visit.before.unwrap();
    assert_eq!(
        (before.full_throttle.unwrap().rpm.0, before.skip_ratio),
        (8_350.0, Some(0.4))
    );
    assert_eq!(visit.moves.len(), 1);
}

#[test]
fn clips_that_were_heard_are_in_the_book() {
    let bench = Bench::new();
    add(
        &bench,
        &[
            "--machine",
            &demo("trimmer.toml"),
            "--complaint",
            "no power",
        ],
    );
    let before = demo("trimmer-rich.wav");
    let after = demo("trimmer-set.wav");
    for arguments in [
        &["read", &before, "--save", "trimmer 4", "--book", "book"][..],
        &[
            "read",
            &after,
            "--save",
            "trimmer 4",
            "--after",
            "--book",
            "book",
        ],
    ] {
        let output = bench.output(arguments);
        assert_eq!(output.status.code(), Some(0), "{}", told(&output));
        let words = String::from_utf8(output.stderr).unwrap();
        assert_eq!(words, "visit 1 of `trimmer 4` is in the book\n");
        // The maker's figures that the book knows are used: they were not given here.
        assert!(String::from_utf8(output.stdout).unwrap().contains("rpm"));
    }
    let visits = contents(&bench).visits;
    assert_eq!(visits.len(), 1, "one visit, begun with its complaint");
    let visit = &visits[0].visit;
    assert_eq!(visit.complaint.as_deref(), Some("no power"));
    // What the scenes of the clips say, within 1 %.
    let near = |held: f64, truth: f64| assert!((held / truth - 1.0).abs() < 0.01, "{held}");
    let (found, left) = (visit.before.unwrap(), visit.after.unwrap());
    assert_eq!((found.how, left.how), (How::Heard, How::Heard));
    near(found.full_throttle.unwrap().rpm.0, 8_350.0);
    near(left.full_throttle.unwrap().rpm.0, 9_350.0);
    // The next clip as found is a visit of its own, for this one is taken.
    let again = ["read", &before, "--save", "trimmer 4", "--book", "book"];
    assert_eq!(bench.output(&again).status.code(), Some(0));
    assert_eq!(contents(&bench).visits.len(), 2);
    // Hashes by another program.
    for (clip, (moment, path)) in visit
        .clips
        .iter()
        .zip([(Moment::Before, &before), (Moment::After, &after)])
    {
        assert_eq!((clip.moment, &clip.path), (moment, path));
        let output = Command::new("sha256sum").arg(path).output().unwrap();
        let sum = String::from_utf8(output.stdout).unwrap();
        assert_eq!(
            sum.split_whitespace().next(),
            Some(clip.sha256.to_string().as_str())
        );
    }
}

#[test]
fn what_cannot_be_kept_is_refused_before_anything_is_heard() {
    let bench = six_visits();
    let clip = demo("trimmer-rich.wav");
    let cases: [(&str, &[&str]); 9] = [
        (
            "mistyped",
            &["read", &clip, "--save", "trimer 4", "--book", "book"],
        ),
        (
            "unknown",
            &["read", &clip, "--save", "cutter", "--book", "book"],
        ),
        (
            "several",
            &[
                "read",
                &clip,
                &clip,
                "--save",
                "trimmer 4",
                "--book",
                "book",
            ],
        ),
        ("tag", &["book", "--book", "book", "add", " trimmer 4"]),
        (
            "visit",
            &[
                "book",
                "--book",
                "book",
                "add",
                "trimmer 4",
                "--to",
                "77",
                "--note",
                "x",
            ],
        ),
        (
            "whose",
            &[
                "book", "--book", "book", "add", "saw 1", "--to", "2", "--note", "x",
            ],
        ),
        (
            "move",
            &[
                "book",
                "--book",
                "book",
                "add",
                "trimmer 4",
                "--move",
                "high up 1/8",
            ],
        ),
        (
            "clip",
            &[
                "book",
                "--book",
                "book",
                "add",
                "trimmer 4",
                "--clip-before",
                "missing.wav",
            ],
        ),
        ("json", &["book", "--book", "book", "import", "book"]),
    ];
    let before = contents(&bench);
    let mut told = String::new();
    for (what, arguments) in cases {
        let said = bench.run(arguments).replace(&clip, "CLIP");
        told.push_str(&format!("== {what}\n{said}"));
    }
    insta::assert_snapshot!("refusals", told);
    assert_eq!(contents(&bench), before);
}

#[test]
fn the_usual_place_is_the_users_data_folder() {
    let bench = Bench::new();
    let data = bench.path("data");
    let run = |arguments: &[&str]| {
        let mut command = bench.command(arguments);
        command
            .env("XDG_DATA_HOME", &data)
            .env("HOME", bench.path("home"));
        command.output().unwrap()
    };
    let output = run(&["book", "list"]);
    assert_eq!(output.status.code(), Some(3), "{}", told(&output));
    assert!(!data.exists(), "looking begins nothing");
    let output = run(&["book", "add", "saw 1"]);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    if cfg!(target_os = "linux") {
        assert!(data.join("engine-note/book.sqlite3").exists());
    }
}
