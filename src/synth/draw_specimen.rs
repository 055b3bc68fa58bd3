//! Engines on the bench drawn by lot: built, mis-set, and perhaps ill.
use super::ailment::Ailment;
use super::draw_timbre::timbre;
use super::engine_scene::{Engine, Limiter};
use super::random::Random;
use super::scene::{Clipping, Colour, Microphone, Noise, Reflection, RollOff, Room};
use super::sounding::Surroundings;
use super::specimen::{Peak, Settings, Specimen};
use crate::machine::{Carburetor, Class, Coil, IDLE_MARGIN, Origin, Profile, SpeedRange};
use crate::units::{Decibels, Hertz, Rpm, Seconds};

/// Words of the faults that [`draw_specimen`] can plant.
pub const AILMENTS: [&str; 5] = [
    "air-leak",
    "fuel-starvation",
    "clutch",
    "muffler-screen",
    "attachment",
];

/// One class of each kind, with the range of its idle and full-throttle speeds in rpm (common
/// practice, no source).
const CLASSES: [(Class, [f64; 2], [f64; 2]); 5] = [
    (Class::Trimmer, [2_600.0, 3_200.0], [7_500.0, 10_500.0]),
    (Class::BrushCutter, [2_500.0, 3_000.0], [9_500.0, 12_500.0]),
    (Class::Saw, [2_500.0, 3_000.0], [12_500.0, 14_000.0]),
    (Class::Blower, [2_600.0, 3_200.0], [7_000.0, 8_500.0]),
    (Class::HedgeTrimmer, [2_600.0, 3_100.0], [8_500.0, 11_000.0]),
];

/// Draws an engine: everything by the seed, ill with the fault of that word in [`AILMENTS`].
pub fn draw_specimen(seed: u64, fault: Option<&str>) -> (Specimen, Surroundings) {
    let mut random = Random::new(seed, 300);
    let r = &mut random;
    // The worn clutch needs one.
    let classes = if fault == Some("clutch") {
        [CLASSES[0], CLASSES[1], CLASSES[2], CLASSES[4], CLASSES[0]]
    } else {
        CLASSES
    };
    let (class, idle, full) = r.one_of(&classes);
    let barrel = r.chance(0.4);
    let carburetor = if barrel {
        Carburetor::BarrelValve
    } else {
        Carburetor::Butterfly
    };
    let idle = r.between(idle[0] + 100.0, idle[1] - 100.0);
    let full_peak = r.between(full[0], full[1]);
    let full_curve = Peak {
        // 200 to 600 rpm for an eighth of a turn on the rich side.
        rich: 8.0 * r.between_log(220.0, 600.0) / full_peak,
        lean: 8.0 * r.between_log(300.0, 900.0) / full_peak,
        round: r.between(0.06, 0.15),
    };
    let peak_leaner = r.between(0.08, 0.2);
    let just = full_peak * (1.0 - full_curve.loss(peak_leaner));
    let low_peak = 1.25 + r.between(-0.35, 0.35);
    let low_final = if barrel {
        low_peak
    } else {
        low_peak + r.between(0.125, 0.25)
    };
    let high_ideal = 1.25 + r.between(-0.45, 0.45);
    let idle_ideal = r.between(0.9, 1.9);
    let idle_turn = r.between(800.0, 2_200.0).min((idle - 700.0) / idle_ideal);
    let (jitter_idle, jitter_full) = (r.between_log(0.3, 2.0), r.between_log(0.02, 0.15));
    let mut engine = Engine {
        idle: Rpm(idle),
        full: Rpm(just),
        wander_percent: r.between_log(0.05, 0.25),
        jitter_idle_percent: jitter_idle,
        jitter_full_percent: jitter_full,
        skip_lag_percent: r.between_log(0.03, 0.4),
        ..Engine::default()
    };
    engine.timbre = timbre(r, &engine);
    let (profile, bites, limiter) = known(r, class, carburetor, idle, just);
    let mut specimen = Specimen {
        class,
        profile,
        carburetor,
        found: Settings {
            high: (high_ideal + r.between(-0.75, 0.75)).max(0.2),
            low: (low_peak + r.between(-0.5, 0.6)).max(0.2),
            idle: idle_ideal + r.between(-0.5, 0.7),
        },
        high_ideal,
        low_peak,
        low_final,
        low_on_full: if barrel {
            r.between(0.0, 0.05)
        } else {
            r.between(0.08, 0.3)
        },
        high_on_idle: if barrel {
            r.between(0.25, 0.55)
        } else {
            r.between(0.03, 0.12)
        },
        full_peak: Rpm(full_peak),
        peak_leaner,
        full_curve,
        onset: r.between(0.08, 0.18),
        onset_width: r.between(0.03, 0.07),
        irregular: r.between(0.25, 0.8),
        most_excess: r.between(0.8, 1.5),
        touch: Rpm(idle - idle_turn * idle_ideal),
        idle_turn: Rpm(idle_turn),
        idle_curve: Peak {
            // 100 to 300 rpm for an eighth of a turn.
            rich: 8.0 * r.between_log(110.0, 300.0) / idle,
            lean: 8.0 * r.between_log(180.0, 500.0) / idle,
            round: r.between(0.06, 0.15),
        },
        stall: Rpm(r.between(1_300.0, 1_700.0)),
        bites,
        dragged: r.between(0.35, 0.8),
        inertia: (Seconds(r.between(0.12, 0.35)), Seconds(r.between(0.3, 0.7))),
        mixture_lag: Seconds(r.between(0.4, 1.0)),
        warm_up: Seconds(r.between(50.0, 140.0)),
        cold_lean: r.between(0.02, 0.12),
        cold_slow: r.between(0.0, 0.1),
        bog_below: if barrel {
            r.between(-0.15, -0.06)
        } else {
            r.between(-0.04, 0.06)
        },
        hang_below: r.between(-0.2, -0.08),
        throttle_curve: r.between(2.0, 4.0),
        limiter,
        ailment: None,
        engine,
        idle_wander_percent: r.between(0.3, 1.0),
    };
    specimen.ailment = fault.and_then(|word| ailment(r, word, &specimen));
    let around = surroundings(r);
    (specimen, around)
}

/// What the maker says, what the clutch does, and the coil.
fn known(
    r: &mut Random,
    class: Class,
    carburetor: Carburetor,
    idle: f64,
    just: f64,
) -> (Profile, Option<Rpm>, Option<Limiter>) {
    let fifties = |x: f64| Rpm((x / 50.0).round() * 50.0);
    let low = fifties(idle - r.between(120.0, 220.0));
    let high = fifties(idle + r.between(120.0, 220.0));
    let typical = class.profile();
    let clutch_in = typical
        .speeds
        .clutch_in
        .map(|_| Rpm((IDLE_MARGIN * high.0 * r.between(1.02, 1.2) / 50.0).ceil() * 50.0));
    // Now and then the maker wants it a little slower than just four-stroking.
    let maximum = if r.chance(0.1) {
        just * r.between(0.985, 1.0)
    } else {
        just * r.between(1.005, 1.04)
    };
    let maximum = Rpm((maximum / 50.0).ceil() * 50.0);
    let limited = r.chance(0.4);
    let limiter = limited.then(|| Limiter {
        ceiling: fifties(maximum.0 + r.between(0.0, 700.0)),
        depth_percent: r.between(0.8, 3.0),
        per_second: r.between(5.0, 20.0),
        cut_share: r.between(0.3, 0.6),
    });
    let mut profile = Profile {
        used_for: typical.used_for,
        carburetor: Some(carburetor),
        ..Profile::default()
    };
    profile.speeds.idle = Some(SpeedRange(low, high));
    profile.speeds.clutch_in = clutch_in;
    profile.speeds.full_throttle = Some(SpeedRange(
        fifties(maximum.0 * r.between(0.86, 0.92)),
        maximum,
    ));
    profile.sources.idle = Some(Origin::Maker);
    profile.sources.full_throttle = Some(Origin::Maker);
    profile.sources.clutch_in = clutch_in.map(|_| Origin::Maker);
    let said = r.chance(0.67);
    profile.coil = match (said, limited) {
        (false, _) => Coil::Unknown,
        (true, true) => Coil::Limited,
        (true, false) => Coil::Plain,
    };
    if said && limited && r.chance(0.7) {
        profile.speeds.limiter = limiter.map(|l| l.ceiling);
        profile.sources.limiter = Some(Origin::Maker);
    }
    let bites = clutch_in.map(|c| Rpm(c.0 * r.between(1.0, 1.08)));
    (profile, bites, limiter)
}

fn ailment(r: &mut Random, word: &str, specimen: &Specimen) -> Option<Ailment> {
    let idle = specimen.engine.idle.0;
    Some(match word {
        "air-leak" => Ailment::AirLeak {
            idle_lean: r.between(0.35, 0.6),
            full_lean: r.between(0.3, 0.5),
            answer: r.between(0.2, 0.4),
            faster: Rpm(r.between(300.0, 1_200.0)),
            hunting: Hertz(r.between_log(0.35, 1.2)),
            depth_percent: r.between(3.0, 9.0),
            hang: Seconds(r.between(3.0, 7.0)),
            faster_full: r.between(-0.01, 0.05),
        },
        "fuel-starvation" => Ailment::FuelStarvation {
            lasts: Seconds(r.between(1.5, 5.0)),
            lean: r.between(0.6, 1.0),
            fades: r.between(0.06, 0.2),
        },
        "clutch" => Ailment::WornClutch {
            bites: Rpm(idle * r.between(0.9, 1.12)),
        },
        "muffler-screen" => Ailment::BlockedScreen {
            left: r.between(0.68, 0.85),
        },
        "attachment" => Ailment::WrongAttachment {
            factor: if r.chance(0.5) {
                r.between(1.13, 1.3)
            } else {
                r.between(0.7, 0.85)
            },
        },
        _ => return None,
    })
}

fn surroundings(r: &mut Random) -> Surroundings {
    let colour = r.one_of(&[Colour::White, Colour::Pink, Colour::Pink, Colour::Brown]);
    let snr = Decibels(r.one_of(&[10.0, 15.0, 20.0, 20.0, 30.0]));
    let corner = r.one_of(&[0.0, 0.0, 0.0, 40.0, 60.0, 80.0, 100.0, 150.0]);
    let roll_off = (corner > 0.0).then(|| RollOff {
        hertz: Hertz(corner),
        order: r.one_of(&[1, 1, 2, 2, 3]),
    });
    let ground = r.chance(0.6).then(|| Reflection {
        delay_ms: r.between_log(0.5, 8.0),
        gain: r.between(0.2, 0.8),
        sway_percent: 0.0,
    });
    Surroundings {
        noise: Noise { colour, snr },
        room: Room {
            ground,
            ..Room::default()
        },
        microphone: Microphone {
            roll_off,
            low_pass: None,
            level_dbfs: Decibels(r.between(-26.0, -14.0)),
            gain_control: None,
            clipping: Clipping::Hard,
        },
    }
}
