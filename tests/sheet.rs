//! Job sheets: what they say, that nothing in them can do harm. The pages that this writes are looked
//! at in a real browser by `tests/browser`.
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use engine_note::book::{
    Check, Clip, Contents, Digest, Finding, Held, How, Machine, Measured, Moment, MoveMade, Screws,
    Visit,
};
use engine_note::firing::FiringKind;
use engine_note::guide::{Direction, FaultId, Screw, Turn};
use engine_note::machine::{Class, Figure};
use engine_note::procedure::{OutcomeFault, ProofLine, Reference, Verdict};
use engine_note::report::{Picture, Sheet};
use engine_note::units::Rpm;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Where the pages go that the browser looks at.
fn page(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("sheets");
    fs::create_dir_all(&folder).unwrap();
    folder.join(name)
}

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_engine-note"))
        .args(arguments)
        .current_dir(root())
        .output()
        .unwrap()
}

fn written(arguments: &[&str], name: &str) -> String {
    let path = page(name);
    let output = run(&[arguments, &["-o", path.to_str().unwrap()]].concat());
    let words = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{words}");
    assert_eq!(words, format!("wrote {}\n", path.display()));
    fs::read_to_string(path).unwrap()
}

/// The words of a page without its tags, for a look at what it says in which order.
fn words(page: &str) -> String {
    let body = page.split_once("<body>").unwrap().1;
    let mut text = String::new();
    for part in body.split('<').skip(1) {
        let (_, rest) = part.split_once('>').unwrap();
        text.push_str(rest);
        text.push(' ');
    }
    let text = text
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&amp;", "&");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The demonstration book, which is invented.
fn demo() -> Contents {
    let json = fs::read_to_string(root().join("fixtures/book/demo.json")).unwrap();
    Contents::from_json(&json).unwrap()
}

fn demo_book() -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("book").to_string_lossy().into_owned();
    let output = run(&["book", "--book", &book, "import", "fixtures/book/demo.json"]);
    assert_eq!(output.status.code(), Some(0));
    (folder, book)
}

#[test]
fn a_visit_is_told_on_one_page() {
    let (_folder, book) = demo_book();
    // The last visit of the machine that was adjusted: the fifth in the fixture's script.
    let page = written(&["sheet", "5", "--book", &book], "visit.html");
    let words = words(&page);
    for expected in [
        "Job sheet: trimmer 4",
        "Day 2026-03-30 Visit 5 in the job book",
        "Complaint no power, smokes",
        "What Maker's figure As found As left",
        "Idle 2,700 to 3,000 rpm (invented) 2,820 rpm, within 2,820 rpm, within",
        "Full throttle, no load 8,800 to 10,200 rpm (invented) 8,350 rpm, outside 9,350 rpm, within",
        "Turns skipped at full throttle no figure 38 % 12 %",
        "High-speed screw, out from seated no figure 1.5 turns 1.25 turns",
        "Speeds typed in by hand",
        "Checked first Air filter: clogged, replaced Muffler screen: good",
        "Turned, in order Twice: high-speed screw an eighth of a turn in (clockwise)",
        "Full throttle, rpm 9,350 8,800 to 10,200 within",
        "Back to idle, s 2.1 at most 3 within",
        "Hot restart not measured none given not checked",
        "Not checked Hot restart Compression",
        "Cautions The maker's manual and local rules come before anything",
        "Technician, day Customer, day",
    ] {
        assert!(words.contains(expected), "`{expected}` is not in: {words}");
    }
    let latest = written(&["sheet", "trimmer 4", "--book", &book], "latest.html");
    assert!(self::words(&latest).contains("Day 2026-09-14 Visit 6 in the job book"));
}

#[test]
fn a_clip_alone_and_the_events_of_a_tuning_make_a_sheet_too() {
    let clip = "fixtures/demo/trimmer-rich.wav";
    let profile = ["--machine", "fixtures/demo/trimmer.toml"];
    let page = written(&[&["sheet", clip][..], &profile].concat(), "clip.html");
    assert_eq!(page.matches("<svg ").count(), 1);
    // It runs all the time; half a second of its snap may not be readable.
    let (_, heard) = page
        .split_once("aria-label=\"Heard an engine for ")
        .unwrap();
    let (seconds, _) = heard.split_once(" of 8.5 s: ").unwrap();
    assert!((8.0..=8.5).contains(&seconds.parse::<f64>().unwrap()));
    let text = words(&page);
    for expected in [
        "Job sheet: trimmer 4",
        "As heard: trimmer-rich.wav",
        "What the sound asks for",
        "high-speed screw",
        "Turned, in order nothing was turned",
        "As left",
        "not measured",
        "Idle as left Full throttle as left",
        "trimmer-rich.wav (SHA-256 ",
    ] {
        assert!(text.contains(expected), "`{expected}` is not in: {text}");
    }
    let record = page_of_a_tuning();
    let page = written(
        &[&["sheet", record.to_str().unwrap()][..], &profile].concat(),
        "tuning.html",
    );
    let text = words(&page);
    for expected in [
        "Turned, in order High-speed screw an eighth of a turn in (clockwise)",
        "Tuning set and proved",
        "Full throttle, rpm 9,350 8,800 to 10,200 within",
        "Clutch-in, rpm not measured at least 3,500 not checked",
    ] {
        assert!(text.contains(expected), "`{expected}` is not in: {text}");
    }
    assert!(
        !text.contains("Low-speed screw a quarter"),
        "a turn that could not be made is none"
    );
}

/// Events as the stream writes them, with the answers among them.
fn page_of_a_tuning() -> PathBuf {
    let path = page("tuning.ndjson");
    let reading = |t: f64, rpm: f64| {
        format!(
            "{{\"event\":\"reading\",\"t_s\":{t},\"rpm\":{rpm},\"rpm_low\":null,\"rpm_high\":null,\"confidence\":1,\
             \"firing\":\"clean\",\"skip_ratio\":0.1}}\n"
        )
    };
    let prompt = |id: u32, t: f64, rest: &str| {
        format!(
            "{{\"event\":\"prompt\",\"t_s\":{t},\"id\":{id},\"step\":\"s\",\"say\":\"s\",\"urgent\":false,{rest}}}\n"
        )
    };
    let turn = |screw: &str, turns: f64| {
        format!(
            "\"throttle\":null,\"screw\":\"{screw}\",\"direction\":\"in\",\"turns\":{turns},\"from\":\"here\",\"ask\":null"
        )
    };
    let throttle = |word: &str| {
        format!(
            "\"throttle\":\"{word}\",\"screw\":null,\"direction\":null,\"turns\":null,\"from\":null,\"ask\":null"
        )
    };
    let mut text = String::from(
        "{\"event\":\"start\",\"schema\":\"engine-note/events/1\",\"hop_s\":0.1,\"lag_s\":0.2}\n",
    );
    text.push_str(&prompt(1, 0.0, &throttle("full")));
    (20..60).for_each(|at| text.push_str(&reading(f64::from(at) / 10.0, 8_350.0)));
    text.push_str(&prompt(2, 6.0, &turn("high", 0.125)));
    text.push_str(&prompt(3, 7.0, &turn("low", 0.25)));
    text.push_str("{\"t_s\":7.5,\"answer\":\"cannot\"}\n{\"something\":\"else\"}\n");
    (80..120).for_each(|at| text.push_str(&reading(f64::from(at) / 10.0, 9_350.0)));
    text.push_str(
        "{\"event\":\"result\",\"t_s\":13,\"verdict\":\"tuned\",\"proof\":[{\"line\":\"full throttle, rpm\",\"value\":9350,\
         \"low\":8800,\"high\":10200,\"within\":true},{\"line\":\"clutch-in, rpm\",\"value\":null,\"low\":3500,\"high\":null,\
         \"within\":null}],\"net_turns\":{\"high\":-0.125,\"low\":0,\"idle\":0},\"faults\":[]}\n",
    );
    fs::write(&path, text).unwrap();
    path
}

/// As much as a visit can hold, and in every text what would do harm if it were not escaped.
fn full(text: &str) -> (Machine, Visit) {
    let mut machine = Machine::new(
        text.chars()
            .take(100)
            .collect::<String>()
            .trim()
            .parse()
            .unwrap(),
    );
    machine.class = Some(Class::Trimmer);
    machine.profile = Class::Trimmer.profile();
    machine.profile.sources.idle = Some(engine_note::machine::Origin::Said(text.into()));
    assert!(machine.profile.knows(Figure::FullThrottle));
    let mut visit = Visit::on("2026-05-04".parse().unwrap());
    let long = format!("{text} ").repeat(30);
    visit.complaint = Some(long.clone());
    visit.notes = Some(long.clone());
    visit.fuel = Some(long.clone());
    visit.technician = Some(long.clone());
    visit.attachment = Some(long.clone());
    visit.air.temperature_c = Some(-12.5);
    visit.air.altitude_m = Some(2_650.0);
    let held = |rpm: f64| {
        Some(Held {
            rpm: Rpm(rpm),
            low: Some(Rpm(rpm - 120.0)),
            high: Some(Rpm(rpm + 120.0)),
        })
    };
    let measured = |how| Measured {
        how,
        idle: held(2_950.0),
        full_throttle: held(12_850.0),
        skip_ratio: Some(0.38),
        firing: Some(FiringKind::FourStroking),
    };
    visit.before = Some(measured(How::Heard));
    visit.after = Some(measured(How::Tuning));
    let screws = Screws {
        high: Some(1.125),
        low: Some(1.0625),
        idle: Some(2.25),
    };
    (visit.screws_found, visit.screws_left) = (screws, screws);
    for at in 0..25 {
        visit.checks.push(Check {
            what: long.clone(),
            found: if at % 2 == 0 {
                Finding::NotChecked
            } else {
                Finding::Words(long.clone())
            },
        });
        visit.moves.push(MoveMade {
            screw: Screw::Idle,
            direction: Direction::Out,
            turns: Turn::thirty_seconds(37),
            from: Reference::RichStop,
        });
        visit.proof.push(ProofLine {
            line: long.clone(),
            value: Some(12_345.0),
            low: Some(11_111.0),
            high: Some(12_000.0),
            within: [Some(false), Some(true), None][at % 3],
        });
        visit.faults.push(OutcomeFault {
            id: FaultId::ALL[at % FaultId::ALL.len()],
            why: long.clone(),
        });
        visit.clips.push(Clip {
            moment: Moment::During,
            path: long.clone(),
            sha256: Digest([at as u8; 32]),
        });
    }
    visit.verdict = Some(Verdict::Stopped);
    (machine, visit)
}

/// A stand-in for a picture: its size and its looks, not its content.
fn picture(title: &str) -> Picture {
    Picture {
        title: title.into(),
        words: "A stand-in for a picture: a line that rises from the lower left to the upper right".into(),
        svg: "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 800 320\"><rect width=\"800\" height=\"320\" fill=\"#fff\"/>\
              <path d=\"M10 310 L790 10\" stroke=\"#000\" stroke-width=\"4\"/></svg>"
            .into(),
    }
}

const HARM: [&str; 4] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "</title></style><script>alert(1)</script>",
    "javascript:alert(1)//' onload='alert(1)",
];

#[test]
fn what_would_do_harm_is_only_text() {
    for (at, harm) in HARM.into_iter().enumerate() {
        let (machine, visit) = full(harm);
        let text = Sheet::of_visit(&machine, &visit, Some(1)).page();
        fs::write(page(&format!("harm-{at}.html")), &text).unwrap();
        assert!(words(&text).contains(harm), "the tag is shown as it is");
        assert_eq!(text.matches("<script").count(), 0);
        assert_eq!(text.matches("<img").count(), 0);
        let inside_tags: String = text
            .split('<')
            .skip(1)
            .filter_map(|part| part.split_once('>'))
            .map(|(tag, _)| tag)
            .collect();
        for word in ["onerror", "onload", "javascript:"] {
            assert!(!inside_tags.contains(word), "{word} within a tag");
        }
        // One title, one style: neither was closed early.
        assert_eq!(
            (
                text.matches("</title>").count(),
                text.matches("</style>").count()
            ),
            (1, 1)
        );
    }
}

#[test]
fn the_fullest_sheet_and_the_emptiest_are_written_for_the_browser() {
    let clip = written(&["sheet", "fixtures/demo/saw-limiter.wav"], "saw.html");
    let svg = clip.find("<svg ").unwrap()..clip.find("</svg>").unwrap() + "</svg>".len();
    let drawn = |title: &str| Picture {
        svg: clip[svg.clone()].into(),
        ..picture(title)
    };
    let long_word = "Dampfschifffahrtsgesellschaftskapitänsmützenhalterung".repeat(2);
    for (name, text) in [
        ("full-words.html", "idles unevenly when warm and smokes"),
        ("full-long.html", long_word.as_str()),
    ] {
        let (machine, visit) = full(text);
        let sheet = Sheet::of_visit(&machine, &visit, Some(4_294_967_295));
        let text = sheet.page();
        assert!(
            text.contains(" more in the record"),
            "not everything fits, and it says so"
        );
        fs::write(page(name), text).unwrap();
        let both = sheet
            .clone()
            .with_picture(drawn("As found"))
            .with_picture(drawn("As left"));
        fs::write(page(&format!("drawn-{name}")), both.page()).unwrap();
        let both = sheet
            .with_picture(picture("As found"))
            .with_picture(picture("As left"));
        fs::write(page(&format!("pictures-{name}")), both.page()).unwrap();
    }
    let demo = demo();
    let entry = demo
        .visits
        .iter()
        .find(|entry| !entry.visit.moves.is_empty())
        .unwrap();
    let machine = demo
        .machines
        .iter()
        .find(|machine| machine.tag == entry.machine)
        .unwrap();
    let sheet = Sheet::of_visit(machine, &entry.visit, Some(5))
        .with_picture(picture("Crank speed and firing, as found"))
        .with_picture(picture("Crank speed and firing, as left"));
    let text = sheet.page();
    fs::write(page("pictures.html"), &text).unwrap();
    assert!(text.contains("aria-label=\"A stand-in for a picture"));
    let empty = Machine::new("saw 1".parse().unwrap());
    let visit = Visit::on("2026-05-04".parse().unwrap());
    let text = Sheet::of_visit(&empty, &visit, None).page();
    fs::write(page("empty.html"), &text).unwrap();
    let text = words(&text);
    for expected in [
        "Maker's idle: not known",
        "Maker's maximum: not known",
        "Pick-up from idle, return to idle, attachment still at idle, hot restart",
        "Filter, fuel, plug, screen, compression",
    ] {
        assert!(text.contains(expected), "`{expected}` is not in: {text}");
    }
}

#[test]
fn a_line_outside_its_limits_is_never_the_one_that_is_cut() {
    let (machine, mut visit) = full("plain");
    visit
        .proof
        .iter_mut()
        .for_each(|line| line.within = Some(true));
    let last = visit.proof.last_mut().unwrap();
    last.line = "hot restart, s".into();
    last.within = Some(false);
    let text = words(&Sheet::of_visit(&machine, &visit, None).page());
    assert!(
        text.contains("Result Hot restart, s 12,345 11,111 to 12,000 outside"),
        "{text}"
    );
}

/// A visit whose recordings are still there shows them; one that was moved, or is another recording by
/// now, is named on standard error and left out.
#[test]
fn the_recordings_of_a_visit_are_drawn_where_they_still_lie() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (book, before, after) = (place("book"), place("before.wav"), place("after.wav"));
    let demo = |name: &str| root().join("fixtures/demo").join(name);
    fs::copy(demo("trimmer-rich.wav"), &before).unwrap();
    fs::copy(demo("trimmer-set.wav"), &after).unwrap();
    let machine = ["--machine", "fixtures/demo/trimmer.toml"];
    let clips = ["--clip-before", &before, "--clip-after", &after];
    let add = ["book", "--book", &book, "add", "trimmer 4"];
    let output = run(&[&add[..], &machine, &clips].concat());
    assert_eq!(output.status.code(), Some(0));
    let sheet = ["sheet", "trimmer 4", "--book", &book];
    let both = written(&sheet, "drawn.html");
    assert_eq!(both.matches("<svg ").count(), 2);
    let text = words(&both);
    assert!(text.contains("As found: before.wav") && text.contains("As left: after.wav"));
    fs::remove_file(&before).unwrap();
    fs::copy(demo("trimmer-bog.wav"), &after).unwrap();
    let path = page("left-out.html");
    let output = run(&[&sheet[..], &["-o", path.to_str().unwrap()]].concat());
    assert_eq!(output.status.code(), Some(0));
    let told = String::from_utf8(output.stderr).unwrap();
    let lines: Vec<_> = told.lines().collect();
    assert_eq!(
        lines[..2],
        [
            format!("note: {before}: no longer there, so its picture is left out"),
            format!(
                "note: {after}: not the recording of that day any more, so its picture is left out"
            ),
        ]
    );
    assert_eq!(
        fs::read_to_string(path).unwrap().matches("<svg ").count(),
        0
    );
}

#[test]
fn a_page_needs_nothing_but_itself() {
    let (machine, visit) = full("plain");
    let text = Sheet::of_visit(&machine, &visit, None)
        .with_picture(picture("x"))
        .page();
    let outside_pictures = text.replace("http://www.w3.org/2000/svg", "");
    for word in ["http:", "https:", "//", "url(", "@import", "src="] {
        assert!(!outside_pictures.contains(word), "{word}");
    }
    assert!(text.contains("Content-Security-Policy\" content=\"default-src 'none'"));
}

#[test]
fn what_is_neither_clip_nor_visit_is_named() {
    let (_folder, book) = demo_book();
    let out = page("never.html");
    let out = out.to_str().unwrap();
    let cases: [(&str, i32, &str); 5] = [
        (
            "missing.wav",
            3,
            "error: missing.wav: no such file\nhint: name a clip, the events of a tuning, the number of a visit, or a machine's tag\n",
        ),
        (
            "77",
            2,
            "error: the job book has no visit 77\nhint: `engine-note book show TAG` shows the numbers\n",
        ),
        (
            "trimer 4",
            2,
            "error: the job book knows no machine `trimer 4`\nhint: did you mean `trimmer 4`?\n",
        ),
        (
            "fixtures/book/demo.json",
            3,
            "error: fixtures/book/demo.json: no event of a tuning in this file\nhint: `engine-note tune --events ndjson` writes such a file\n",
        ),
        ("Cargo.toml", 3, "error: Cargo.toml: this is a text file"),
    ];
    for (what, code, words) in cases {
        let output = run(&["sheet", what, "-o", out, "--book", &book]);
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.starts_with(words), "{what}: {told}");
        assert_eq!(output.status.code(), Some(code), "{what}");
    }
    assert!(!Path::new(out).exists());
    let output = run(&["sheet", "5", "-o", "no/such/folder/x.html", "--book", &book]);
    assert_eq!(output.status.code(), Some(3));
}
