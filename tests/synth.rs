//! The synthesizer against closed forms: what it claims as truth is in the samples.
use std::f64::consts::TAU;

use engine_note::machine::Cycle;
use engine_note::synth::{
    Background, Clipping, Colour, Course, Engine, Label, Limiter, Microphone, Noise, OTHER_KINDS,
    Plan, RollOff, Scene, SceneError, Segment, Sound, Timbre, Truth, draw_engine, draw_other,
    render,
};
use engine_note::units::{Decibels, Hertz, Rpm, Seconds};

/// Only exhaust pulses, nothing random, no filter but the base high-pass.
fn bare(schedule: Vec<Segment>) -> Scene {
    let timbre = Timbre {
        tail: 0.0,
        rarefaction: 0.0,
        scavenge: 0.0,
        variation_idle: 0.0,
        variation_full: 0.0,
        muffler: Vec::new(),
        intake: Vec::new(),
        direct: 1.0,
        brightness: Hertz(20_000.0),
        flow: Decibels(-200.0),
        mechanical: Decibels(-200.0),
        ..Timbre::default()
    };
    let engine = Engine {
        wander_percent: 0.0,
        jitter_idle_percent: 0.0,
        jitter_full_percent: 0.0,
        skip_lag_percent: 0.0,
        schedule,
        timbre,
        ..Engine::default()
    };
    let microphone = Microphone {
        level_dbfs: Decibels(-40.0),
        ..Microphone::default()
    };
    Scene {
        seconds: Seconds(4.0),
        engine: Some(engine),
        microphone,
        ..Scene::default()
    }
}

fn hold(rpm: f64, firing: Plan) -> Vec<Segment> {
    vec![Segment::new(Course::Hold, Rpm(rpm), Seconds(60.0), firing)]
}

fn samples(scene: &Scene) -> (Vec<f64>, Truth) {
    let (samples, truth) = render(scene).expect("a valid scene").finish();
    (samples.into_iter().map(f64::from).collect(), truth)
}

/// Amplitude and phase (in turns) of the line at `hertz`, by a Hann-weighted sum.
fn line(x: &[f64], hertz: f64, rate: f64) -> (f64, f64) {
    let n = x.len() as f64;
    let (mut re, mut im) = (0.0, 0.0);
    for (i, x) in x.iter().enumerate() {
        let window = 1.0 - (TAU * i as f64 / n).cos();
        let phase = TAU * hertz * i as f64 / rate;
        re += window * x * phase.cos();
        im -= window * x * phase.sin();
    }
    (2.0 * re.hypot(im) / n, im.atan2(re) / TAU)
}

#[test]
fn turns_begin_where_the_integral_of_the_speed_says() {
    // A ramp from f0 by k per second has turned f0·(exp(k·t) − 1)/k times after t seconds.
    let (f0, f1, seconds) = (50.0f64, 175.0, 3.0);
    let mut ramp = hold(60.0 * f0, Plan::Clean);
    ramp[0].seconds = Seconds(0.0);
    ramp.push(Segment::new(
        Course::Ramp,
        Rpm(60.0 * f1),
        Seconds(seconds),
        Plan::Clean,
    ));
    let mut scene = bare(ramp);
    scene.seconds = Seconds(seconds);
    let (_, truth) = samples(&scene);
    let k = (f1 / f0).ln() / seconds;
    for (n, turn) in truth.turns.iter().enumerate() {
        let expected = (1.0 + n as f64 * k / f0).ln() / k;
        // 1e-7 of the whole: the polygon of the speed line against the smooth ramp.
        assert!(
            (turn.start_s - expected).abs() < 3e-7,
            "turn {n} at {} instead of {expected}",
            turn.start_s
        );
    }
    let whole = (f1 - f0) / k;
    assert!((truth.turns.len() as f64 - whole).abs() <= 1.0);
    for row in &truth.rows {
        let expected = 60.0 * f0 * (k * row.t_s).exp();
        let rpm = row.rpm.expect("the engine runs").0;
        assert!(
            (rpm / expected - 1.0).abs() < 1e-5,
            "{rpm} instead of {expected}"
        );
    }
}

#[test]
fn speed_is_in_the_samples_to_a_hundred_thousandth() {
    for (rpm, rate) in [(2_789.3, 44_100), (9_876.5, 48_000), (13_331.7, 16_000)] {
        let mut scene = bare(hold(rpm, Plan::Clean));
        scene.sample_rate = rate;
        scene.seconds = Seconds(9.0);
        let (x, _) = samples(&scene);
        let rate_f = f64::from(rate);
        let hertz = rpm / 60.0;
        // The phase of order 1, seven seconds apart, says by how much the frequency is off.
        let second = rate as usize;
        let lag = 7 * second;
        let (_, early) = line(&x[second..2 * second], hertz, rate_f);
        let (_, late) = line(&x[second + lag..2 * second + lag], hertz, rate_f);
        let expected = (hertz * 7.0).fract();
        let turns = (late - early - expected + 0.5).rem_euclid(1.0) - 0.5;
        let error = turns / 7.0 / hertz;
        assert!(
            error.abs() < 1e-5,
            "{rpm} rpm at {rate} Hz is off by {error}"
        );
    }
}

#[test]
fn alternate_strengths_give_the_half_orders_of_the_closed_form() {
    // Half to whole orders at equal pulse spectrum: (a − b)/(a + b). The spectrum of the pulse itself
    // is taken out with the pair 1, 0, whose ratio is 1.
    let ratio = |levels: Vec<f64>| {
        let (x, _) = samples(&bare(hold(6_000.0, Plan::Levels { levels })));
        let x = &x[48_000..3 * 48_000];
        line(x, 50.0, 48_000.0).0 / line(x, 100.0, 48_000.0).0
    };
    let alone = ratio(vec![1.0, 0.0]);
    for (b, decibels) in [(0.9, -25.575), (0.5, -9.542), (0.2, -3.522)] {
        let level = Decibels::from_amplitude(ratio(vec![1.0, b]) / alone).0;
        assert!(
            (level - decibels).abs() < 0.02,
            "1 : {b} gives {level} dB instead of {decibels} dB"
        );
    }
}

#[test]
fn noise_has_the_ratio_asked_for() {
    for (colour, snr) in [
        (Colour::White, 10.0),
        (Colour::Pink, 0.0),
        (Colour::Brown, 20.0),
    ] {
        let mut clean = draw_engine(5);
        clean.sounds.clear();
        clean.noise = None;
        clean.channels = 1;
        clean.microphone.gain_control = None;
        clean.microphone.clipping = Clipping::Hard;
        clean.microphone.level_dbfs = Decibels(-45.0);
        let mut noisy = clean.clone();
        noisy.noise = Some(Noise {
            colour,
            snr: Decibels(snr),
        });
        let ((x, _), (y, _)) = (samples(&clean), samples(&noisy));
        // y = α·x + noise; the noise is independent of x, so α comes out by projection.
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let alpha = dot(&x, &y) / dot(&x, &x);
        let noise: f64 = x.iter().zip(&y).map(|(x, y)| (y - alpha * x).powi(2)).sum();
        let measured = Decibels::from_power(alpha * alpha * dot(&x, &x) / noise).0;
        assert!(
            (measured - snr).abs() < 0.1,
            "{colour:?}: {measured} dB instead of {snr} dB"
        );
    }
}

#[test]
fn roll_off_takes_three_decibels_at_its_corner() {
    for order in 1..=4 {
        let tone = |hertz: f64| Background {
            sound: Sound::Hum {
                hertz: Hertz(hertz),
                harmonics: 1,
                tilt: 0.0,
                drift_percent: 0.0,
            },
            level: Decibels(0.0),
        };
        let roll_off = Some(RollOff {
            hertz: Hertz(150.0),
            order,
        });
        let scene = Scene {
            sounds: vec![tone(150.0), tone(6_000.0)],
            seconds: Seconds(3.0),
            microphone: Microphone {
                roll_off,
                ..Microphone::default()
            },
            ..Scene::default()
        };
        let (x, _) = samples(&scene);
        let x = &x[48_000..2 * 48_000];
        let level =
            Decibels::from_amplitude(line(x, 150.0, 48_000.0).0 / line(x, 6_000.0, 48_000.0).0).0;
        assert!((level + 3.0103).abs() < 0.02, "order {order}: {level} dB");
    }
}

#[test]
fn same_seed_gives_the_same_clip_and_another_seed_another() {
    let mut scene = draw_engine(3);
    scene.seconds = Seconds(1.0);
    let (x, truth) = samples(&scene);
    assert_eq!((x.clone(), truth), samples(&scene));
    scene.seed += 1;
    assert_ne!(x, samples(&scene).0);
}

#[test]
fn block_size_changes_nothing() {
    for seed in 0..4 {
        let mut scene = if seed % 2 == 0 {
            draw_engine(seed)
        } else {
            draw_other(seed, 3)
        };
        scene.seconds = Seconds(0.7);
        scene.channels = 2;
        let (whole, truth) = render(&scene).expect("a valid scene").finish();
        let mut rendering = render(&scene).expect("a valid scene");
        let mut pieces = Vec::new();
        for size in [1, 2, 3, 7, 511, 513, 4_096].into_iter().cycle() {
            let mut block = vec![0.0; size];
            let n = rendering.fill(&mut block);
            pieces.extend_from_slice(&block[..n]);
            if n < size {
                break;
            }
        }
        assert_eq!(whole, pieces);
        assert_eq!(truth, rendering.truth());
    }
}

#[test]
fn regular_rhythms_skip_the_share_that_they_must() {
    for (turns, share) in [(2, 1.0 / 2.0), (3, 2.0 / 3.0), (4, 3.0 / 4.0)] {
        let (_, truth) = samples(&bare(hold(9_000.0, Plan::Every { turns, slips: 0.0 })));
        for row in &truth.rows[50..350] {
            let ratio = row.skip_ratio.expect("the engine runs");
            // 75 turns in the window: one more or less at its ends.
            assert!((ratio - share).abs() < 0.02, "one in {turns}: {ratio}");
            assert_eq!(row.firing, Label::FourStroking);
            assert_eq!(row.every, Some(turns));
            assert!(row.steady);
        }
    }
}

#[test]
fn skip_ratio_is_the_count_of_the_turns() {
    let mut scene = bare(hold(9_000.0, Plan::Random { skip: 0.2 }));
    scene.seconds = Seconds(20.0);
    let (_, truth) = samples(&scene);
    let n = truth.turns.len() as f64;
    let skipped = truth.turns.iter().filter(|t| !t.fired).count() as f64;
    // Binomial: four standard deviations.
    assert!((skipped / n - 0.2).abs() < 4.0 * (0.2 * 0.8 / n).sqrt());
    let mean =
        truth.rows.iter().filter_map(|r| r.skip_ratio).sum::<f64>() / truth.rows.len() as f64;
    assert!(
        (mean - skipped / n).abs() < 0.01,
        "{mean} against {}",
        skipped / n
    );
}

#[test]
fn skipped_turns_are_silent_and_fired_ones_are_not() {
    let (x, truth) = samples(&bare(hold(
        5_000.0,
        Plan::Rich {
            excess: 0.6,
            spread: 0.6,
        },
    )));
    let peak = |from: f64, to: f64| {
        x[(from * 48_000.0) as usize..(to * 48_000.0) as usize]
            .iter()
            .fold(0.0f64, |a, b| a.max(b.abs()))
    };
    let highest = peak(0.0, 3.9);
    // A quarter of a turn before the pulse to a quarter after it.
    for turn in truth
        .turns
        .iter()
        .filter(|t| t.start_s > 0.1 && t.end_s < 3.9)
    {
        let quarter = 0.25 * (turn.end_s - turn.start_s);
        let loud = peak(turn.start_s - quarter, turn.start_s + quarter) > 0.5 * highest;
        assert_eq!(loud, turn.fired, "turn at {} s", turn.start_s);
    }
    assert!(truth.turns.iter().any(|t| !t.fired) && truth.turns.iter().any(|t| t.fired));
}

#[test]
fn limiter_saws_under_its_ceiling_at_the_rate_asked_for() {
    let mut scene = bare(hold(13_000.0, Plan::Clean));
    scene.seconds = Seconds(10.0);
    let limiter = Limiter {
        ceiling: Rpm(12_500.0),
        depth_percent: 2.0,
        per_second: 8.0,
        cut_share: 0.4,
    };
    scene.engine.as_mut().expect("has an engine").limiter = Some(limiter);
    let (_, truth) = samples(&scene);
    for row in &truth.rows {
        let rpm = row.rpm.expect("the engine runs").0;
        assert!(rpm < 1.005 * 12_500.0 && rpm > 0.96 * 12_500.0);
        assert_eq!(row.firing, Label::Limiter);
    }
    // The saw-tooth moves about a mean that stays.
    assert!(truth.rows[50..950].iter().all(|row| row.steady));
    // Each run of skipped turns is one cut.
    let cuts = truth
        .turns
        .windows(2)
        .filter(|w| w[0].fired && !w[1].fired)
        .count();
    assert!((60..=100).contains(&cuts), "{cuts} cuts in 10 s");
    let share = truth.turns.iter().filter(|t| !t.fired).count() as f64 / truth.turns.len() as f64;
    assert!((share - 0.4).abs() < 0.08, "{share}");
}

#[test]
fn four_stroke_cycle_fires_clean_in_every_second_turn() {
    let mut scene = bare(hold(6_000.0, Plan::Clean));
    scene.engine.as_mut().expect("has an engine").cycle = Cycle::FourStroke;
    let (x, truth) = samples(&scene);
    assert!(truth.turns.windows(2).all(|w| w[0].due != w[1].due));
    assert!(
        truth
            .rows
            .iter()
            .all(|r| r.firing == Label::Clean && r.skip_ratio == Some(0.0))
    );
    // 120·f/cylinders: the lowest line stands at half of the crank.
    let x = &x[48_000..2 * 48_000];
    assert!(line(x, 50.0, 48_000.0).0 > 100.0 * line(x, 75.0, 48_000.0).0);
}

#[test]
fn snap_is_not_steady_and_what_follows_is() {
    let mut schedule = hold(3_000.0, Plan::Clean);
    schedule[0].seconds = Seconds(1.0);
    let mut snap = Segment::new(Course::Snap, Rpm(10_000.0), Seconds(3.0), Plan::Clean);
    snap.rise = Some(Seconds(0.3));
    schedule.push(snap);
    let (_, truth) = samples(&bare(schedule));
    let at = |t: f64| &truth.rows[(t * 100.0) as usize];
    assert!(at(0.5).steady && !at(1.1).steady && !at(1.5).steady && at(2.0).steady);
    // Half of the rise, half of the way.
    let rpm = at(1.15).rpm.expect("the engine runs").0;
    assert!((rpm - 6_500.0).abs() < 250.0);
}

#[test]
fn scenes_drawn_by_lot_are_valid_and_survive_their_file() {
    for seed in 0..300 {
        for scene in [draw_engine(seed), draw_other(seed, seed as usize)] {
            scene.check().expect("drawn within the ranges");
            let text = scene.to_toml().expect("can be written");
            assert_eq!(Scene::from_toml(&text).expect("can be read"), scene);
        }
    }
}

#[test]
fn clip_without_engine_has_none_in_its_truth() {
    for kind in 0..OTHER_KINDS {
        let mut scene = draw_other(9, kind);
        scene.seconds = Seconds(0.5);
        let (x, truth) = samples(&scene);
        assert!(!truth.engine && truth.turns.is_empty());
        assert!(
            truth
                .rows
                .iter()
                .all(|r| !r.engine && r.rpm.is_none() && r.firing == Label::None)
        );
        assert!(x.iter().all(|x| x.is_finite()));
    }
}

#[test]
fn wrong_scenes_say_what_is_wrong() {
    let message = |text: &str| match Scene::from_toml(text) {
        Ok(_) => panic!("accepted: {text}"),
        Err(error) => {
            assert!(!error.hint().is_empty());
            error.to_string()
        }
    };
    assert_eq!(
        message("seconds = 0.0"),
        "seconds is 0, must be 0.001 to 3600"
    );
    assert_eq!(
        message("seconds = nan"),
        "seconds is NaN, must be 0.001 to 3600"
    );
    assert_eq!(
        message("[engine]\ncylinders = 1"),
        "the engine has no schedule"
    );
    assert!(message("lenght = 3").contains("lenght"));
    assert!(matches!(
        Scene::from_toml("[microphone]\nroll_off = { hertz = 100.0, order = 9 }"),
        Err(SceneError::OutOfRange {
            field: "microphone.roll_off.order",
            ..
        })
    ));
}

fn scenes_in(folder: &str) -> Vec<(std::path::PathBuf, Scene)> {
    let mut list: Vec<_> = std::fs::read_dir(folder)
        .expect("the folder is part of the repository")
        .map(|entry| entry.expect("can be listed").path())
        .filter(|path| path.to_string_lossy().ends_with(".scene.toml"))
        .map(|path| {
            let text = std::fs::read_to_string(&path).expect("can be read");
            let scene = Scene::from_toml(&text)
                .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
            (path, scene)
        })
        .collect();
    list.sort_by(|a, b| a.0.cmp(&b.0));
    list
}

#[test]
fn shipped_scenes_are_valid() {
    let scenes = scenes_in("fixtures/synth");
    assert!(scenes.len() >= 40);
    for (path, scene) in scenes {
        let none = path
            .file_name()
            .is_some_and(|name| name.to_string_lossy().starts_with("none-"));
        assert_eq!(scene.engine.is_none(), none, "{}", path.display());
    }
}

#[test]
fn demonstration_clips_are_what_their_scenes_say() {
    let mut scenes = scenes_in("fixtures/demo");
    // The one that is only rendered when it is asked for ships no sound.
    scenes.retain(|(path, _)| !path.ends_with("rich-then-clean.scene.toml"));
    assert_eq!(scenes.len(), 6);
    for (path, scene) in scenes {
        let stem = path.to_string_lossy().replace(".scene.toml", "");
        let text =
            std::fs::read_to_string(format!("{stem}.truth.json")).expect("stands beside the scene");
        let shipped: Truth = serde_json::from_str(&text).expect("is a truth");
        let (x, truth) = samples(&scene);
        assert_eq!(shipped.turns.len(), truth.turns.len(), "{stem}");
        for (a, b) in shipped.turns.iter().zip(&truth.turns) {
            assert!(
                (a.start_s - b.start_s).abs() < 1e-6 && a.fired == b.fired,
                "{stem} at {} s",
                a.start_s
            );
        }
        let mut wav =
            hound::WavReader::open(format!("{stem}.wav")).expect("stands beside the scene");
        assert_eq!(
            (wav.spec().sample_rate, wav.spec().channels),
            (scene.sample_rate, 1)
        );
        assert_eq!(wav.duration() as usize, x.len());
        for (a, b) in wav.samples::<i16>().zip(&x) {
            let a = f64::from(a.expect("a sample"));
            // Half a step of rounding, and what another machine's sine may differ by.
            assert!((a - 32_767.0 * b).abs() < 4.0, "{stem}");
        }
    }
}
