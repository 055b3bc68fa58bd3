//! Timbres drawn by lot.
use super::draw::round;
use super::engine_scene::Engine;
use super::random::Random;
use super::timbre::{Resonance, Rotor, Timbre};
use crate::machine::Cycle;
use crate::units::{Decibels, Hertz};

/// A timbre for an engine whose cycle and speeds are set.
pub(super) fn timbre(r: &mut Random, engine: &Engine) -> Timbre {
    let full = engine.full.hertz().0;
    let mut timbre = Timbre {
        pulse_degrees: r.between_log(8.0, 60.0),
        tail: r.between(0.0, 0.9),
        rarefaction: r.between(0.0, 0.9),
        rarefaction_at: r.between(45.0, 150.0),
        pumping: r.between_log(0.03, 0.35),
        recovery: r.between(0.0, 0.45),
        variation_idle: r.between(0.08, 0.4),
        variation_full: r.between_log(0.02, 0.15),
        memory: r.between(0.1, 0.9),
        scavenge: r.between(0.05, 0.6),
        scavenge_at: r.between(110.0, 240.0),
        scavenge_degrees: r.between_log(10.0, 60.0),
        speed_exponent: r.between(0.3, 1.3),
        direct: r.between(0.2, 1.2),
        brightness: Hertz(r.between_log(150.0, 2_500.0).round()),
        muffler: resonances(r, 2, 6, 70.0, 4_000.0),
        intake: resonances(r, 1, 3, 120.0, 1_500.0),
        flow: Decibels(r.between(-26.0, -4.0).round()),
        flow_hertz: Hertz(r.between_log(400.0, 6_000.0).round()),
        mechanical: Decibels(r.between(-32.0, -8.0).round()),
        fan: None,
        chain: None,
    };
    if r.chance(0.3) {
        timbre.scavenge = -timbre.scavenge;
    }
    match r.below(12) {
        // Two pulses in a turn: order 2 is as strong as order 1 or stronger.
        0 | 1 => {
            timbre.scavenge = r.between(0.8, 1.4);
            timbre.scavenge_at = r.between(165.0, 195.0);
            timbre.scavenge_degrees = timbre.pulse_degrees * r.between(0.8, 1.3);
            timbre.intake = timbre.muffler.clone();
        }
        // A resonance lifts order 2, 3 or 4 at full throttle.
        2..=4 => {
            let order = r.one_of(&[2.0, 2.0, 3.0, 4.0, 4.0]);
            let hertz = Hertz((order * full * r.between(0.92, 1.08)).round());
            timbre.muffler.push(Resonance {
                hertz,
                q: r.between(2.0, 8.0),
                gain: r.between(1.0, 3.0),
            });
            timbre.direct *= 0.6;
        }
        // A small speaker of a muffler: hardly any fundamental.
        5 => {
            timbre.direct = 0.0;
            timbre.pulse_degrees = r.between_log(5.0, 12.0);
            timbre.muffler = resonances(r, 3, 6, 500.0, 3_000.0);
        }
        // Soft: nearly a sine.
        6 => {
            timbre.pulse_degrees = r.between(50.0, 110.0);
            timbre.brightness = Hertz(r.between_log(150.0, 500.0).round());
            timbre.direct = 1.0;
            timbre.muffler.truncate(2);
        }
        _ => {}
    }
    if r.chance(0.55) {
        let blades = r.one_of(&[5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0, 24.0]);
        let loudest = if r.chance(0.2) { 2.0 } else { -8.0 };
        let level = Decibels(r.between(-30.0, loudest).round());
        timbre.fan = Some(Rotor {
            blades,
            level,
            unequal: round(r.between(0.0, 0.5), 100.0),
        });
    }
    if r.chance(0.3) {
        let blades = if r.chance(0.6) {
            r.one_of(&[6.0, 7.0, 8.0])
        } else {
            // Behind a gear: not in step with the crank.
            round(r.between(9.0, 25.0) / r.between(1.2, 1.5), 100.0)
        };
        let level = Decibels(r.between(-30.0, -8.0).round());
        timbre.chain = Some(Rotor {
            blades,
            level,
            unequal: round(r.between(0.0, 0.4), 100.0),
        });
    }
    if engine.cycle == Cycle::FourStroke {
        // The intake stroke follows the exhaust within the same turn or so.
        timbre.scavenge *= 0.6;
    }
    rounded(timbre)
}

fn resonances(r: &mut Random, least: usize, most: usize, low: f64, high: f64) -> Vec<Resonance> {
    let count = least + r.below(most - least + 1);
    (0..count)
        .map(|_| Resonance {
            hertz: Hertz(r.between_log(low, high).round()),
            q: r.between_log(0.8, 9.0),
            gain: r.between(0.15, 1.0),
        })
        // What is bright is weaker, as behind a muffler.
        .map(|x| Resonance {
            gain: x.gain * (250.0 / x.hertz.0).powf(0.5).min(1.5),
            ..x
        })
        .collect()
}

/// Few digits, so that a scene file can be read.
fn rounded(mut timbre: Timbre) -> Timbre {
    for x in [
        &mut timbre.pulse_degrees,
        &mut timbre.tail,
        &mut timbre.rarefaction,
        &mut timbre.rarefaction_at,
        &mut timbre.memory,
        &mut timbre.pumping,
        &mut timbre.recovery,
        &mut timbre.variation_idle,
        &mut timbre.variation_full,
        &mut timbre.scavenge,
        &mut timbre.scavenge_at,
        &mut timbre.scavenge_degrees,
        &mut timbre.speed_exponent,
        &mut timbre.direct,
    ] {
        *x = round(*x, 1000.0);
    }
    for resonance in timbre.muffler.iter_mut().chain(&mut timbre.intake) {
        resonance.q = round(resonance.q, 100.0);
        resonance.gain = round(resonance.gain, 100.0);
    }
    timbre
}
