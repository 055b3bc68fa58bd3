//! Scenes drawn by lot: engines as different from one another as a seed can make them.
use super::draw_timbre::timbre;
use super::engine_scene::{Bog, Course, Engine, Hang, Hunting, Limiter, Plan, Segment};
use super::random::Random;
use super::scene::{Clipping, Colour, GainControl, Microphone, Noise, Reflection, RollOff, Room, Scene};
use super::sound_scene::{Background, Sound};
use crate::machine::Cycle;
use crate::units::{Decibels, Hertz, Rpm, Seconds};

/// Idle and full-throttle speeds by class of machine, in rpm (common practice, no source).
const CLASSES: [(&str, [f64; 2], [f64; 2]); 8] = [
    ("trimmer", [2_600.0, 3_200.0], [7_500.0, 10_500.0]),
    ("brush cutter", [2_500.0, 3_000.0], [9_500.0, 12_500.0]),
    ("small saw", [2_800.0, 3_300.0], [11_500.0, 13_500.0]),
    ("saw", [2_500.0, 3_000.0], [12_500.0, 14_000.0]),
    ("large saw", [2_300.0, 2_800.0], [12_000.0, 13_500.0]),
    ("blower", [2_600.0, 3_200.0], [7_000.0, 8_500.0]),
    ("back-pack blower", [2_000.0, 2_600.0], [6_000.0, 7_800.0]),
    ("hedge trimmer", [2_600.0, 3_100.0], [8_500.0, 11_000.0]),
];

/// Draws a scene with an engine: 8 to 12 s, everything by the seed.
pub fn draw_engine(seed: u64) -> Scene {
    let mut random = Random::new(seed, 100);
    let r = &mut random;
    let (class, idle, full) = r.one_of(&CLASSES);
    let mut engine = Engine {
        idle: Rpm(r.between(idle[0], idle[1])),
        full: Rpm(r.between(full[0], full[1])),
        wander_percent: r.between(0.03, 0.07),
        jitter_idle_percent: r.between_log(0.3, 2.5),
        jitter_full_percent: r.between_log(0.02, 0.15),
        skip_lag_percent: r.between_log(0.03, 0.4),
        ..Engine::default()
    };
    let build = r.unit();
    if build < 0.07 {
        engine.cylinders = 2;
        engine.cylinder_levels = vec![1.0, if r.chance(0.5) { 1.0 } else { r.between(0.5, 0.95) }];
        if r.chance(0.15) {
            engine.firing_angles = vec![0.0, r.between(150.0, 210.0)];
        }
    } else if build < 0.09 {
        engine.cylinders = if r.chance(0.5) { 3 } else { 4 };
        engine.cylinder_levels = (0..engine.cylinders).map(|_| r.between(0.75, 1.0)).collect();
    } else if build < 0.16 {
        engine.cycle = Cycle::FourStroke;
        if r.chance(0.25) {
            engine.cylinders = 2;
        }
    }
    engine.timbre = timbre(r, &engine);
    let seconds = r.between(8.0, 12.0);
    let story = schedule(r, &mut engine, seconds);
    let mut scene = Scene {
        note: String::new(),
        seconds: Seconds(round(seconds, 10.0)),
        sample_rate: r.one_of(&[48_000, 48_000, 48_000, 44_100, 44_100, 16_000]),
        channels: if r.chance(0.08) { 2 } else { 1 },
        seed,
        engine: Some(engine),
        sounds: backgrounds(r),
        noise: noise(r),
        room: room(r),
        microphone: microphone(r),
    };
    scene.note = format!("synthetic, drawn by lot: {class}, {story}");
    scene
}

/// Rounds to a fraction of 1, so that the scene files stay readable.
pub(super) fn round(x: f64, parts: f64) -> f64 {
    (x * parts).round() / parts
}

fn schedule(r: &mut Random, engine: &mut Engine, seconds: f64) -> &'static str {
    // Several cylinders skip each for itself, which hardly leaves a rhythm.
    let plain = engine.cycle == Cycle::FourStroke || engine.cylinders > 1;
    let (idle, full) = (engine.idle, engine.full);
    let at = |r: &mut Random, rpm: Rpm, by: f64| Rpm((rpm.0 * (1.0 + r.between(-by, by))).round());
    let part = Rpm(r.between(idle.0 * 1.3, full.0 * 0.9).round());
    let step = |course, rpm: Rpm, s: f64, firing| Segment::new(course, rpm, Seconds(round(s, 100.0)), firing);
    let mut list = Vec::new();
    let kind = r.unit();
    let story = if kind < 0.22 {
        list.push(step(Course::Hold, at(r, full, 0.05), seconds, full_plan(r, plain)));
        "steady at full throttle"
    } else if kind < 0.30 {
        list.push(step(Course::Hold, at(r, idle, 0.08), seconds, idle_plan(r)));
        "steady at idle"
    } else if kind < 0.38 {
        list.push(step(Course::Hold, part, seconds, full_plan(r, plain)));
        "steady at part throttle"
    } else if kind < 0.56 {
        list.push(step(Course::Hold, idle, r.between(0.6, 2.0), idle_plan(r)));
        let plan = full_plan(r, plain);
        let mut t = 2.0;
        while t < seconds {
            let mut snap = step(Course::Snap, at(r, full, 0.04), r.between(0.8, 3.0), plan.clone());
            snap.rise = Some(Seconds(round(r.between_log(0.2, 0.9), 100.0)));
            if r.chance(0.2) {
                let bog = Bog {
                    depth_percent: round(r.between(5.0, 30.0), 1.0),
                    seconds: Seconds(round(r.between(0.15, 0.8), 100.0)),
                };
                snap.bog = Some(bog);
            }
            t += snap.seconds.0;
            list.push(snap);
            let mut fall = step(Course::Fall, at(r, idle, 0.03), r.between(0.8, 2.5), idle_plan(r));
            fall.rise = Some(Seconds(round(r.between_log(0.15, 0.7), 100.0)));
            if r.chance(0.2) {
                let rpm = Rpm((idle.0 * r.between(1.2, 1.7)).round());
                fall.hang = Some(Hang { rpm, seconds: Seconds(round(r.between(0.5, 2.0), 10.0)) });
            }
            t += fall.seconds.0;
            list.push(fall);
        }
        "snaps"
    } else if kind < 0.70 {
        // Cleaner and faster with each turn of a screw, as at the end of a job, or the reverse.
        let mut plans = [Plan::Rich { excess: 1.1, spread: 0.4 }, Plan::Rich { excess: 0.3, spread: 0.5 }, Plan::Clean];
        if r.chance(0.3) {
            plans = [
                Plan::Every { turns: r.one_of(&[2, 2, 3]), slips: round(r.between_log(0.02, 0.2), 1000.0) },
                Plan::Random { skip: round(r.between(0.05, 0.3), 100.0) },
                Plan::Clean,
            ];
        }
        if r.chance(0.3) {
            plans.reverse();
        }
        if plain {
            plans = [Plan::Clean, Plan::Random { skip: 0.15 }, Plan::Clean];
        }
        let mut rpm = full.0 * r.between(0.85, 0.95);
        list.push(step(Course::Hold, Rpm(rpm.round()), seconds / 3.0, plans[0].clone()));
        for plan in &plans[1..] {
            rpm += r.between(200.0, 600.0) * if *plan == Plan::Clean || r.chance(0.8) { 1.0 } else { -1.0 };
            let mut change = step(Course::Snap, Rpm(rpm.round()), seconds / 3.0, plan.clone());
            change.rise = Some(Seconds(round(r.between(0.3, 1.2), 10.0)));
            list.push(change);
        }
        "mixture changed on the way"
    } else if kind < 0.76 {
        let top = at(r, full, 0.05);
        list.push(step(Course::Hold, idle, 0.5, idle_plan(r)));
        list.push(step(Course::Ramp, top, r.between(2.0, 5.0), full_plan(r, plain)));
        list.push(step(Course::Hold, top, r.between(1.0, 2.0), full_plan(r, plain)));
        list.push(step(Course::Ramp, at(r, idle, 0.1), r.between(2.0, 4.0), full_plan(r, plain)));
        list.push(step(Course::Hold, idle, 2.0, idle_plan(r)));
        "ramps"
    } else if kind < 0.80 {
        let mut hold = step(Course::Hold, at(r, idle, 0.05), seconds, idle_plan(r));
        let hertz = Hertz(round(r.between_log(0.3, 3.0), 100.0));
        hold.hunting = Some(Hunting { hertz, depth_percent: round(r.between(2.0, 12.0), 10.0) });
        list.push(hold);
        "hunting at idle"
    } else if kind < 0.89 {
        let ceiling = Rpm((full.0 * r.between(0.92, 1.02)).round());
        engine.limiter = Some(Limiter {
            ceiling,
            depth_percent: round(r.between_log(0.5, 4.0), 100.0),
            per_second: round(r.between_log(3.0, 25.0), 10.0),
            cut_share: round(r.between(0.2, 0.6), 100.0),
        });
        list.push(step(Course::Hold, idle, r.between(0.5, 2.0), idle_plan(r)));
        let mut snap = step(Course::Snap, Rpm((ceiling.0 * 1.06).round()), seconds * 0.6, Plan::Clean);
        snap.rise = Some(Seconds(round(r.between_log(0.3, 0.8), 100.0)));
        list.push(snap);
        let below = Rpm((ceiling.0 * r.between(0.93, 0.985)).round());
        list.push(step(Course::Snap, below, seconds, full_plan(r, plain)));
        "limiter"
    } else if kind < 0.97 {
        // Work: the load pulls the speed about.
        let mut t = 0.0;
        let mut course = Course::Hold;
        let plan = full_plan(r, plain);
        while t < seconds {
            let cut = r.chance(0.6);
            let rpm = Rpm((full.0 * if cut { r.between(0.65, 0.95) } else { r.between(0.95, 1.02) }).round());
            // It cleans up under load.
            let firing = if cut && r.chance(0.7) { Plan::Clean } else { plan.clone() };
            let step = step(course, rpm, r.between_log(0.2, 1.5), firing);
            t += step.seconds.0;
            list.push(step);
            course = Course::Ramp;
        }
        "at work"
    } else {
        list.push(step(Course::Off, idle, r.between(0.5, 2.0), Plan::Clean));
        list.push(step(Course::Hold, idle, r.between(2.0, 4.0), idle_plan(r)));
        list.push(step(Course::Snap, full, r.between(2.0, 4.0), full_plan(r, plain)));
        list.push(step(Course::Fall, idle, r.between(1.0, 2.0), idle_plan(r)));
        list.push(step(Course::Off, idle, 5.0, Plan::Clean));
        "started and stopped"
    };
    engine.schedule = list;
    story
}

fn full_plan(r: &mut Random, plain: bool) -> Plan {
    let x = r.unit();
    if plain {
        return if x < 0.8 { Plan::Clean } else { Plan::Random { skip: round(r.between(0.05, 0.3), 100.0) } };
    }
    let slips = round(r.between_log(0.005, 0.3), 1000.0);
    if x < 0.36 {
        Plan::Clean
    } else if x < 0.54 {
        Plan::Every { turns: 2, slips }
    } else if x < 0.62 {
        Plan::Every { turns: 3, slips }
    } else if x < 0.66 {
        Plan::Every { turns: 4, slips }
    } else if x < 0.76 {
        Plan::Changing { dwell: Seconds(round(r.between_log(0.15, 1.5), 100.0)), slips }
    } else if x < 0.88 {
        Plan::Rich { excess: round(r.between(-0.2, 2.1), 100.0), spread: round(r.between_log(0.15, 1.2), 100.0) }
    } else if x < 0.96 {
        Plan::Random { skip: round(r.between(0.05, 0.3), 100.0) }
    } else {
        Plan::Bursts { per_second: round(r.between_log(2.0, 8.0), 10.0), share: round(r.between(0.1, 0.5), 100.0) }
    }
}

fn idle_plan(r: &mut Random) -> Plan {
    let x = r.unit();
    if x < 0.5 {
        Plan::Clean
    } else if x < 0.9 {
        Plan::Uneven { variation: round(r.between(0.2, 0.6), 100.0) }
    } else {
        Plan::Rich { excess: round(r.between(0.0, 1.2), 100.0), spread: round(r.between(0.4, 1.2), 100.0) }
    }
}

fn noise(r: &mut Random) -> Option<Noise> {
    let colour = r.one_of(&[Colour::White, Colour::White, Colour::Pink, Colour::Pink, Colour::Brown]);
    let snr = Decibels(r.one_of(&[40.0, 20.0, 20.0, 10.0, 10.0, 10.0, 0.0, 0.0]));
    Some(Noise { colour, snr })
}

fn room(r: &mut Random) -> Room {
    let ground = r.chance(0.65).then(|| Reflection {
        delay_ms: round(r.between_log(0.4, 12.0), 100.0),
        gain: round(r.between(0.2, 0.9) * if r.chance(0.8) { 1.0 } else { -1.0 }, 100.0),
        sway_percent: if r.chance(0.5) { round(r.between_log(0.3, 5.0), 10.0) } else { 0.0 },
    });
    if r.chance(0.35) {
        return Room { ground, ..Room::default() };
    }
    let reverberation = Seconds(round(r.between_log(0.05, 0.6), 100.0));
    Room { reverberation, level: Decibels(round(r.between(-20.0, 0.0), 1.0)), ground }
}

/// A recorder by lot.
pub(super) fn microphone(r: &mut Random) -> Microphone {
    let corners = [0.0, 0.0, 0.0, 0.0, 20.0, 40.0, 40.0, 60.0, 60.0, 80.0, 80.0, 100.0, 100.0, 150.0, 150.0];
    let hertz = if r.chance(0.05) { r.one_of(&[200.0, 300.0]) } else { r.one_of(&corners) };
    let roll_off =
        (hertz > 0.0).then(|| RollOff { hertz: Hertz(hertz), order: r.one_of(&[1, 1, 2, 2, 2, 3, 4]) });
    let clipped = r.chance(0.1);
    Microphone {
        roll_off,
        low_pass: r.chance(0.2).then(|| Hertz(r.between_log(3_000.0, 7_500.0).round())),
        level_dbfs: Decibels(if clipped { r.between(-9.0, 0.0) } else { r.between(-34.0, -20.0) }.round()),
        gain_control: (!clipped && r.chance(0.25)).then(|| GainControl {
            target_dbfs: Decibels(r.between(-26.0, -16.0).round()),
            attack: Seconds(round(r.between_log(0.005, 0.2), 1000.0)),
            release: Seconds(round(r.between_log(0.1, 2.0), 100.0)),
            most: Decibels(20.0),
        }),
        clipping: if r.chance(0.3) { Clipping::Soft } else { Clipping::Hard },
    }
}

fn backgrounds(r: &mut Random) -> Vec<Background> {
    if r.chance(0.6) {
        return Vec::new();
    }
    let count = 1 + r.below(2);
    (0..count)
        .map(|_| {
            let (sound, low, high) = match r.below(8) {
                0 => {
                    let hertz = Hertz(r.one_of(&[50.0, 60.0]));
                    (Sound::Hum { hertz, harmonics: 12, tilt: 6.0, drift_percent: 0.02 }, -35.0, -12.0)
                }
                1 => {
                    // Machines somewhere else: steady lines.
                    let hertz = Hertz(r.one_of(&[40.0, 60.0, 65.0, 78.0, 80.0, 160.0]));
                    let harmonics = 1 + r.below(4) as u8;
                    (Sound::Hum { hertz, harmonics, tilt: 3.0, drift_percent: 0.3 }, -30.0, -8.0)
                }
                2 => (Sound::Voice { hertz: Hertz(r.between_log(90.0, 260.0).round()), held: false }, -28.0, -10.0),
                3 => (Sound::SecondEngine(Box::new(far_engine(r))), -26.0, -12.0),
                4 | 5 => {
                    let gust = Seconds(round(r.between(0.3, 3.0), 10.0));
                    (Sound::Wind { hertz: Hertz(r.between(15.0, 60.0).round()), gust }, -20.0, 3.0)
                }
                6 => (Sound::Birds { hertz: Hertz(r.between_log(1_800.0, 5_000.0).round()) }, -35.0, -18.0),
                _ => {
                    let hertz = Hertz(r.between_log(300.0, 3_000.0).round());
                    (Sound::Knocks { per_second: round(r.between(0.5, 4.0), 10.0), scatter: 0.6, hertz }, -30.0, -12.0)
                }
            };
            Background { sound, level: Decibels(r.between(low, high).round()) }
        })
        .collect()
}

fn far_engine(r: &mut Random) -> Engine {
    let mut engine = Engine {
        idle: Rpm(2_400.0),
        full: Rpm(r.between(3_500.0, 9_000.0).round()),
        wander_percent: r.between(0.05, 0.5),
        ..Engine::default()
    };
    engine.timbre = timbre(r, &engine);
    engine.schedule = vec![Segment::new(Course::Hold, engine.full, Seconds(60.0), Plan::Clean)];
    engine
}
