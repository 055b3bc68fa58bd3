//! What people and programs are shown, from results made by hand: a scenario of our own, invented.
use engine_note::firing::{Firing, FiringKind, Pattern};
use engine_note::guide::{
    Advice, Caution, CautionId, Danger, DangerId, Direction, Fault, FaultId, Move, Question,
    Reason, ReasonId, Screw, Turn, Verdict,
};
use engine_note::machine::{Carburetor, Class, Profile};
use engine_note::reading::{
    Acceleration, Bog, Frame, Hang, Hunting, Plateau, Reading, Return, Span, SpanKind,
    UnreadableTime,
};
use engine_note::report::{
    ClipFacts, Format, FrameKeeper, Gatherer, Glyphs, Layout, Look, Notice, Renderer, Report, Rows,
    Trace, schema,
};
use engine_note::tach::{Speed, Unreadable};
use engine_note::units::{Decibels, Hertz, Rpm, Seconds};
use serde_json::Value;

const HOP: f64 = 0.016;

/// Idle, a snap at 4 s, full throttle until 8 s with four-stroking and then the limiter, back to idle.
fn frame(i: usize) -> Frame {
    let t = (i as f64 + 0.5) * HOP;
    let (rpm, kind) = match t {
        t if t < 0.5 => (None, FiringKind::None),
        t if t < 4.0 => (Some(2_850.0 + 40.0 * (t * 9.0).sin()), FiringKind::Clean),
        t if t < 4.4 => (
            Some(2_850.0 + (t - 4.0) / 0.4 * 6_550.0),
            FiringKind::Unclear,
        ),
        t if t < 6.5 => (
            Some(9_400.0 + 60.0 * (t * 31.0).sin()),
            FiringKind::FourStroking,
        ),
        t if t < 8.0 => (
            Some(10_600.0 + 200.0 * (t * 40.0).sin()),
            FiringKind::Limiter,
        ),
        t => (
            Some(2_850.0 + 7_700.0 * (-(t - 8.0) / 0.3).exp()),
            FiringKind::Clean,
        ),
    };
    let speed = rpm.ok_or(Unreadable::NoEngine).map(|rpm| Speed {
        rpm: Rpm(rpm),
        low: Rpm(rpm - 6.0),
        high: Rpm(rpm + 6.0),
        confidence: 0.97,
        other: None,
    });
    let skips = matches!(kind, FiringKind::FourStroking | FiringKind::Limiter);
    let firing = Firing {
        kind,
        skip_ratio: rpm.map(|_| if skips { 0.4 } else { 0.0 }),
        pattern: skips.then_some(Pattern::Irregular),
        sub_order: rpm.map(|_| Decibels(-12.0)),
        variation: rpm.map(|_| 0.1),
    };
    let level = Decibels(if rpm.is_some() {
        -18.0
    } else {
        f64::NEG_INFINITY
    });
    Frame {
        t: Seconds(t),
        speed,
        firing,
        level,
        clipped: 0.0,
    }
}

fn span(
    kind: SpanKind,
    start: f64,
    end: f64,
    speed: Option<(f64, f64)>,
    firing: FiringKind,
) -> Span {
    let moving = matches!(kind, SpanKind::Rising | SpanKind::Falling);
    Span {
        kind,
        start: Seconds(start),
        end: Seconds(end),
        rpm: speed.map(|(from, to)| Rpm(f64::midpoint(from, to))),
        rpm_low: speed.map(|(from, to)| Rpm(f64::midpoint(from, to) - 4.0)),
        rpm_high: speed.map(|(from, to)| Rpm(f64::midpoint(from, to) + 4.0)),
        spread_rpm: speed.map(|_| Rpm(30.0)),
        spread_pct: speed.map(|_| 0.9),
        from_rpm: speed.filter(|_| moving).map(|(from, _)| Rpm(from)),
        to_rpm: speed.filter(|_| moving).map(|(_, to)| Rpm(to)),
        firing,
        firing_share: 0.97,
        skip_ratio: speed.map(|_| {
            if firing == FiringKind::FourStroking {
                0.4
            } else {
                0.0
            }
        }),
        confidence: if speed.is_some() { 0.97 } else { 0.0 },
        other_rpm: None,
        unreadable: speed.is_none().then_some(Unreadable::NoEngine),
    }
}

fn plateau(rpm: f64, firing: FiringKind, skip_ratio: f64) -> Plateau {
    Plateau {
        held: Seconds(3.5),
        rpm: Rpm(rpm),
        rpm_low: Rpm(rpm - 4.0),
        rpm_high: Rpm(rpm + 4.0),
        spread_rpm: Rpm(30.0),
        spread_pct: 0.9,
        firing,
        firing_share: 0.97,
        skip_ratio: Some(skip_ratio),
        confidence: 0.97,
        other_rpm: None,
        clipped_pct: 0.0,
    }
}

fn reading() -> Reading {
    use FiringKind::{Clean, FourStroking, Limiter, None as NoFiring, Unclear};
    Reading {
        heard: Seconds(10.0),
        readable: Seconds(9.5),
        spans: vec![
            span(SpanKind::Stopped, 0.0, 0.5, None, NoFiring),
            span(SpanKind::Idle, 0.5, 4.0, Some((2_850.0, 2_850.0)), Clean),
            span(
                SpanKind::Rising,
                4.0,
                4.4,
                Some((2_850.0, 9_400.0)),
                Unclear,
            ),
            span(
                SpanKind::FullThrottle,
                4.4,
                6.5,
                Some((9_400.0, 9_400.0)),
                FourStroking,
            ),
            span(
                SpanKind::FullThrottle,
                6.5,
                8.0,
                Some((10_600.0, 10_600.0)),
                Limiter,
            ),
            span(
                SpanKind::Falling,
                8.0,
                9.2,
                Some((10_600.0, 2_900.0)),
                Clean,
            ),
            span(SpanKind::Idle, 9.2, 10.0, Some((2_870.0, 2_870.0)), Clean),
        ],
        idle: Some(plateau(2_854.0, Clean, 0.01)),
        full_throttle: Some(plateau(9_436.0, FourStroking, 0.38)),
        peak_rpm: Some(Rpm(10_800.0)),
        hunting: Some(Hunting {
            rate_hz: Hertz(1.4),
            depth_pct: 4.0,
            low_rpm: Rpm(2_740.0),
            high_rpm: Rpm(2_960.0),
            heard: Seconds(4.0),
            explained: 0.8,
        }),
        accelerations: vec![Acceleration {
            start: Seconds(4.0),
            from_rpm: Rpm(2_850.0),
            to_rpm: Rpm(9_400.0),
            rise: Seconds(0.4),
            bog: Some(Bog {
                dip_rpm: Rpm(300.0),
                lasts: Seconds(0.3),
            }),
            confidence: 0.9,
        }],
        returns: vec![Return {
            start: Seconds(8.0),
            from_rpm: Rpm(10_600.0),
            idle_rpm: Rpm(2_870.0),
            time: Seconds(1.2),
            hang: Some(Hang {
                plateau_rpm: Rpm(3_900.0),
                above_idle_rpm: Rpm(1_000.0),
                lasts: Seconds(0.6),
                to_the_end: false,
            }),
            confidence: 0.9,
        }],
        unreadable: vec![UnreadableTime {
            reason: Unreadable::NoEngine,
            time: Seconds(0.5),
        }],
        level_dbfs: Some(Decibels(-18.0)),
        ..Reading::default()
    }
}

/// One of everything that advice can hold, with words that only this test uses.
fn advice() -> Advice {
    Advice {
        verdict: Verdict::Danger,
        headline: "The headline comes first.".into(),
        dangers: vec![Danger {
            id: DangerId::OverMaximum,
            certain: true,
            why: "Why it is dangerous.".into(),
            act: "What to do at once.".into(),
        }],
        moves: vec![Move {
            screw: Screw::High,
            direction: Direction::Out,
            turns: Turn::EIGHTH,
            urgent: true,
            reasons: vec![Reason { id: ReasonId::OverMaximum, words: "The reading that it rests on.".into() }],
            say: "Turn the high-speed screw out an eighth of a turn, and then let the engine settle before listening again.".into(),
            listen_for: "what should be heard next.".into(),
            never: "what must not be done.".into(),
        }],
        faults: vec![Fault {
            id: FaultId::AirLeak,
            reason: ReasonId::Hunting,
            if_no_change: true,
            why: "The likeliest fault.".into(),
            check: "how to find out.".into(),
        }],
        notes: vec![Reason { id: ReasonId::IdleInRange, words: "Something else that was heard.".into() }],
        questions: vec![Question {
            key: "speeds.clutch_in".into(),
            ask: "At which speed does the clutch bite?".into(),
            because: "Without it the idle cannot be judged.".into(),
        }],
        recording: vec!["Hold the throttle open for longer.".into()],
        cautions: vec![Caution { id: CautionId::MakerFirst, words: "The maker's manual comes first.".into() }],
    }
}

fn report(path: &str, reading: Reading) -> Report {
    let (mut frames, mut trace) = (FrameKeeper::keeping(), Trace::default());
    for i in 0..625 {
        frames.push(&frame(i)).unwrap();
        trace.push(&frame(i));
    }
    let mut machine: Profile = Class::Trimmer.profile();
    machine.speeds.limiter = Some(Rpm(10_800.0));
    Report {
        schema: Layout::Reading1,
        clip: ClipFacts {
            path: path.into(),
            seconds: 10.0,
            sample_rate: 48_000,
            channels: 1,
        },
        machine,
        frames: frames.finish().unwrap(),
        reading,
        advice: advice(),
        warnings: vec![Notice {
            words: "what is wrong with the clip".into(),
            hint: "what to do about it".into(),
        }],
        trace,
    }
}

fn written(format: Format, several: bool, look: Look, reports: &[Report]) -> String {
    let mut out = vec![];
    let mut renderer = Renderer::new(&mut out, format, several, look);
    reports
        .iter()
        .for_each(|report| renderer.write(report).unwrap());
    renderer.finish().unwrap();
    String::from_utf8(out).unwrap()
}

fn text(look: Look) -> String {
    written(Format::Text, false, look, &[report("clip.wav", reading())])
}

#[test]
fn text_for_people() {
    insta::assert_snapshot!(text(Look::default()));
}

#[test]
fn frames_become_spans_and_advice_with_its_cautions() {
    let mut machine = Class::Trimmer.profile();
    machine.carburetor = Some(Carburetor::Butterfly);
    let mut gatherer = Gatherer::new(&machine, Format::Text);
    (0..625).for_each(|i| gatherer.push(&frame(i)).unwrap());
    let clip = ClipFacts {
        path: "clip.wav".into(),
        seconds: 10.0,
        sample_rate: 48_000,
        channels: 1,
    };
    let report = gatherer.finish(clip, vec![]).unwrap();
    assert!(report.heard_engine());
    assert!(!report.advice.cautions.is_empty());
    let text = written(Format::Text, false, Look::default(), &[report]);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "Heard an engine for ",
        "idle at ",
        "full throttle at ",
        "What to do",
        "Cautions",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
}

#[test]
fn cautions_stand_once_at_the_end_of_several_clips() {
    let reports = [report("a.wav", reading()), report("b.wav", reading())];
    let text = written(Format::Text, true, Look::default(), &reports);
    assert_eq!(text.matches("The maker's manual comes first.").count(), 1);
    assert!(
        text.trim_end().ends_with("The maker's manual comes first."),
        "{text}"
    );
    assert!(text.find("a.wav").unwrap() < text.find("b.wav").unwrap());
}

#[test]
fn a_kind_of_firing_that_is_not_heard_all_the_time_is_not_said_to_be() {
    let mut reading = reading();
    reading.full_throttle = Some(Plateau {
        firing_share: 0.58,
        ..plateau(9_436.0, FiringKind::Clean, 0.1)
    });
    reading.spans[3].firing_share = 0.58;
    let text = written(
        Format::Text,
        false,
        Look::default(),
        &[report("clip.wav", reading)],
    );
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("full throttle at 9,440 rpm, mostly firing clean."),
        "{text}"
    );
    assert!(text.contains("mostly four-stroking 40 %"), "{text}");
}

#[test]
fn text_in_a_narrow_terminal_without_braille() {
    let look = Look {
        width: 44,
        glyphs: Glyphs::Plain,
        ..Look::default()
    };
    let text = text(look);
    assert!(
        text.lines().all(|line| line.chars().count() <= 44),
        "{text}"
    );
    let drawn = text.split("What to do").next().unwrap();
    assert!(drawn.replace('±', "").is_ascii(), "{drawn}");
    insta::assert_snapshot!(text);
}

#[test]
fn colour_adds_nothing_to_the_words() {
    let coloured = text(Look {
        colour: true,
        ..Look::default()
    });
    assert!(coloured.contains("\u{1b}["));
    assert_eq!(console::strip_ansi_codes(&coloured), text(Look::default()));
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    for width in [40, 60, 79, 80, 100, 120] {
        for line in text(Look {
            width,
            ..Look::default()
        })
        .lines()
        {
            assert!(
                console::measure_text_width(line) <= width,
                "{width}: {line}"
            );
        }
    }
}

#[test]
fn no_engine_is_said_in_the_first_sentence_and_nothing_is_drawn() {
    let reading = Reading {
        heard: Seconds(10.0),
        unreadable: vec![UnreadableTime {
            reason: Unreadable::SteadyHum,
            time: Seconds(10.0),
        }],
        ..Reading::default()
    };
    let report = report("hum.wav", reading);
    assert!(!report.heard_engine());
    let text = written(Format::Text, false, Look::default(), &[report]);
    assert!(
        text.starts_with("No engine heard: a hum that never moves.\n"),
        "{text}"
    );
    assert!(!text.contains("rpm\n"));
}

#[test]
fn every_json_is_valid_by_its_schema() {
    let schema: Value = serde_json::from_str(&schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let valid = |text: &str| {
        let value: Value = serde_json::from_str(text).unwrap();
        let errors: Vec<_> = validator
            .iter_errors(&value)
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{errors:?}");
        value
    };
    let look = Look::default();
    let one = valid(&written(
        Format::Json,
        false,
        look,
        &[report("a.wav", reading())],
    ));
    assert_eq!(one["schema"], "engine-note/reading/1");
    assert_eq!(one["frames"].as_array().unwrap().len(), 625);
    assert_eq!(one["frames"][0]["level_dbfs"], Value::Null);
    assert_eq!(one["frames"][0]["unreadable"], "no-engine");
    assert_eq!(one["frames"][100]["firing"], "clean");
    let several = [
        report("a.wav", reading()),
        report("b.wav", Reading::default()),
    ];
    let list = valid(&written(Format::Json, true, look, &several));
    assert_eq!(list.as_array().unwrap().len(), 2);
    assert_eq!(
        valid(&written(Format::Json, true, look, &[])),
        Value::Array(vec![])
    );
    let lines = written(Format::Ndjson, true, look, &several);
    let paths: Vec<_> = lines
        .lines()
        .map(|line| valid(line)["clip"]["path"].clone())
        .collect();
    assert_eq!(paths, ["a.wav", "b.wav"]);
    // The schema refuses something at all.
    let mut wrong = one;
    wrong["frames"][3]["rpm"] = "fast".into();
    assert!(!validator.is_valid(&wrong));
}

#[test]
fn the_table_has_a_head_and_as_many_fields_in_every_row() {
    let table = written(
        Format::Csv(Rows::Frames),
        true,
        Look::default(),
        &[
            report("a, \"b\".wav", reading()),
            report("c.wav", reading()),
        ],
    );
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let head: Vec<String> = rows.headers().unwrap().iter().map(Into::into).collect();
    let json: Value = serde_json::from_str(&written(
        Format::Json,
        false,
        Look::default(),
        &[report("", reading())],
    ))
    .unwrap();
    let fields: Vec<&String> = json["frames"][0].as_object().unwrap().keys().collect();
    let mut sorted: Vec<&String> = head[1..].iter().collect();
    sorted.sort();
    assert_eq!(
        sorted, fields,
        "the table and the JSON name the same fields"
    );
    let records: Vec<_> = rows.records().collect::<Result<_, _>>().unwrap();
    assert_eq!(records.len(), 2 * 625);
    assert_eq!(&records[0][0], "a, \"b\".wav");
    assert_eq!(&records[625][0], "c.wav");
    assert_eq!(&records[100][6], "clean");
}
