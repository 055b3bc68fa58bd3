//! Real recordings with annotated speed and firing, and real recordings without an engine
//! (fixtures/recordings: ESC-10, K. J. Piczak 2015, doi:10.1145/2733373.2806390; the annotations are
//! ours and stand apart from the code under test).
//!
//! How it is scored:
//! - A point is right when the frame nearest to it is within the larger of its tolerance and 2 %. A
//!   frame without a speed is wrong. Points where the annotation allows a second speed are left out.
//! - An octave error is a wrong point within 5 % of 1/2, 1/3, 1/4, 2 or 3 times the truth.
//! - Firing: frames in segments labelled `clean` or `skipping`, 0.1 s away from the segment's edges.
//!   A frame that is not readable or unclear is wrong.
//! - `2-50667-B` after 3.1 s is left out: mains hum lies on the idle.
//! - In clips without an engine each frame with a speed counts against us.
//!
//! `cargo test --test recordings -- --nocapture` prints every wrong point and a table
//! of every clip.
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use engine_note::capture::{Source, open};
use engine_note::firing::FiringKind;
use engine_note::machine::Profile;
use engine_note::reading::{Frame, Listener, Look};
use serde::Deserialize;

/// Least tolerance of a point, as a ratio.
const TOLERANCE: f64 = 0.02;
/// How near to a multiple of the truth an octave error lies, as a ratio.
const NEAR_MULTIPLE: f64 = 0.05;
/// Seconds at the edges of a segment that are not scored.
const EDGE: f64 = 0.1;
/// The stretch with hum on it.
const HUM: (&str, f64) = ("2-50667-B.ogg", 3.1);

#[derive(Deserialize)]
struct Annotation {
    clip: String,
    duration_s: f64,
    points: Vec<Point>,
    segments: Vec<Segment>,
}

#[derive(Deserialize)]
struct Point {
    t: f64,
    rpm: f64,
    tol_pct: f64,
    #[serde(default)]
    ambiguous_alt_rpm: Vec<f64>,
}

#[derive(Deserialize)]
struct Segment {
    t0: f64,
    t1: f64,
    label: Label,
}

#[derive(Clone, Copy, Deserialize, PartialEq)]
#[serde(rename_all = "lowercase")]
enum Label {
    Clean,
    Skipping,
    Unclear,
    Unreadable,
    Silent,
}

/// Counts over one clip or all of them.
#[derive(Clone, Copy, Default)]
struct Score {
    points: usize,
    right: usize,
    octave: usize,
    unread: usize,
    firing: usize,
    firing_right: usize,
    frames: usize,
    with_speed: usize,
}

impl Score {
    fn add(&mut self, other: &Score) {
        self.points += other.points;
        self.right += other.right;
        self.octave += other.octave;
        self.unread += other.unread;
        self.firing += other.firing;
        self.firing_right += other.firing_right;
        self.frames += other.frames;
        self.with_speed += other.with_speed;
    }
}

fn percent(part: usize, whole: usize) -> f64 {
    100.0 * part as f64 / whole as f64
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/recordings")
}

fn annotations() -> Vec<Annotation> {
    let text = std::fs::read_to_string(folder().join("annotations.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

fn clips(kind: &str) -> Vec<PathBuf> {
    let mut clips: Vec<PathBuf> = std::fs::read_dir(folder().join(kind))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    clips.sort();
    clips
}

fn frames(path: &Path) -> Vec<Frame> {
    let mut clip = open(&Source::File(path.into())).unwrap();
    let (rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    let mut listener = Listener::new(rate, channels, &Profile::default(), Look::Ahead).unwrap();
    let (mut block, mut frames) = (Vec::new(), Vec::new());
    while clip.next_block(&mut block).unwrap() {
        listener.push(&block, &mut frames);
    }
    listener.finish(&mut frames);
    frames
}

/// Reads all of them, as many at a time as there are cores, in order.
fn read_all(paths: &[PathBuf]) -> Vec<Vec<Frame>> {
    let next = AtomicUsize::new(0);
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let results: Vec<OnceLock<Vec<Frame>>> = paths.iter().map(|_| OnceLock::new()).collect();
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                while let Some(i) =
                    Some(next.fetch_add(1, Ordering::Relaxed)).filter(|i| *i < paths.len())
                {
                    results[i]
                        .set(frames(&paths[i]))
                        .expect("each clip is read once");
                }
            });
        }
    });
    results
        .into_iter()
        .map(|r| r.into_inner().expect("each clip was read"))
        .collect()
}

fn score(annotation: &Annotation, frames: &[Frame]) -> Score {
    let mut score = Score {
        frames: frames.len(),
        ..Score::default()
    };
    score.with_speed = frames.iter().filter(|f| f.speed.is_ok()).count();
    let counts = |t: f64| annotation.clip != HUM.0 || t < HUM.1;
    for point in annotation
        .points
        .iter()
        .filter(|p| p.ambiguous_alt_rpm.is_empty() && counts(p.t))
    {
        let apart = |f: &Frame| (f.t.0 - point.t).abs();
        let nearest = frames
            .iter()
            .min_by(|a, b| apart(a).total_cmp(&apart(b)))
            .expect("a clip has frames");
        score.points += 1;
        let Ok(speed) = &nearest.speed else {
            score.unread += 1;
            continue;
        };
        let ratio = speed.rpm.0 / point.rpm;
        let wrong = |what: &str| {
            println!(
                "wrong: {} at {:.1} s: {:.0} rpm instead of {:.0} ± {} % ({:+.1} %){what}",
                annotation.clip,
                point.t,
                speed.rpm.0,
                point.rpm,
                point.tol_pct,
                100.0 * (ratio - 1.0)
            );
        };
        if (ratio - 1.0).abs() <= TOLERANCE.max(point.tol_pct / 100.0) {
            score.right += 1;
        } else if [1.0 / 4.0, 1.0 / 3.0, 0.5, 2.0, 3.0]
            .iter()
            .any(|m| (ratio / m - 1.0).abs() < NEAR_MULTIPLE)
        {
            wrong(", an octave error");
            score.octave += 1;
        } else {
            wrong("");
        }
    }
    for segment in annotation
        .segments
        .iter()
        .filter(|s| matches!(s.label, Label::Clean | Label::Skipping))
    {
        let inside =
            |f: &&Frame| f.t.0 >= segment.t0 + EDGE && f.t.0 <= segment.t1 - EDGE && counts(f.t.0);
        for frame in frames.iter().filter(inside) {
            let right = match frame.firing.kind {
                FiringKind::Clean => segment.label == Label::Clean,
                FiringKind::FourStroking | FiringKind::Limiter => segment.label == Label::Skipping,
                FiringKind::Unclear | FiringKind::None => false,
            };
            score.firing += 1;
            score.firing_right += usize::from(right);
        }
    }
    score
}

/// All saws: the sum, and the table printed once.
fn saws() -> &'static Score {
    static SAWS: OnceLock<Score> = OnceLock::new();
    SAWS.get_or_init(|| {
        let annotations = annotations();
        let paths: Vec<PathBuf> = annotations
            .iter()
            .map(|a| folder().join("saw").join(&a.clip))
            .collect();
        let mut all = Score::default();
        println!(
            "| clip | points | right % | octave errors | not read | firing frames | right % |"
        );
        println!("| --- | --- | --- | --- | --- | --- | --- |");
        let line = |name: &str, s: &Score| {
            let firing = if s.firing == 0 {
                "-".into()
            } else {
                format!("{:.1}", percent(s.firing_right, s.firing))
            };
            let right = percent(s.right, s.points);
            println!(
                "| {name} | {} | {right:.1} | {} | {} | {} | {firing} |",
                s.points, s.octave, s.unread, s.firing
            );
        };
        for (annotation, frames) in annotations.iter().zip(read_all(&paths)) {
            let s = score(annotation, &frames);
            line(annotation.clip.trim_end_matches(".ogg"), &s);
            all.add(&s);
        }
        line("all", &all);
        all
    })
}

#[test]
fn points_are_right_within_their_tolerance() {
    let s = saws();
    let right = percent(s.right, s.points);
    // To reach: 95 %. Measured: 93.1 % (1 % of the points are octave errors). The floor
    // is what holds today and only ever goes up.
    assert!(right >= 93.0, "{right:.2} % of {} points", s.points);
}

#[test]
fn octave_errors_are_rare() {
    let s = saws();
    let errors = percent(s.octave, s.points);
    assert!(errors < 1.0, "{errors:.2} % of {} points", s.points);
}

#[test]
fn clean_is_told_from_skipping() {
    let s = saws();
    let right = percent(s.firing_right, s.firing);
    assert!(right >= 95.0, "{right:.2} % of {} frames", s.firing);
}

#[test]
fn no_speed_is_read_where_no_engine_runs() {
    let paths = clips("other");
    let mut all = Score::default();
    println!("| clip without an engine | frames | with a speed |");
    println!("| --- | --- | --- |");
    for (path, frames) in paths.iter().zip(read_all(&paths)) {
        let with_speed = frames.iter().filter(|f| f.speed.is_ok()).count();
        println!(
            "| {} | {} | {with_speed} |",
            path.file_stem().unwrap().display(),
            frames.len()
        );
        all.add(&Score {
            frames: frames.len(),
            with_speed,
            ..Score::default()
        });
    }
    let share = percent(all.with_speed, all.frames);
    println!(
        "| all | {} | {} ({share:.2} %) |",
        all.frames, all.with_speed
    );
    assert!(share <= 1.0, "{share:.2} % of {} frames", all.frames);
}

#[test]
fn every_clip_has_its_author_and_licence_and_is_scored() {
    let text = std::fs::read_to_string(folder().join("ATTRIBUTION.tsv")).unwrap();
    let mut named = BTreeSet::new();
    for line in text.lines().skip(1) {
        let fields: Vec<&str> = line.split('\t').collect();
        let [clip, number, author, licence] = fields[..] else {
            panic!("four fields: {line}")
        };
        assert!(number.parse::<u32>().is_ok(), "{line}");
        assert!(!author.is_empty(), "{line}");
        assert!(["CC0 1.0", "CC BY 3.0"].contains(&licence), "{line}");
        assert!(named.insert(clip.to_owned()), "twice: {clip}");
    }
    let shipped = ["saw", "other"].into_iter().flat_map(|kind| {
        clips(kind)
            .into_iter()
            .map(move |path| format!("{kind}/{}", path.file_name().unwrap().display()))
    });
    assert_eq!(shipped.collect::<BTreeSet<_>>(), named);
    let annotated: BTreeSet<String> = annotations()
        .iter()
        .map(|a| format!("saw/{}", a.clip))
        .collect();
    let saws: BTreeSet<String> = named
        .iter()
        .filter(|c| c.starts_with("saw/"))
        .cloned()
        .collect();
    assert_eq!(annotated, saws);
    assert_eq!((saws.len(), named.len()), (16, 38));
}

#[test]
fn segments_cover_each_saw_clip() {
    for annotation in annotations() {
        let mut at = 0.0;
        for segment in &annotation.segments {
            assert!(
                (segment.t0 - at).abs() < 1e-9,
                "{}: gap at {at} s",
                annotation.clip
            );
            at = segment.t1;
        }
        assert!(
            (at - annotation.duration_s).abs() < 0.02,
            "{} ends at {at} s",
            annotation.clip
        );
    }
}
