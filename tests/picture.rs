//! Pictures: where the lines lie that they show, from closed forms; that the files are what their
//! names say; that memory stays bounded.
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use engine_note::capture::{Source, WORKING_RATE, open};
use engine_note::firing::{Firing, FiringKind};
use engine_note::machine::Profile;
use engine_note::reading::{Frame, Listener, Look};
use engine_note::report::{
    ClipFacts, Course, Drawing, Format, Gatherer, Report, Spectrogram, Theme,
};
use engine_note::tach::{Speed, Unreadable};
use engine_note::units::{Decibels, Hertz, Rpm, Seconds};

const RATE: f64 = WORKING_RATE as f64;
const HOP: usize = 128;
const CLIP: &str = "fixtures/demo/trimmer-rich.wav";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_engine-note"))
        .args(arguments)
        .current_dir(root())
        .output()
        .unwrap()
}

/// A frame that says a speed, whatever the sound.
fn frame(hop: usize, rpm: Option<f64>) -> Frame {
    Frame {
        t: Seconds((hop * HOP) as f64 / RATE),
        speed: rpm.ok_or(Unreadable::TooMuchNoise).map(|rpm| Speed {
            rpm: Rpm(rpm),
            low: Rpm(rpm * 0.99),
            high: Rpm(rpm * 1.01),
            confidence: 0.9,
            other: None,
        }),
        firing: Firing {
            kind: rpm.map_or(FiringKind::None, |_| FiringKind::Clean),
            skip_ratio: None,
            pattern: None,
            sub_order: None,
            variation: None,
        },
        level: Decibels(-20.0),
        clipped: 0.0,
    }
}

/// Noise that is the same each time: the linear congruential generator of Numerical Recipes (W. H.
/// Press and others, "Numerical Recipes", the quick one; from memory).
fn noise(state: &mut u32) -> f32 {
    *state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
    *state as f32 / u32::MAX as f32 - 0.5
}

/// A sum of partials at orders of a crank whose speed in rpm goes from one to another evenly, over
/// noise, with frames that say what `read` makes of the true speed.
fn course(
    seconds: f64,
    (from, to): (f64, f64),
    orders: &[f64],
    read: impl Fn(f64) -> Option<f64>,
) -> Course {
    let samples = (seconds * RATE) as usize;
    let mut state = 1;
    let sound: Vec<f32> = (0..samples)
        .map(|n| {
            let t = n as f64 / RATE;
            // The integral of the speed in turns a second.
            let turns = (from * t + (to - from) * t * t / (2.0 * seconds)) / 60.0;
            let partials = orders
                .iter()
                .map(|order| 0.1 * (std::f64::consts::TAU * order * turns).sin());
            partials.sum::<f64>() as f32 + 0.02 * noise(&mut state)
        })
        .collect();
    let mut spectrogram = Spectrogram::new();
    // In blocks of an odd size: where they end must not matter.
    for (at, block) in sound.chunks(997).enumerate() {
        spectrogram.hear(&[block.to_vec()]);
        let heard = (at * 997 + block.len()).saturating_sub(2_048) / HOP;
        let before = (at * 997).saturating_sub(2_048) / HOP;
        for hop in before..heard {
            let speed = from + (to - from) * (hop * HOP) as f64 / samples as f64;
            spectrogram.push(&frame(hop, read(speed)));
        }
    }
    for hop in samples.saturating_sub(2_048) / HOP..samples.div_ceil(HOP) {
        let speed = from + (to - from) * (hop * HOP) as f64 / samples as f64;
        spectrogram.push(&frame(hop, read(speed)));
    }
    spectrogram.finish()
}

/// Height at an order in dB, mean over the columns away from the ends.
fn height(course: &Course, order: f64) -> f64 {
    let columns = course.columns();
    let inner = &columns[columns.len() / 10..columns.len() * 9 / 10];
    let sum: f64 = inner
        .iter()
        .map(|column| column.height_at_order(order).unwrap().0)
        .sum();
    sum / inner.len() as f64
}

/// Steady or on a ramp of a doubling a second, the orders of the sound stand straight at their rows and
/// nothing stands between them.
#[test]
fn orders_lie_straight_where_the_speed_is_right() {
    for speeds in [(3_000.0, 3_000.0), (9_000.0, 9_000.0), (3_000.0, 9_000.0)] {
        let course = course(2.0, speeds, &[1.0, 2.0, 3.0, 4.0], Some);
        for order in [1.0, 2.0, 3.0, 4.0] {
            let found = height(&course, order);
            assert!(found > 14.0, "{speeds:?}: order {order} at {found} dB");
        }
        for order in [0.5, 1.5, 2.5, 3.5, 4.5] {
            let found = height(&course, order);
            assert!(found < 8.0, "{speeds:?}: order {order} at {found} dB");
        }
    }
}

/// An engine that fires every second turn shows halves; every third turn, thirds.
#[test]
fn sub_orders_stand_between_the_whole_orders() {
    let halves: Vec<f64> = (1..=8).map(|n| f64::from(n) / 2.0).collect();
    let course_of_halves = course(2.0, (9_000.0, 9_000.0), &halves, Some);
    for order in &halves {
        let found = height(&course_of_halves, *order);
        assert!(found > 12.0, "order {order} at {found} dB");
    }
    let thirds: Vec<f64> = (1..=12).map(|n| f64::from(n) / 3.0).collect();
    let course_of_thirds = course(2.0, (9_000.0, 9_000.0), &thirds, Some);
    for order in [1.0 / 3.0, 2.0 / 3.0, 1.0, 4.0 / 3.0] {
        let found = height(&course_of_thirds, order);
        assert!(found > 12.0, "order {order} at {found} dB");
    }
    assert!(height(&course_of_thirds, 0.5) < 8.0);
}

/// A reading at half the truth leaves the odd orders empty; one at double the truth puts lines
/// between. The lines by frequency are the same, whatever was read.
#[test]
fn a_wrong_octave_is_seen() {
    let orders = [1.0, 2.0, 3.0, 4.0];
    let half = course(2.0, (9_000.0, 9_000.0), &orders, |rpm| Some(rpm / 2.0));
    assert!(height(&half, 2.0) > 14.0 && height(&half, 4.0) > 14.0);
    assert!(height(&half, 1.0) < 8.0 && height(&half, 3.0) < 8.0);
    let double = course(2.0, (4_500.0, 4_500.0), &orders, |rpm| Some(rpm * 2.0));
    assert!(height(&double, 0.5) > 14.0 && height(&double, 1.5) > 14.0);
    let right = course(2.0, (9_000.0, 9_000.0), &orders, Some);
    let by_frequency = |course: &Course| -> Vec<Vec<f32>> {
        let columns = course.columns().iter();
        columns.map(|c| c.by_frequency().collect()).collect()
    };
    assert_eq!(by_frequency(&half), by_frequency(&right));
}

/// Where nothing was read there is no order, and the frequencies still show what sounded: four partials
/// of 150 Hz.
#[test]
fn what_was_refused_is_still_shown_by_frequency() {
    let course = course(2.0, (9_000.0, 9_000.0), &[1.0, 2.0, 3.0, 4.0], |_| None);
    for column in &course.columns()[20..100] {
        assert_eq!(column.height_at_order(1.0), None);
        assert_eq!(column.refused(), Some(Unreadable::TooMuchNoise));
        for hertz in [150.0, 300.0, 450.0, 600.0] {
            let found = column.height_at(Hertz(hertz)).unwrap().0;
            assert!(found > 14.0, "{hertz} Hz at {found} dB");
        }
        for hertz in [224.0, 376.0, 524.0] {
            let found = column.height_at(Hertz(hertz)).unwrap().0;
            assert!(found < 10.0, "{hertz} Hz at {found} dB");
        }
    }
}

/// The whole way from the samples of a demo clip on, against the truth that its scene was rendered with:
/// each column holds the speed of its own moment, and the orders lie where that speed says.
#[test]
fn the_course_of_a_known_engine_agrees_with_its_truth() {
    let source = Source::File(root().join("fixtures/demo/trimmer-clean.wav"));
    let mut clip = open(&source).unwrap();
    let (rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    let mut listener = Listener::new(rate, channels, &Profile::default(), Look::Ahead).unwrap();
    let (mut spectrogram, mut frames, mut block) = (Spectrogram::new(), vec![], vec![]);
    while clip.next_block(&mut block).unwrap() {
        listener.push(&block, &mut frames);
        spectrogram.hear(listener.sound());
        frames.drain(..).for_each(|frame| spectrogram.push(&frame));
    }
    listener.finish(&mut frames);
    spectrogram.hear(listener.sound());
    frames.drain(..).for_each(|frame| spectrogram.push(&frame));
    let course = spectrogram.finish();
    let truth = fs::read_to_string(root().join("fixtures/demo/trimmer-clean.truth.json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
    let rows = truth["rows"].as_array().unwrap();
    let length = truth["seconds"].as_f64().unwrap();
    let (begin, end) = course.extent().unwrap();
    assert!(
        begin.0.abs() <= 0.0081 && (end.0 - length).abs() < 0.017,
        "{begin} {end}"
    );
    let columns = course.columns();
    let (mut compared, mut right, mut straight) = (0, 0, 0);
    for (at, column) in columns.iter().enumerate() {
        let t = begin.0 + (at as f64 + 0.5) * course.each().0;
        // A row holds for the 10 ms around its time.
        let Some(row) = rows.get((t * 100.0) as usize) else {
            continue;
        };
        if row["steady"] != true || t < 0.3 || t > length - 0.3 {
            continue;
        }
        compared += 1;
        let Some(speed) = column.speed() else {
            continue;
        };
        let (low, high) = column.interval().unwrap();
        assert!(low <= speed && speed <= high);
        right += u32::from((speed.0 / row["rpm"].as_f64().unwrap() - 1.0).abs() < 0.02);
        let height = |order: f64| column.height_at_order(order).unwrap().0;
        straight += u32::from(height(2.0) > 10.0 && height(2.0) > height(1.5) + 6.0);
    }
    assert!(compared > 200, "{compared} columns of steady running");
    let share = |count: u32| f64::from(count) / f64::from(compared);
    assert!(
        share(right) > 0.95,
        "{right} of {compared} with the true speed"
    );
    assert!(
        share(straight) > 0.9,
        "{straight} of {compared} with order 2 on its row"
    );
}

/// The columns stay bounded, each frame lies in one of them, and a change stays where it was.
#[test]
fn columns_stay_bounded_whatever_the_length() {
    let mut spectrogram = Spectrogram::new();
    let block = vec![vec![0.01f32; HOP]];
    let hops = 20_000;
    for hop in 0..hops {
        spectrogram.hear(&block);
        spectrogram.push(&frame(hop, (hop < hops / 2).then_some(6_000.0)));
    }
    let course = spectrogram.finish();
    let columns = course.columns();
    assert!(
        (1_024..=2_048).contains(&columns.len()),
        "{}",
        columns.len()
    );
    assert_eq!(
        columns.iter().map(|c| c.frames as usize).sum::<usize>(),
        hops
    );
    assert_eq!(course.frames_each(), 16);
    assert!((course.each().0 - 16.0 * 0.016).abs() < 1e-9);
    let middle = columns.len() / 2;
    assert!(columns[..middle - 1].iter().all(|c| c.refused().is_none()));
    assert!(columns[middle + 1..].iter().all(|c| c.refused().is_some()));
}

fn report(course: &mut Spectrogram, path: &str) -> Report {
    let mut gatherer = Gatherer::new(&Profile::default(), Format::Text);
    for hop in 0..300 {
        let read = frame(hop, (hop > 100).then_some(3_000.0));
        course.hear(&[vec![0.01; HOP]]);
        course.push(&read);
        gatherer.push(&read).unwrap();
    }
    let clip = ClipFacts {
        path: path.into(),
        seconds: 4.8,
        sample_rate: 48_000,
        channels: 1,
    };
    gatherer.finish(clip, vec![]).unwrap()
}

/// A reader of XML that knows what an SVG of ours uses: each tag is closed, in order; names and
/// attributes are well formed; nothing is left over.
fn tags(svg: &str) -> Vec<String> {
    let (mut open, mut all, mut rest) = (vec![], vec![], svg.trim());
    assert!(rest.starts_with("<svg "));
    while let Some(at) = rest.find('<') {
        assert!(!rest[..at].contains('>'), "text with a bare bracket");
        for entity in rest[..at].split('&').skip(1) {
            let known = ["amp;", "lt;", "gt;", "quot;", "apos;"];
            assert!(
                known.iter().any(|name| entity.starts_with(name)),
                "{entity}"
            );
        }
        let end = at + rest[at..].find('>').expect("a tag ends");
        let tag = &rest[at + 1..end];
        assert!(!tag.contains('<'), "{tag}");
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "closed in order");
        } else {
            assert_eq!(tag.matches('"').count() % 2, 0, "{tag}");
            let name: String = tag
                .chars()
                .take_while(char::is_ascii_alphanumeric)
                .collect();
            assert!(!name.is_empty(), "{tag}");
            all.push(name.clone());
            if !tag.ends_with('/') {
                open.push(name);
            }
        }
        rest = &rest[end + 1..];
    }
    assert!(open.is_empty() && rest.trim().is_empty(), "{open:?} {rest}");
    all
}

/// Needs nothing else, is no heap of rectangles, and holds its words, whatever the clip is called.
#[test]
fn an_svg_stands_alone_and_is_well_formed() {
    let mut spectrogram = Spectrogram::new();
    let report = report(&mut spectrogram, "a<script>&\"'\u{1}.wav");
    let course = spectrogram.finish();
    let drawing = Drawing::new(&course, &report);
    for theme in [None, Some(Theme::Light), Some(Theme::Dark)] {
        let svg = drawing.svg(theme).unwrap();
        let tags = tags(&svg);
        assert!(tags.len() < 3_000, "{} tags", tags.len());
        assert_eq!(tags.iter().filter(|tag| *tag == "image").count(), 2);
        assert_eq!(tags[1..3], ["title", "desc"]);
        assert!(!tags.contains(&"script".to_string()));
        assert!(svg.contains("<title>a&lt;script&gt;&amp;\"'\u{fffd}.wav (4.8 s)</title>"));
        assert!(svg.contains("<desc>Heard an engine for 3.2 of 4.8 s: "));
        let outside = svg.replace("http://www.w3.org/2000/svg", "");
        for word in ["http:", "https:", "url(", "@import", "javascript"] {
            assert!(!outside.contains(word), "{word}");
        }
        assert_eq!(
            svg.contains("<style>"),
            theme.is_none(),
            "only without a theme it adapts"
        );
    }
    let sheet = drawing.for_sheet("As found: a.wav".into()).unwrap();
    tags(&sheet.svg);
    assert!(
        sheet
            .words
            .starts_with("Heard an engine for 3.2 of 4.8 s: ")
    );
}

#[test]
fn a_png_has_its_size_and_its_theme() {
    let mut spectrogram = Spectrogram::new();
    let report = report(&mut spectrogram, "a.wav");
    let course = spectrogram.finish();
    let drawing = Drawing::new(&course, &report);
    for (theme, ground) in [(Theme::Light, 0xff), (Theme::Dark, 0x16)] {
        let bytes = drawing.png(theme).unwrap();
        assert!(bytes.len() < 200_000, "{} bytes", bytes.len());
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut pixels).unwrap();
        assert_eq!((info.width, info.height), Drawing::PNG_SIZE);
        // A picture has few colours, of which the last bits may give way to a palette.
        assert!(pixels[..3].iter().all(|v| v.abs_diff(ground) < 8));
        // Letters and lines: the most different from the ground that there is.
        let ink = pixels
            .chunks(3)
            .filter(|p| p.iter().all(|v| v.abs_diff(ground) > 200));
        assert!(ink.count() > 5_000);
    }
}

/// Nothing was heard at all, or next to nothing: there is a picture all the same.
#[test]
fn a_clip_of_no_frames_or_one_has_a_picture() {
    for frames in [0, 1, 2] {
        let mut spectrogram = Spectrogram::new();
        let mut gatherer = Gatherer::new(&Profile::default(), Format::Text);
        for hop in 0..frames {
            spectrogram.hear(&[vec![0.0; HOP], vec![0.0; HOP]]);
            spectrogram.push(&frame(hop, None));
            gatherer.push(&frame(hop, None)).unwrap();
        }
        let clip = ClipFacts {
            path: "-".into(),
            seconds: 0.0,
            sample_rate: 48_000,
            channels: 2,
        };
        let report = gatherer.finish(clip, vec![]).unwrap();
        let course = spectrogram.finish();
        let drawing = Drawing::new(&course, &report);
        tags(&drawing.svg(None).unwrap());
        assert!(!drawing.png(Theme::Light).unwrap().is_empty());
    }
}

#[test]
fn the_program_draws_what_it_reads() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (svg, png) = (place("a.svg"), place("a.PNG"));
    let plain = run(&["read", CLIP]);
    for file in [&svg, &png] {
        let output = run(&["read", CLIP, "--picture", file]);
        assert_eq!(output.status.code(), Some(0));
        assert_eq!(output.stdout, plain.stdout, "the reading is the same");
        assert_eq!(output.stderr, b"");
    }
    let text = fs::read_to_string(&svg).unwrap();
    tags(&text);
    assert!(text.contains("four-stroking") && text.contains("Crank speed, rpm"));
    assert!(text.len() < 250_000, "{} bytes", text.len());
    assert!(fs::read(&png).unwrap().starts_with(b"\x89PNG\r\n\x1a\n"));
    let dark = run(&["read", CLIP, "--picture", &svg, "--picture-theme", "dark"]);
    assert_eq!(dark.status.code(), Some(0));
    assert_ne!(fs::read_to_string(&svg).unwrap(), text);
}

/// Several clips: a folder, a name for each, two of the same name apart.
#[test]
fn several_clips_are_drawn_into_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let clips = folder.path().join("clips");
    for name in ["one/a.wav", "two/a.wav", "b.wav"] {
        fs::create_dir_all(clips.join(name).parent().unwrap()).unwrap();
        fs::copy(root().join(CLIP), clips.join(name)).unwrap();
    }
    let clips = clips.to_string_lossy().into_owned();
    let into = place("pictures");
    let output = run(&["read", &clips, "--picture", &into, "--format", "ndjson"]);
    assert_eq!(output.status.code(), Some(0));
    let mut names: Vec<_> = fs::read_dir(&into)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["a.wav-2.svg", "a.wav.svg", "b.wav.svg"]);
    // One that cannot be written is named, and the others are drawn.
    let taken = Path::new(&into).join("a.wav.svg");
    fs::remove_file(&taken).unwrap();
    fs::create_dir(&taken).unwrap();
    let output = run(&["read", &clips, "--picture", &into, "--format", "ndjson"]);
    assert_eq!(output.status.code(), Some(3));
    let told = String::from_utf8(output.stderr).unwrap();
    let line = format!("error: cannot write `{}`: is a directory", taken.display());
    assert!(told.contains(&line), "{told}");
    assert_eq!(
        output.stdout.iter().filter(|byte| **byte == b'\n').count(),
        3
    );
    let one = run(&["read", &clips, "--picture", &place("x.svg")]);
    assert_eq!(one.status.code(), Some(2));
    let told = String::from_utf8(one.stderr).unwrap();
    assert!(
        told.contains("one file for several clips\nhint: name a folder"),
        "{told}"
    );
}

#[test]
fn a_picture_that_cannot_be_written_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder
        .path()
        .join("clip.svg")
        .to_string_lossy()
        .into_owned();
    fs::copy(root().join(CLIP), &copy).unwrap();
    let cases: [(&str, &str, i32, &str); 4] = [
        (
            CLIP,
            "picture.gif",
            2,
            "error: --picture picture.gif: not a name of a picture\nhint: ",
        ),
        (
            CLIP,
            "picture",
            2,
            "error: --picture picture: not a name of a picture\nhint: ",
        ),
        (
            CLIP,
            "no/such/folder/a.svg",
            3,
            "error: cannot write `no/such/folder/a.svg`: no such file or directory\nhint: ",
        ),
        (
            &copy,
            &copy,
            2,
            "error: --picture names a clip that is to be read\nhint: ",
        ),
    ];
    for (clip, picture, code, words) in cases {
        let output = run(&["read", clip, "--picture", picture]);
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.starts_with(words), "{picture}: {told}");
        assert_eq!(output.status.code(), Some(code), "{picture}");
        assert_eq!(output.stdout, b"", "told before anything is read");
    }
    // Only the writing itself shows that it fails: the reading stands all the same.
    let output = run(&["read", CLIP, "--picture", "/dev/full/a.svg"]);
    assert_eq!(output.status.code(), Some(3));
    let theme = run(&["read", CLIP, "--picture-theme", "dark"]);
    assert_eq!(theme.status.code(), Some(2));
}

/// A full disk, by the device that is always full.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_leaves_the_reading() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("full.svg");
    std::os::unix::fs::symlink("/dev/full", &place).unwrap();
    let output = run(&["read", CLIP, "--picture", &place.to_string_lossy()]);
    assert_eq!(output.status.code(), Some(3));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("no space left on device"), "{told}");
    assert!(!output.stdout.is_empty());
}
