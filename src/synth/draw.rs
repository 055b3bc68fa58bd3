//! Scenes drawn by lot: engines as different from one another as a seed can make them.
use super::draw_place::{backgrounds, microphone, noise, room};
use super::draw_schedule::schedule;
use super::draw_timbre::timbre;
use super::engine_scene::Engine;
use super::random::Random;
use super::scene::Scene;
use crate::machine::Cycle;
use crate::units::{Rpm, Seconds};

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
        engine.cylinder_levels = vec![
            1.0,
            if r.chance(0.5) {
                1.0
            } else {
                r.between(0.5, 0.95)
            },
        ];
        if r.chance(0.15) {
            engine.firing_angles = vec![0.0, r.between(150.0, 210.0)];
        }
    } else if build < 0.09 {
        engine.cylinders = if r.chance(0.5) { 3 } else { 4 };
        engine.cylinder_levels = (0..engine.cylinders)
            .map(|_| r.between(0.75, 1.0))
            .collect();
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
