//! Tables: their names are those of the JSON Schema, and they stand under their name only once they are
//! whole. Writes what `tests/tables/check.py` loads in DuckDB and pandas, with answers from the JSON.
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use engine_note::firing::{Firing, FiringKind};
use engine_note::machine::Profile;
use engine_note::reading::Frame;
use engine_note::report::{ClipFacts, Format, Gatherer, Look, Renderer, Rows};
use engine_note::tach::{Speed, Unreadable};
use engine_note::units::{Decibels, Rpm, Seconds};
use parquet::basic::Type as Physical;
use parquet::file::reader::{FileReader, SerializedFileReader};
use serde_json::{Value, json};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_engine-note"))
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

/// Clips of three invented machines, by machine and day.
const FLEET: [(&str, &str); 6] = [
    ("trimmer-4/2026-02-01.wav", "trimmer-bog.wav"),
    ("trimmer-4/2026-03-02.wav", "trimmer-rich.wav"),
    ("trimmer-4/2026-05-11.wav", "trimmer-set.wav"),
    ("trimmer-4/2026-08-20.wav", "trimmer-clean.wav"),
    ("saw-2/2026-03-02.wav", "saw-limiter.wav"),
    ("cutter-1/2026-04-01.wav", "cutter-fast-idle.wav"),
];

fn fleet(folder: &Path) {
    for (clip, from) in FLEET {
        let clip = folder.join("fleet").join(clip);
        fs::create_dir_all(clip.parent().unwrap()).unwrap();
        fs::copy(root().join("fixtures/demo").join(from), clip).unwrap();
    }
}

/// Names of the single values in a schema of JSON, from the outside in, with their types. Lists are
/// gone into, too.
fn leaves(schema: &Value, definitions: &Value, path: &str, found: &mut BTreeMap<String, String>) {
    let down = |found: &mut _, next| leaves(next, definitions, path, found);
    if let Some(reference) = schema.get("$ref") {
        let name = reference
            .as_str()
            .unwrap()
            .strip_prefix("#/$defs/")
            .unwrap();
        return down(found, &definitions[name]);
    }
    if let Some(choices) = schema.get("anyOf") {
        let null = json!({"type": "null"});
        let some: Vec<&Value> = choices
            .as_array()
            .unwrap()
            .iter()
            .filter(|c| **c != null)
            .collect();
        assert_eq!(some.len(), 1, "{path}: one kind of value, or null");
        return down(found, some[0]);
    }
    if let Some(properties) = schema.get("properties") {
        for (name, next) in properties.as_object().unwrap() {
            let path = [path, name].join(if path.is_empty() { "" } else { "." });
            leaves(next, definitions, &path, found);
        }
    } else if let Some(element) = schema.get("items").or(schema.pointer("/prefixItems/0")) {
        down(found, element);
    } else {
        let kind = match &schema["type"] {
            Value::Array(kinds) => kinds[0].as_str().unwrap(),
            // A choice of words.
            Value::Null => "string",
            kind => kind.as_str().unwrap(),
        };
        found.insert(path.to_owned(), kind.to_owned());
    }
}

/// All names of a result in the shipped schema.
fn shipped() -> BTreeMap<String, String> {
    let text = fs::read_to_string(root().join("docs/reading.schema.json")).unwrap();
    let schema: Value = serde_json::from_str(&text).unwrap();
    let mut found = BTreeMap::new();
    leaves(&schema["$defs"]["Report"], &schema["$defs"], "", &mut found);
    assert!(found.len() > 100 && found["idle.rpm"] == "number");
    found
}

/// Those of a row of frames: the path of the clip, and the fields of a frame.
fn shipped_of_frames() -> BTreeMap<String, String> {
    let named = shipped().into_iter().filter_map(|(name, kind)| {
        let name = if name == "clip.path" {
            "path"
        } else {
            name.strip_prefix("frames.")?
        };
        Some((name.to_owned(), kind))
    });
    named.collect()
}

/// The names in a Parquet file's own metadata. The two levels that Parquet puts into each list
/// ("Lists" in the Apache Parquet format's LogicalTypes) are no names of ours.
fn names(path: &Path) -> BTreeMap<String, String> {
    let reader = SerializedFileReader::new(fs::File::open(path).unwrap()).unwrap();
    let schema = reader.metadata().file_metadata().schema_descr_ptr();
    let columns = schema.columns().iter().map(|column| {
        let name = column.path().string().replace(".list.element", "");
        let kind = match column.physical_type() {
            Physical::DOUBLE => "number",
            Physical::INT64 => "integer",
            Physical::BOOLEAN => "boolean",
            Physical::BYTE_ARRAY => "string",
            other => panic!("{name}: {other}"),
        };
        (name, kind.to_owned())
    });
    columns.collect()
}

#[test]
fn names_and_types_in_parquet_are_those_of_the_schema() {
    let folder = tempfile::tempdir().unwrap();
    let clip = root().join("fixtures/demo/trimmer-rich.wav");
    let read = |rows: &str| {
        let out = folder.path().join(rows);
        let (clip, into) = (clip.to_str().unwrap(), out.to_str().unwrap());
        let output = run(
            root(),
            &["read", clip, "-f", "parquet", "--rows", rows, "-o", into],
        );
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        names(&out)
    };
    let mut clips = shipped();
    clips.retain(|name, _| !name.starts_with("frames."));
    assert_eq!(read("clips"), clips);
    assert_eq!(read("frames"), shipped_of_frames());
}

#[test]
fn heads_of_csv_are_names_of_the_schema_with_their_units() {
    let clip = root().join("fixtures/demo/trimmer-rich.wav");
    let head = |rows: &str| {
        let clip = clip.to_str().unwrap();
        let output = run(root(), &["read", clip, clip, "-f", "csv", "--rows", rows]);
        let mut table = csv::Reader::from_reader(&output.stdout[..]);
        let head: Vec<String> = table.headers().unwrap().iter().map(String::from).collect();
        // One head for both clips, and the clip in every row.
        let at = head.iter().position(|name| name.ends_with("path")).unwrap();
        let rows: Vec<_> = table.records().collect::<Result<_, _>>().unwrap();
        assert!(rows.len() >= 2 && rows.iter().all(|row| row[at] == *clip));
        head
    };
    let mut frames = shipped_of_frames();
    for name in head("frames") {
        assert!(frames.remove(&name).is_some(), "{name}");
    }
    assert!(frames.is_empty(), "left out: {frames:?}");

    let clips = shipped();
    let heads = head("clips");
    for wanted in [
        "clip.path",
        "idle.rpm",
        "full_throttle.rpm",
        "full_throttle.skip_ratio",
        "advice.verdict",
    ] {
        assert!(heads.iter().any(|head| head == wanted), "{wanted}");
    }
    // Shares of 0 to 1 and counts.
    let without = [
        "confidence",
        "firing_share",
        "skip_ratio",
        "explained",
        "clipped",
        "variation",
        "channels",
    ];
    let units = [
        // Says its unit, samples per second, by itself.
        "sample_rate",
        "seconds",
        "_s",
        "rpm",
        "rpm_low",
        "rpm_high",
        "rpm_other",
        "_hz",
        "_pct",
        "_db",
        "_dbfs",
    ];
    for name in heads.iter().chain(&head("frames")) {
        let kind = clips.get(name).or(clips.get(&format!("frames.{name}")));
        let kind = kind.or(clips.get("clip.path").filter(|_| name == "path"));
        let kind = kind.unwrap_or_else(|| panic!("{name} is not in the schema"));
        let last = name.rsplit('.').next().unwrap();
        assert!(
            kind == "string"
                || without.contains(&last)
                || units.iter().any(|unit| last.ends_with(unit)),
            "{name} has no unit"
        );
    }
}

#[test]
fn without_a_clip_that_can_be_read_there_is_a_table_without_rows() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("broken.wav"), "no sound").unwrap();
    for rows in ["clips", "frames"] {
        let output = run(
            folder.path(),
            &[
                "read",
                "broken.wav",
                "-f",
                "parquet",
                "--rows",
                rows,
                "-o",
                "out",
            ],
        );
        assert_eq!(output.status.code(), Some(3));
        let file = fs::File::open(folder.path().join("out")).unwrap();
        let reader = SerializedFileReader::new(file).unwrap();
        assert_eq!(reader.metadata().file_metadata().num_rows(), 0);
        let output = run(
            folder.path(),
            &["read", "broken.wav", "-f", "csv", "--rows", rows],
        );
        let mut table = csv::Reader::from_reader(&output.stdout[..]);
        assert!(table.headers().unwrap().len() > 10);
        assert_eq!(table.records().count(), 0);
    }
}

#[cfg(unix)]
#[test]
fn a_kill_in_the_middle_leaves_what_was_there() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("frames.parquet");
    fs::write(&out, "what was there").unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_engine-note"))
        .args([
            "read",
            "-",
            "--raw",
            "s16le:16000:1",
            "-f",
            "parquet",
            "--rows",
            "frames",
        ])
        .args(["-o", "frames.parquet"])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    // More than a pipe holds: once it is written, the program has begun to read.
    stdin.write_all(&vec![7; 1 << 20]).unwrap();
    child.kill().unwrap();
    child.wait().unwrap();
    assert_eq!(fs::read_to_string(out).unwrap(), "what was there");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_named() {
    let clip = root().join("fixtures/demo/trimmer-rich.wav");
    let output = run(
        root(),
        &[
            "read",
            clip.to_str().unwrap(),
            "-f",
            "parquet",
            "-o",
            "/dev/full",
        ],
    );
    let words = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(3), "{words}");
    assert!(words.contains("no space left on device"), "{words}");
}

/// Where the tables go that are loaded in DuckDB and pandas.
fn shared() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("tables");
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// The lines of the shell in docs/tables.md.
fn shell(page: &str) -> Vec<&str> {
    let blocks = page.split("```sh\n").skip(1);
    blocks
        .flat_map(|rest| rest.split("```").next().unwrap().lines())
        .collect()
}

/// Tag, day, idle, full throttle and skips of a visit.
type Visit = (String, String, Option<f64>, Option<f64>, Option<f64>);

/// The same with the change of full throttle since the visit before, where both are known.
fn with_change(mut visits: Vec<Visit>) -> Value {
    visits.sort_by(|a, b| (&a.0, &a.1).cmp(&(&b.0, &b.1)));
    let rows = visits
        .iter()
        .enumerate()
        .map(|(at, (tag, day, idle, full, skips))| {
            let before = at
                .checked_sub(1)
                .map(|at| &visits[at])
                .filter(|it| it.0 == *tag);
            let change = before.and_then(|it| Some((*full)? - it.3?));
            json!([tag, day, idle, full, skips, change])
        });
    rows.collect()
}

#[test]
fn the_commands_of_the_page_write_what_python_loads() {
    let folder = shared();
    fleet(&folder);
    let page = fs::read_to_string(root().join("docs/tables.md")).unwrap();
    let imported = run(
        &folder,
        &[
            "book",
            "--book",
            "b.sqlite3",
            "import",
            root().join("fixtures/book/demo.json").to_str().unwrap(),
        ],
    );
    assert_eq!(imported.status.code(), Some(0), "{imported:?}");
    let lines = shell(&page);
    assert!(lines.len() >= 6, "{lines:?}");
    for line in lines {
        let words: Vec<&str> = line.split_whitespace().skip(1).collect();
        let (words, into) = match words.split_last() {
            Some((file, [words @ .., ">"])) => (words, Some(file)),
            _ => (&words[..], None),
        };
        let book: &[&str] = if words[0] == "book" {
            &["--book", "b.sqlite3"]
        } else {
            &[]
        };
        let output = run(&folder, &[words, book].concat());
        // The cutter never reaches full throttle, but every clip has an engine in it.
        assert_eq!(output.status.code(), Some(0), "{line}: {output:?}");
        if let Some(file) = into {
            fs::write(folder.join(file), output.stdout).unwrap();
        }
    }

    // The answers, from another format than any that is asked for on the page.
    let output = run(&folder, &["read", "fleet", "--format", "json"]);
    let clips: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(clips.len(), FLEET.len());
    let visits = clips.iter().map(|clip| {
        let mut parts = clip["clip"]["path"]
            .as_str()
            .unwrap()
            .split(['/', '.'])
            .skip(1)
            .map(String::from);
        let full = &clip["full_throttle"];
        (
            parts.next().unwrap(),
            parts.next().unwrap(),
            clip["idle"]["rpm"].as_f64(),
            full["rpm"].as_f64(),
            full["skip_ratio"].as_f64(),
        )
    });
    let fleet = with_change(visits.collect());
    let book: Value =
        serde_json::from_str(&fs::read_to_string(root().join("fixtures/book/demo.json")).unwrap())
            .unwrap();
    let visits = book["visits"].as_array().unwrap().iter().map(|it| {
        let left = |place: &str| {
            let at = |moment: &str| it["visit"][moment].pointer(place).and_then(Value::as_f64);
            at("after").or(at("before"))
        };
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        (
            text(&it["machine"]),
            text(&it["visit"]["date"]),
            left("/idle/rpm"),
            left("/full_throttle/rpm"),
            left("/skip_ratio"),
        )
    });
    let book = with_change(visits.collect());
    let frames: Vec<Value> = clips
        .iter()
        .filter_map(|clip| {
            let fast: Vec<&Value> = clip["frames"]
                .as_array()
                .unwrap()
                .iter()
                .filter(|frame| frame["rpm"].as_f64() > Some(7_000.0))
                .collect();
            let count = fast.len() as f64;
            let rpm: f64 = fast
                .iter()
                .map(|frame| frame["rpm"].as_f64().unwrap())
                .sum();
            let four = fast
                .iter()
                .filter(|frame| frame["firing"] == "four-stroking")
                .count() as f64;
            (count > 0.0).then(|| json!([clip["clip"]["path"], rpm / count, four / count]))
        })
        .collect();
    // Were a value null everywhere, the comparison would say little.
    for column in 2..6 {
        assert!(
            fleet
                .as_array()
                .unwrap()
                .iter()
                .any(|row| row[column].as_f64().is_some_and(|it| it != 0.0))
        );
    }
    assert!(fleet.as_array().unwrap().iter().any(|row| row[3].is_null()));
    assert!(frames.len() >= 3);
    let answers = json!({"fleet": fleet, "book": book, "frames": frames});
    fs::write(folder.join("answers.json"), answers.to_string()).unwrap();

    long(&folder);
}

/// Frames enough for several row groups, each of a closed form that is checked in Python: at frame `n`
/// the time is `0.016 n`, every seventh is not readable, the others turn `2000 + n % 5000` rpm.
fn long(folder: &Path) {
    const FRAMES: u32 = 400_000;
    let format = Format::Parquet(Rows::Frames);
    let mut gatherer = Gatherer::new(&Profile::default(), format);
    for n in 0..FRAMES {
        let rpm = Rpm(2_000.0 + f64::from(n % 5_000));
        let readable = !n.is_multiple_of(7);
        let speed = Speed {
            rpm,
            low: rpm,
            high: rpm,
            confidence: 1.0,
            other: None,
        };
        let kind = if readable {
            FiringKind::Clean
        } else {
            FiringKind::None
        };
        gatherer
            .push(&Frame {
                t: Seconds(f64::from(n) * 0.016),
                speed: readable.then_some(speed).ok_or(Unreadable::NoEngine),
                firing: Firing {
                    kind,
                    skip_ratio: None,
                    pattern: None,
                    sub_order: None,
                    variation: None,
                },
                level: Decibels(-20.0),
                clipped: 0.0,
            })
            .unwrap();
    }
    let clip = ClipFacts {
        path: "long.wav".into(),
        seconds: 0.016 * f64::from(FRAMES),
        sample_rate: 48_000,
        channels: 1,
    };
    let report = gatherer.finish(clip, vec![]).unwrap();
    let mut out = vec![];
    let mut renderer = Renderer::new(&mut out, format, false, Look::default());
    renderer.write(&report).unwrap();
    renderer.finish().unwrap();
    fs::write(folder.join("long.parquet"), &out).unwrap();
    let file = fs::File::open(folder.join("long.parquet")).unwrap();
    let reader = SerializedFileReader::new(file).unwrap();
    assert!(reader.num_row_groups() > 1);
    let rows: BTreeSet<i64> = (0..reader.num_row_groups())
        .map(|at| reader.metadata().row_group(at).num_rows())
        .collect();
    assert!(rows.iter().all(|rows| *rows < 200_000), "{rows:?}");
}
