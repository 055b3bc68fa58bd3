//! Spans and what they show, on series of frames written down as formulas: the truth is the
//! formula, each tolerance follows from the way the series is made.
use engine_note::firing::{Firing, FiringKind};
use engine_note::machine::{Class, Profile};
use engine_note::reading::{Frame, Reading, SpanKind, Spans};
use engine_note::tach::{Speed, Unreadable};
use engine_note::units::{Decibels, Rpm, Seconds};
use proptest::prelude::*;

const HOP: f64 = 0.016;

fn frame(t: f64, rpm: f64) -> Frame {
    Frame {
        t: Seconds(t),
        speed: Ok(Speed {
            rpm: Rpm(rpm),
            low: Rpm(rpm * 0.998),
            high: Rpm(rpm * 1.002),
            confidence: 0.95,
            other: None,
        }),
        firing: Firing {
            kind: FiringKind::Clean,
            skip_ratio: Some(0.0),
            pattern: None,
            sub_order: None,
            variation: None,
        },
        level: Decibels(-20.0),
        clipped: 0.0,
    }
}

fn silent(t: f64, reason: Unreadable) -> Frame {
    Frame {
        speed: Err(reason),
        firing: Firing {
            kind: FiringKind::None,
            skip_ratio: None,
            pattern: None,
            sub_order: None,
            variation: None,
        },
        level: Decibels(-70.0),
        ..frame(t, 1.0)
    }
}

/// Frames of `seconds` whose speed is a function of time; none is silence.
fn read_with(
    machine: &Profile,
    seconds: f64,
    rpm: impl Fn(f64) -> Option<f64>,
    change: impl Fn(f64, &mut Frame),
) -> Reading {
    let mut spans = Spans::new(machine);
    let mut k = 0.0;
    while (k + 0.5) * HOP < seconds {
        let t = (k + 0.5) * HOP;
        let mut f = match rpm(t) {
            Some(rpm) => frame(t, rpm),
            None => silent(t, Unreadable::Silence),
        };
        change(t, &mut f);
        spans.push(&f);
        k += 1.0;
    }
    spans.finish()
}

fn read(seconds: f64, rpm: impl Fn(f64) -> Option<f64>) -> Reading {
    read_with(&Profile::default(), seconds, rpm, |_, _| {})
}

fn kinds(reading: &Reading) -> Vec<SpanKind> {
    reading.spans.iter().map(|s| s.kind).collect()
}

/// Straight lines through points of time and speed.
fn through(points: &'static [(f64, f64)]) -> impl Fn(f64) -> Option<f64> {
    move |t| {
        let after = points
            .iter()
            .position(|p| p.0 > t)
            .unwrap_or(points.len() - 1)
            .max(1);
        let ((t0, a), (t1, b)) = (points[after - 1], points[after]);
        Some(a + (b - a) * ((t - t0) / (t1 - t0)).clamp(0.0, 1.0))
    }
}

#[track_caller]
fn near(value: f64, truth: f64, tolerance: f64) {
    assert!(
        (value - truth).abs() <= tolerance,
        "{value} is not {truth} ± {tolerance}"
    );
}

/// Random values of mean 0 and variance 1: sums of twelve uniform ones.
fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(1);
    move || {
        let uniform = (0..12).map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 40) as f64 / (1_u64 << 24) as f64
        });
        uniform.sum::<f64>() - 6.0
    }
}

const CLIP: &[(f64, f64)] = &[
    (0.0, 2_800.0),
    (3.0, 2_800.0),
    (3.8, 9_600.0),
    (7.0, 9_600.0),
    (7.9, 2_800.0),
    (10.0, 2_800.0),
];

#[test]
fn a_recording_as_advised_has_idle_rise_plateau_fall_idle() {
    for machine in [
        Profile::default(),
        Class::Trimmer.profile(),
        Class::HedgeTrimmer.profile(),
    ] {
        let reading = read_with(&machine, 10.0, through(CLIP), |_, _| {});
        use SpanKind::{Falling, FullThrottle, Idle, Rising};
        assert_eq!(kinds(&reading), [Idle, Rising, FullThrottle, Falling, Idle]);
        // A level begins when 0.3 s lie within 6 %, and ends when the speed was last within 3 %:
        // on these ramps (8,500 and 7,556 rpm a second) that is less than 0.08 s from the corner.
        for (span, (start, end)) in
            reading
                .spans
                .iter()
                .zip([(0.0, 3.0), (3.0, 3.8), (3.8, 7.0), (7.0, 7.9), (7.9, 10.0)])
        {
            near(span.start.0, start, 0.08);
            near(span.end.0, end, 0.08);
        }
        near(reading.idle.unwrap().rpm.0, 2_800.0, 1.0);
        near(reading.full_throttle.unwrap().rpm.0, 9_600.0, 1.0);
        near(reading.peak_rpm.unwrap().0, 9_600.0, 1.0);
        near(reading.heard.0, 10.0, HOP);
        near(reading.readable.0, 10.0, HOP);
        assert!(reading.hunting.is_none());
        assert_eq!(reading.doubtful_pct, 0.0);
        near(reading.level_dbfs.unwrap().0, -20.0, 0.01);
    }
}

#[test]
fn the_rise_time_of_a_ramp_is_its_way_to_ninety_percent() {
    for seconds in [0.3, 0.8, 1.5] {
        let ramp = move |t: f64| {
            let part = ((t - 2.0) / seconds).clamp(0.0, 1.0);
            Some(2_800.0 + part * (9_600.0 - 2_800.0))
        };
        let reading = read(6.0, ramp);
        let [rise] = reading.accelerations[..] else {
            panic!("{:?}", reading.accelerations)
        };
        let truth = seconds * (0.9 * 9_600.0 - 2_800.0) / (9_600.0 - 2_800.0);
        // The start is the last frame within 3 % of idle, 84 rpm of 6,800, so up to 1.3 % of the
        // ramp late, and up to one hop early; the running median keeps a ramp as it is.
        near(rise.rise.0, truth, 0.013 * seconds + 1.5 * HOP);
        near(rise.start.0, 2.0, 0.013 * seconds + 1.5 * HOP);
        near(rise.from_rpm.0, 2_800.0, 5.0);
        near(rise.to_rpm.0, 9_600.0, 5.0);
        assert!(rise.bog.is_none(), "{rise:?}");
    }
}

#[test]
fn a_bog_after_a_first_rise_has_its_depth_and_length() {
    const BOG: &[(f64, f64)] = &[
        (0.0, 2_800.0),
        (2.0, 2_800.0),
        (2.2, 4_500.0),
        (2.5, 3_300.0),
        (2.9, 4_500.0),
        (3.4, 9_600.0),
        (6.0, 9_600.0),
    ];
    let reading = read(6.0, through(BOG));
    let [rise] = reading.accelerations[..] else {
        panic!("{:?}", reading.accelerations)
    };
    let bog = rise.bog.unwrap();
    // The running median of five cuts a corner of slope ±s by at most two hops: 0.032 s of 8,500
    // on one side, 4,000 and 3,000 rpm a second on the others.
    near(bog.dip_rpm.0, 1_200.0, 0.032 * (4_000.0 + 3_000.0));
    // The crest so cut, 128 rpm lower, is up to two hops from the corner and is reached again
    // 128 / 3,000 s earlier.
    near(bog.lasts.0, 0.7, 0.032 + 0.043);
    // 90 % is reached on the last ramp.
    near(
        rise.rise.0,
        0.9 + 0.5 * (8_640.0 - 4_500.0) / 5_100.0,
        2.0 * HOP,
    );
}

#[test]
fn a_bog_below_idle_is_a_bog_and_not_idle() {
    const BOG: &[(f64, f64)] = &[
        (0.0, 2_800.0),
        (2.5, 2_800.0),
        (2.8, 2_200.0),
        (3.4, 2_200.0),
        (3.6, 2_800.0),
        (4.3, 9_600.0),
        (7.0, 9_600.0),
    ];
    let reading = read(7.0, through(BOG));
    let [rise] = reading.accelerations[..] else {
        panic!("{:?}", reading.accelerations)
    };
    let bog = rise.bog.unwrap();
    near(bog.dip_rpm.0, 600.0, 20.0);
    // From the last frame within 3 % of idle (84 rpm at 2,000 rpm a second: 0.042 s).
    near(bog.lasts.0, 1.1, 0.042 + 2.0 * HOP);
    near(reading.idle.unwrap().rpm.0, 2_800.0, 1.0);
    assert_eq!(reading.spans[1].kind, SpanKind::Rising);
}

#[test]
fn two_blips_are_no_bog() {
    const BLIPS: &[(f64, f64)] = &[
        (0.0, 2_800.0),
        (2.0, 2_800.0),
        (2.5, 8_000.0),
        (3.1, 2_900.0),
        (3.6, 8_200.0),
        (4.2, 2_800.0),
        (6.0, 2_800.0),
    ];
    let reading = read(6.0, through(BLIPS));
    assert!(!reading.accelerations.is_empty());
    assert!(
        reading.accelerations.iter().all(|a| a.bog.is_none()),
        "{:?}",
        reading.accelerations
    );
}

#[test]
fn an_idle_that_hunts_at_1_3_hz_by_4_percent_is_heard_so() {
    for seconds in [3.0, 8.0, 40.0] {
        let reading = read(seconds, |t| {
            Some(2_800.0 * (1.0 + 0.04 * (std::f64::consts::TAU * 1.3 * t + 0.4).sin()))
        });
        assert_eq!(kinds(&reading), [SpanKind::Idle], "{seconds} s");
        let hunting = reading.hunting.unwrap();
        // The rates tried lie 0.02 of a swing per stretch apart.
        near(hunting.rate_hz.0, 1.3, 0.02);
        // The running median of five flattens a crest by at most 1 − cos(2π · 1.3 · 0.032) = 3.4 %.
        near(hunting.depth_pct, 4.0, 0.034 * 4.0 + 0.05);
        near(hunting.low_rpm.0, 2_800.0 * 0.96, 10.0);
        near(hunting.high_rpm.0, 2_800.0 * 1.04, 10.0);
        assert!(hunting.explained > 0.95);
        near(reading.idle.unwrap().rpm.0, 2_800.0, 20.0);
    }
}

#[test]
fn a_deep_slow_surge_stays_idle_and_is_hunting() {
    for (rate, depth) in [(0.5, 0.13), (0.8, 0.15), (0.3, 0.08), (2.2, 0.1)] {
        let reading = read(16.0, |t| {
            Some(2_900.0 * (1.0 + depth * (std::f64::consts::TAU * rate * t).sin()))
        });
        let hunting = reading
            .hunting
            .unwrap_or_else(|| panic!("{rate} Hz: {:?}", reading.spans));
        near(hunting.rate_hz.0, rate, 0.03);
        // The crest is cut by the running median: 1 − cos(2π · rate · 0.032), 9.6 % at 2.2 Hz.
        near(hunting.depth_pct, 100.0 * depth, 12.0 * depth);
        assert_eq!(kinds(&reading), [SpanKind::Idle], "{rate} Hz");
        assert!(reading.returns.is_empty() && reading.accelerations.is_empty());
    }
}

#[test]
fn random_wander_is_not_hunting() {
    // First-order wander of 2 % with time constants of 0.1 to 1 s: no rate of its own. With 200
    // clips of 3 s and 8 s for each, at most 3 % may look periodic.
    let mut seed = 1_u64;
    let mut noise = move || {
        // Sum of twelve uniform values: variance 1.
        (0..12)
            .map(|_| {
                seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                (seed >> 40) as f64 / (1_u64 << 24) as f64
            })
            .sum::<f64>()
            - 6.0
    };
    for seconds in [3.0, 8.0] {
        for constant in [0.1, 0.3, 1.0] {
            let keep = f64::exp(-HOP / constant);
            let mut heard = 0;
            for _ in 0..200 {
                let mut wander = noise();
                let series: Vec<f64> = (0..(seconds / HOP) as usize)
                    .map(|_| {
                        wander = keep * wander + (1.0 - keep * keep).sqrt() * noise();
                        2_800.0 * (1.0 + 0.02 * wander)
                    })
                    .collect();
                let reading = read(seconds, |t| series.get((t / HOP) as usize).copied());
                heard += usize::from(reading.hunting.is_some());
            }
            assert!(heard <= 6, "{heard} of 200 at {constant} s in {seconds} s");
        }
    }
}

#[test]
fn a_speed_that_hangs_above_idle_on_return_is_named_with_its_length() {
    const HANG: &[(f64, f64)] = &[
        (0.0, 2_800.0),
        (2.0, 2_800.0),
        (2.6, 9_600.0),
        (5.0, 9_600.0),
        (5.5, 3_900.0),
        (7.5, 3_900.0),
        (8.0, 2_800.0),
        (10.0, 2_800.0),
    ];
    let reading = read(10.0, through(HANG));
    let [back] = reading.returns[..] else {
        panic!("{:?}", reading.returns)
    };
    let hang = back.hang.unwrap();
    near(hang.plateau_rpm.0, 3_900.0, 20.0);
    near(hang.above_idle_rpm.0, 1_100.0, 20.0);
    // The level begins up to 6 % early on the way down (234 rpm of 11,400 a second) and ends when
    // last within 3 % (117 rpm of 2,200 a second).
    near(hang.lasts.0, 2.0, 0.02 + 0.053 + 2.0 * HOP);
    assert!(!hang.to_the_end);
    // Idle counts as reached 8 % above it: 224 rpm before the corner on a ramp of 2,200 a second.
    near(back.time.0, 3.0 - 224.0 / 2_200.0, 3.0 * HOP);
    near(reading.idle.unwrap().rpm.0, 2_800.0, 1.0);
    use SpanKind::{Falling, FullThrottle, Idle, Rising};
    assert_eq!(kinds(&reading), [Idle, Rising, FullThrottle, Falling, Idle]);
}

#[test]
fn a_speed_that_hangs_to_the_end_is_compared_with_the_idle_before() {
    const HANG: &[(f64, f64)] = &[
        (0.0, 2_800.0),
        (2.0, 2_800.0),
        (2.6, 9_600.0),
        (5.0, 9_600.0),
        (5.5, 3_600.0),
        (9.0, 3_600.0),
    ];
    let reading = read(9.0, through(HANG));
    let [back] = reading.returns[..] else {
        panic!("{:?}", reading.returns)
    };
    let hang = back.hang.unwrap();
    assert!(hang.to_the_end);
    near(hang.plateau_rpm.0, 3_600.0, 20.0);
    near(back.idle_rpm.0, 2_800.0, 1.0);
    near(hang.lasts.0, 3.5, 0.02 + 2.0 * HOP);
    near(back.time.0, 4.0, 0.02 + 2.0 * HOP);
}

#[test]
fn a_prompt_return_does_not_hang() {
    let reading = read(10.0, through(CLIP));
    let [back] = reading.returns[..] else {
        panic!("{:?}", reading.returns)
    };
    assert!(back.hang.is_none());
    near(back.time.0, 0.9 - 224.0 / 7_556.0, 3.0 * HOP);
}

#[test]
fn silence_around_the_engine_is_stopped_and_other_sound_is_unreadable() {
    let reading = read_with(
        &Profile::default(),
        12.0,
        |t| (2.0..9.0).contains(&t).then_some(2_900.0),
        |t, f| {
            if (5.0..6.0).contains(&t) {
                *f = Frame {
                    level: Decibels(-18.0),
                    ..silent(t, Unreadable::TooMuchNoise)
                };
            }
        },
    );
    use SpanKind::{Idle, Stopped};
    assert_eq!(
        kinds(&reading),
        [Stopped, Idle, SpanKind::Unreadable, Idle, Stopped]
    );
    for (span, (start, end)) in
        reading
            .spans
            .iter()
            .zip([(0.0, 2.0), (2.0, 5.0), (5.0, 6.0), (6.0, 9.0), (9.0, 12.0)])
    {
        near(span.start.0, start, 1.5 * HOP);
        near(span.end.0, end, 1.5 * HOP);
    }
    assert_eq!(reading.spans[2].unreadable, Some(Unreadable::TooMuchNoise));
    near(reading.readable.0, 6.0, 4.0 * HOP);
    assert_eq!(reading.unreadable[0].reason, Unreadable::Silence);
}

#[test]
fn short_holes_are_bridged() {
    let reading = read(6.0, |t| (t % 1.0 < 0.8).then_some(9_000.0));
    assert_eq!(kinds(&reading), [SpanKind::FullThrottle]);
}

#[test]
fn doubtful_frames_count_little() {
    // Three frames of five read half the speed and say themselves that the double fits as well.
    let reading = read_with(
        &Profile::default(),
        4.0,
        |_| Some(9_000.0),
        |t, f| {
            if ((t / HOP) as u64) % 5 < 3 {
                *f = frame(t, 4_500.0);
                if let Ok(speed) = &mut f.speed {
                    speed.other = Some(Rpm(9_000.0));
                    speed.confidence = 0.4;
                }
            }
        },
    );
    let full = reading.full_throttle.unwrap();
    near(full.rpm.0, 9_000.0, 1.0);
    near(full.other_rpm.unwrap().0, 9_000.0, 1.0);
    near(reading.doubtful_pct, 60.0, 1.0);
}

/// The clip of a real-looking tachometer: an idle that wanders by 2 %, a plateau by 0.4 %, one frame
/// in thirty at double or half the speed, one in thirty lost.
#[test]
fn noise_and_wrong_frames_do_not_change_the_spans() {
    let plain = through(CLIP);
    let mut wrong = 0;
    for seed in 0..50 {
        let mut noise = noise(seed);
        let (keep, mut wander) = (f64::exp(-HOP / 0.15), 0.0);
        let series: Vec<Option<f64>> = (0..625)
            .map(|k| {
                let rpm = plain((k as f64 + 0.5) * HOP)?;
                wander = keep * wander + (1.0 - keep * keep).sqrt() * noise();
                let rpm = rpm * (1.0 + if rpm < 4_000.0 { 0.02 } else { 0.004 } * wander);
                match noise() {
                    x if x > 2.1 => Some(2.0 * rpm),
                    x if x < -2.1 => Some(0.5 * rpm),
                    x if x.abs() < 0.04 => None,
                    _ => Some(rpm),
                }
            })
            .collect();
        let reading = read(10.0, |t| series[(t / HOP) as usize]);
        use SpanKind::{Falling, FullThrottle, Idle, Rising};
        wrong += usize::from(kinds(&reading) != [Idle, Rising, FullThrottle, Falling, Idle]);
        near(reading.idle.unwrap().rpm.0, 2_800.0, 0.02 * 2_800.0);
        near(
            reading.full_throttle.unwrap().rpm.0,
            9_600.0,
            0.004 * 9_600.0,
        );
        let [rise] = reading.accelerations[..] else {
            panic!("{:?}", reading.accelerations)
        };
        assert!(
            rise.bog.is_none() && reading.hunting.is_none(),
            "{reading:?}"
        );
        assert!(reading.returns.iter().all(|back| back.hang.is_none()));
    }
    assert_eq!(wrong, 0);
}

#[test]
fn firing_and_skip_ratio_are_the_majority_and_the_median() {
    let reading = read_with(
        &Profile::default(),
        4.0,
        |_| Some(9_000.0),
        |t, f| {
            if (t / HOP) as u64 % 10 < 7 {
                f.firing.kind = FiringKind::FourStroking;
                f.firing.skip_ratio = Some(0.4);
            }
        },
    );
    let full = reading.full_throttle.unwrap();
    assert_eq!(full.firing, FiringKind::FourStroking);
    near(full.firing_share, 0.7, 0.02);
    near(full.skip_ratio.unwrap(), 0.4, 1e-6);
}

#[test]
fn the_interval_of_a_median_holds_the_truth_and_narrows_with_time() {
    let wide = read(1.0, |t| Some(9_000.0 * (1.0 + 0.01 * (t * 37.0).sin())));
    let narrow = read(9.0, |t| Some(9_000.0 * (1.0 + 0.01 * (t * 37.0).sin())));
    let width = |r: &Reading| {
        let full = r.full_throttle.unwrap();
        assert!(
            full.rpm_low.0 <= 9_000.0 && 9_000.0 <= full.rpm_high.0,
            "{full:?}"
        );
        full.rpm_high.0 - full.rpm_low.0
    };
    assert!(width(&narrow) < width(&wide) / 2.0);
}

#[test]
fn a_known_clutch_makes_a_fast_idle_an_idle_and_not_part_throttle() {
    let fast = |_| Some(4_300.0);
    let trimmer = read_with(&Class::Trimmer.profile(), 4.0, fast, |_, _| {});
    assert_eq!(kinds(&trimmer), [SpanKind::Idle]);
    assert_eq!(kinds(&read(4.0, fast)), [SpanKind::PartThrottle]);
    assert_eq!(
        kinds(&read(4.0, |_| Some(6_000.0))),
        [SpanKind::FullThrottle]
    );
}

#[test]
fn ten_hours_of_blips_stay_small_and_whole() {
    let reading = read(36_000.0, |t| {
        let phase = t % 4.0;
        Some(if phase < 2.0 { 2_800.0 } else { 9_000.0 })
    });
    assert!(reading.spans.len() <= 1_000, "{}", reading.spans.len());
    near(reading.heard.0, 36_000.0, 1.0);
    let mut end = 0.0;
    for span in &reading.spans {
        assert_eq!(span.start.0, end);
        end = span.end.0;
    }
}

fn any_frame() -> impl Strategy<Value = Frame> {
    let odd = prop_oneof![
        8 => 300.0..20_000.0f64,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => any::<f64>(),
    ];
    let reason = prop_oneof![
        Just(Unreadable::Silence),
        Just(Unreadable::NoEngine),
        Just(Unreadable::Unsteady)
    ];
    let kind = prop_oneof![
        Just(FiringKind::Clean),
        Just(FiringKind::FourStroking),
        Just(FiringKind::Limiter),
        Just(FiringKind::Unclear),
        Just(FiringKind::None)
    ];
    (
        odd.clone(),
        odd,
        proptest::option::of(reason),
        kind,
        prop_oneof![6 => -1.0..2.0f64, 1 => Just(f64::NAN)],
        proptest::option::of(any::<f64>()),
    )
        .prop_map(|(rpm, other, reason, kind, share, level)| {
            let mut f = frame(0.0, rpm);
            if let Ok(speed) = &mut f.speed {
                speed.confidence = share;
                speed.other = (share > 0.7).then_some(Rpm(other));
            }
            f.firing.kind = kind;
            f.firing.skip_ratio = Some(share);
            f.clipped = share;
            f.level = Decibels(level.unwrap_or(f64::NEG_INFINITY));
            if let Some(reason) = reason {
                f.speed = Err(reason);
            }
            f
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_frames_give_ordered_spans_and_finite_numbers(
        runs in proptest::collection::vec((any_frame(), 1..60usize), 0..40),
        step in prop_oneof![Just(0.016), Just(0.0), Just(-0.1), Just(f64::NAN), Just(5.0)],
    ) {
        let mut spans = Spans::new(&Profile::default());
        let mut t = 0.008;
        for (f, count) in runs {
            for _ in 0..count {
                spans.push(&Frame { t: Seconds(t), ..f });
                t += step;
            }
        }
        let reading = spans.finish();
        let mut end = 0.0;
        for span in &reading.spans {
            prop_assert!(span.start.0 <= span.end.0, "{:?}", span);
            prop_assert!(span.start.0 >= end, "{:?}", span);
            end = span.end.0;
            prop_assert!((0.0..=1.0).contains(&span.confidence));
            prop_assert!((0.0..=1.0).contains(&span.firing_share));
            prop_assert!(span.skip_ratio.is_none_or(|r| (0.0..=1.0).contains(&r)));
            if let (Some(low), Some(rpm), Some(high)) = (span.rpm_low, span.rpm, span.rpm_high) {
                prop_assert!(low.0 <= rpm.0 && rpm.0 <= high.0, "{:?}", span);
            }
        }
        // JSON knows no infinity and no NaN: they would turn into null.
        let json = serde_json::to_value(&reading).unwrap();
        let back: Reading = serde_json::from_value(json).unwrap();
        prop_assert_eq!(back.spans.len(), reading.spans.len());
    }
}
