//! The engine on the bench does what engines do (common practice, no source, as far as no source is
//! named): what the closed loop proves rests on it.
use engine_note::machine::Carburetor;
use engine_note::synth::{
    AILMENTS, Ailment, Controls, Live, Settings, Specimen, Surroundings, draw_specimen,
};

/// Warm, running, all screws right, unless changed.
fn right(specimen: &Specimen) -> Settings {
    let range = specimen.profile.speeds.idle.unwrap();
    let idle = 0.5 * (range.low().0 + range.high().0);
    Settings {
        high: specimen.high_ideal,
        low: specimen.low_final,
        idle: (idle - specimen.touch.0) / specimen.idle_turn.0,
    }
}

fn hands(settings: Settings, throttle: f64) -> Controls {
    Controls {
        settings,
        throttle,
        ignition: true,
        pulling: false,
    }
}

/// Speed after three seconds at idle and five at full throttle, and the skip ratio then.
fn at_full(specimen: &Specimen, settings: Settings) -> (f64, f64) {
    let mut live = Live::silent(specimen, 7, 1.0, true);
    live.pass(&hands(settings, 0.0), 3_000);
    live.pass(&hands(settings, 1.0), 5_000);
    (live.speed().0, live.skip_ratio())
}

fn healthy() -> impl Iterator<Item = Specimen> {
    (1..=60).map(|seed| draw_specimen(seed, None).0)
}

#[test]
fn an_eighth_richer_costs_two_to_six_hundred_rpm_and_burbles_more() {
    for specimen in healthy().filter(|s| s.limiter.is_none()) {
        let turned = |turns: f64| {
            let mut settings = right(&specimen);
            settings.high += turns;
            at_full(&specimen, settings)
        };
        let (lean, ideal, eighth, quarter) =
            (turned(-0.2), turned(0.0), turned(0.125), turned(0.25));
        let cost = eighth.0 - quarter.0;
        assert!((120.0..650.0).contains(&cost), "{cost} rpm");
        // About two hundred turns were judged: a deviation of 0.1 is three standard errors.
        assert!(lean.1 < 0.06, "{lean:?}");
        assert!((0.02..0.32).contains(&ideal.1), "{ideal:?}");
        assert!(
            eighth.1 > ideal.1 && quarter.1 > 0.35,
            "{eighth:?} {quarter:?}"
        );
    }
}

#[test]
fn an_eighth_of_the_idle_speed_screw_is_a_hundred_to_three_hundred_rpm() {
    for specimen in healthy() {
        let at = right(&specimen);
        let mixture = specimen.idle_mixture(&at, 1.0);
        let step = specimen.idle_speed(at.idle, mixture).0
            - specimen.idle_speed(at.idle - 0.125, mixture).0;
        assert!((60.0..300.0).contains(&step), "{step} rpm");
    }
}

#[test]
fn the_idle_is_fastest_at_its_peak_and_the_high_speed_screw_reaches_it_on_a_barrel_valve() {
    for specimen in healthy() {
        let at = right(&specimen);
        let speed = |low: f64, high: f64| {
            let at = Settings { low, high, ..at };
            specimen
                .idle_speed(at.idle, specimen.idle_mixture(&at, 1.0))
                .0
        };
        let peak = speed(specimen.low_peak, specimen.high_ideal);
        for off in [-0.25, 0.25] {
            assert!(speed(specimen.low_peak + off, specimen.high_ideal) < peak - 40.0);
        }
        // Half a turn of the high-speed screw, in turns of the low-speed screw.
        let mixture = |high: f64| specimen.idle_mixture(&Settings { high, ..at }, 1.0);
        let moved = mixture(specimen.high_ideal + 0.5) - mixture(specimen.high_ideal);
        let barrel = specimen.carburetor == Carburetor::BarrelValve;
        assert_eq!(moved > 0.1, barrel, "{moved}");
    }
}

#[test]
fn a_limited_coil_holds_the_ceiling_whatever_the_screw() {
    let limited = healthy().filter(|s| s.limiter.is_some());
    let mut held = 0;
    for mut specimen in limited {
        let ceiling = specimen.full_speed(0.0).0 - 200.0;
        if let Some(limiter) = &mut specimen.limiter {
            limiter.ceiling.0 = ceiling;
        }
        let at = right(&specimen);
        let leaner = Settings {
            high: at.high - 0.0625,
            ..at
        };
        for settings in [at, leaner] {
            let mut live = Live::silent(&specimen, 3, 1.0, true);
            live.pass(&hands(settings, 0.0), 2_000);
            live.pass(&hands(settings, 1.0), 4_000);
            assert!(live.limited());
            assert!(
                live.speed().0 < 1.02 * ceiling,
                "{} over {ceiling}",
                live.speed().0
            );
        }
        held += 1;
    }
    assert!(held > 10, "{held} engines with a limited coil");
}

#[test]
fn it_stalls_when_the_idle_is_too_low_and_starts_again() {
    for specimen in healthy().take(10) {
        let at = right(&specimen);
        let mut live = Live::silent(&specimen, 5, 1.0, true);
        let low = Settings { idle: -1.0, ..at };
        // A free idle-speed screw leaves no more than the speed at its first touch.
        let free = specimen
            .idle_speed(-1.0, specimen.idle_mixture(&low, 1.0))
            .0;
        live.pass(&hands(low, 0.0), 8_000);
        assert_eq!(live.runs(), free > specimen.stall.0 - 60.0, "{free}");
        let pull = Controls {
            pulling: true,
            throttle: 0.15,
            ..hands(at, 0.0)
        };
        live.pass(&pull, 9_000);
        assert!(live.runs());
        live.pass(&hands(at, 0.0), 5_000);
        assert!(live.runs());
    }
}

#[test]
fn starved_it_fades_after_seconds_and_no_screw_helps() {
    for seed in 1..=20 {
        let (specimen, _) = draw_specimen(seed, Some("fuel-starvation"));
        for richer in [0.0, 0.25] {
            let mut settings = right(&specimen);
            settings.high += richer;
            let mut live = Live::silent(&specimen, 7, 1.0, true);
            live.pass(&hands(settings, 0.0), 3_000);
            live.pass(&hands(settings, 1.0), 1_300);
            let fresh = live.speed().0;
            live.pass(&hands(settings, 1.0), 7_700);
            assert!(
                live.speed().0 < 0.97 * fresh,
                "{fresh} to {}",
                live.speed().0
            );
        }
    }
}

#[test]
fn an_air_leak_idles_fast_hangs_and_hardly_answers() {
    for seed in 1..=20 {
        let (specimen, _) = draw_specimen(seed, Some("air-leak"));
        let sound = Specimen {
            ailment: None,
            ..specimen.clone()
        };
        let at = right(&specimen);
        let idle = |s: &Specimen, low: f64| {
            let at = Settings { low, ..at };
            s.idle_speed(at.idle, s.idle_mixture(&at, 1.0)).0
        };
        assert!(idle(&specimen, at.low) > idle(&sound, at.low));
        let mixture = |s: &Specimen, high: f64| s.full_mixture(&Settings { high, ..at }, 1.0);
        let answer = mixture(&specimen, at.high + 0.25) - mixture(&specimen, at.high);
        assert!(answer < 0.11, "a quarter of a turn counts for {answer}");
        let mut live = Live::silent(&specimen, 7, 1.0, true);
        // Not snapped open: so lean it would bog.
        live.pass(&hands(at, 0.55), 4_000);
        live.pass(&hands(at, 0.0), 3_000);
        let after = live.speed().0;
        assert!(after > 1.04 * idle(&specimen, at.low), "{after}");
    }
}

#[test]
fn each_fault_can_be_planted_and_a_healthy_engine_has_none() {
    for word in AILMENTS {
        let (specimen, _) = draw_specimen(4, Some(word));
        assert_eq!(specimen.ailment.as_ref().map(Ailment::word), Some(word));
    }
    assert!(healthy().all(|s| s.ailment.is_none()));
}

#[test]
fn the_sound_is_the_same_whatever_the_block_and_another_with_another_seed() {
    let (specimen, around): (Specimen, Surroundings) = draw_specimen(9, None);
    let sound = |seed: u64, block: usize| {
        let mut live = Live::sounding(&specimen, &around, seed, 16_000, 1.0, true);
        let mut all = vec![0.0f32; 48_000];
        for out in all.chunks_mut(block) {
            live.pull(&hands(right(&specimen), 1.0), out);
        }
        all
    };
    let one = sound(9, 128);
    assert_eq!(one, sound(9, 128));
    assert_eq!(one, sound(9, 4_800));
    assert_ne!(one, sound(10, 128));
    assert!(one.iter().all(|x| x.abs() <= 1.0));
}

/// The period in the samples is that of the truth, by autocorrelation: no part of the program under
/// test takes part.
#[test]
fn the_turns_are_in_the_sound_at_the_speed_of_the_truth() {
    for seed in [3, 4, 8] {
        let (mut specimen, mut around) = draw_specimen(seed, None);
        specimen.limiter = None;
        around.noise.snr.0 = 40.0;
        let mut at = right(&specimen);
        at.high -= 0.25;
        let mut live = Live::sounding(&specimen, &around, seed, 16_000, 1.0, true);
        let mut sound = vec![0.0f32; 80_000];
        live.pull(&hands(at, 1.0), &mut sound);
        let lags = 16_000.0 / live.speed().hertz().0;
        let part = &sound[48_000..];
        let alike = |lag: usize| -> f64 {
            let pairs = part.iter().zip(&part[lag..]);
            pairs.map(|(a, b)| f64::from(a * b)).sum()
        };
        // Eight turns on, so that a sample more or less is an eighth of a percent.
        let wanted = (8.0 * lags).round() as usize;
        let best = (wanted - 20..=wanted + 20)
            .max_by(|a, b| alike(*a).total_cmp(&alike(*b)))
            .unwrap();
        let error = best as f64 / (8.0 * lags) - 1.0;
        assert!(error.abs() < 0.005, "seed {seed}: {error}");
    }
}
