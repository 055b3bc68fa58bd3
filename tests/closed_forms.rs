//! Crank speed and firing on sounds whose truth is a formula.
//!
//! - A two-stroke fires each cylinder once a revolution: rpm = 60 f / cylinders. A four-stroke cycle
//!   every second one: rpm = 120 f / cylinders (f: firings a second).
//! - Equal-tempered tones from A4 = 440 Hz. ISO 16 fixes only A4; the others are its multiples by
//!   powers of the twelfth root of two.
//! - Firings of strength a and b in turn have the Fourier coefficients (a+b)/2 at whole and (a-b)/2
//!   at half orders, times the spectrum of the single pulse.
mod tones;

use std::f64::consts::{PI, TAU};

use engine_note::firing::families;
use engine_note::machine::{Cycle, Profile};
use engine_note::reading::{Frame, Listener, Look};
use engine_note::synth::{Scene, draw_engine, render};
use engine_note::tach::LookAhead;
use engine_note::tach::angle::{Angle, Track};
use engine_note::tach::curve::Curve;
use tones::{Dice, RATE, falling_lines, harmonic_sound, inner_moments, median};

/// The tones have to be read to 0.05 %; for the others the aim is that of the median error on steady
/// sound, 0.1 %.
const TONE: f64 = 0.000_5;
const STEADY: f64 = 0.001;

/// How a steady sound misses `truth`, if it does: the median by more than `tolerance` (a ratio), or
/// any moment by more than 0.5 %.
fn miss(
    truth: f64,
    tolerance: f64,
    firing_hertz: f64,
    machine: &Profile,
    seed: u64,
) -> Option<String> {
    let lines = falling_lines(firing_hertz, 2_500.0);
    let sound = harmonic_sound(firing_hertz, &lines, 20.0, 4.0, seed);
    let ratios: Vec<f64> = inner_moments(&sound, machine, LookAhead::CLIP)
        .iter()
        .map(|m| m.rpm.0 / truth)
        .collect();
    let off = median(ratios.clone()) - 1.0;
    let worst = ratios.iter().map(|r| (r - 1.0).abs()).fold(0.0, f64::max);
    let (off, worst) = (100.0 * off, 100.0 * worst);
    (off.abs() >= 100.0 * tolerance || worst >= 0.5)
        .then(|| format!("{truth:.1} rpm: off by {off:.3} %, the worst moment by {worst:.3} %"))
}

fn machine(cycle: Cycle, cylinders: u8) -> Profile {
    Profile {
        cycle,
        cylinders,
        ..Profile::default()
    }
}

fn none_misses(misses: impl Iterator<Item = Option<String>>) {
    let misses: Vec<String> = misses.flatten().collect();
    assert!(misses.is_empty(), "{}", misses.join("\n"));
}

#[test]
fn two_stroke_rpm_is_60_f_over_cylinders() {
    let cases = (1..=4u8).flat_map(|n| [43.7, 71.3, 118.9, 163.0, 221.7].map(|f| (n, f)));
    none_misses(cases.map(|(cylinders, crank)| {
        let f = crank * f64::from(cylinders);
        let rpm = 60.0 * f / f64::from(cylinders);
        let machine = machine(Cycle::TwoStroke, cylinders);
        miss(rpm, STEADY, f, &machine, cylinders.into())
    }));
}

#[test]
fn four_stroke_cycle_rpm_is_120_f_over_cylinders() {
    let cases = (1..=4u8).flat_map(|n| [43.7, 71.3, 118.9, 163.0, 221.7].map(|f| (n, f)));
    none_misses(cases.map(|(cylinders, crank)| {
        let f = crank * f64::from(cylinders) / 2.0;
        let rpm = 120.0 * f / f64::from(cylinders);
        let machine = machine(Cycle::FourStroke, cylinders);
        miss(rpm, STEADY, f, &machine, 10 + u64::from(cylinders))
    }));
}

#[test]
fn equal_tempered_tones_from_a4_440_read_as_rpm() {
    // From E1 (2,472 rpm) to B3 (14,816 rpm), each semitone.
    none_misses((-41..=-10).map(|semitones_from_a4| {
        let hertz = 440.0 * (f64::from(semitones_from_a4) / 12.0).exp2();
        let seed = (100 + semitones_from_a4) as u64;
        miss(60.0 * hertz, TONE, hertz, &Profile::default(), seed)
    }));
}

/// Pulses of strengths `a` and `b` in turn, `rate` a second, each a bell of standard deviation
/// `sigma` seconds.
fn alternating(a: f64, b: f64, rate: f64, sigma: f64, samples: usize) -> Vec<f32> {
    let pulse = |t: f64| (-0.5 * (t / sigma).powi(2)).exp();
    (0..samples)
        .map(|n| {
            let t = n as f64 / RATE;
            let first = (t * rate).floor() as i64;
            let near = (first - 1..=first + 2).map(|k| {
                let strength = if k.rem_euclid(2) == 0 { a } else { b };
                strength * pulse(t - k as f64 / rate)
            });
            near.sum::<f64>() as f32
        })
        .collect()
}

#[test]
fn alternating_firings_show_half_orders_at_a_minus_b_over_a_plus_b() {
    // At 62.5 revolutions a second a look has 128 samples a turn, one for each at the working rate.
    let (rate, sigma) = (62.5, 0.000_3);
    for (a, b) in [(1.0, 0.9), (1.0, 0.7), (1.0, 0.5), (1.0, 0.2), (1.0, 0.0)] {
        let sound = alternating(a, b, rate, sigma, 16_000);
        let path = vec![rate; 100];
        let mut curve = Curve::default();
        curve.push(&sound);
        let track = Track {
            sound: curve.cubics(),
            origin: 0,
            hop: 128,
            path: &path,
        };
        let mut angle = Angle::new();
        let look = angle.cut(&track, 60, 1.0, false);
        let bins = 1.0 / look.order_per_bin;
        let level = |order: f64| 10.0 * f64::from(look.orders[(order * bins).round() as usize]);
        // The bell's own spectrum, in dB.
        let bell = |order: f64| {
            -20.0 * 2.0 * (PI * sigma * order * rate).powi(2) * std::f64::consts::LOG10_E
        };
        let expected = 20.0 * ((a - b) / (a + b)).log10();
        for k in 1..=6 {
            let (whole, half) = (f64::from(k), f64::from(k) - 0.5);
            let measured = (level(half) - bell(half)) - (level(whole) - bell(whole));
            assert!(
                (measured - expected).abs() < 0.1,
                "{a} : {b}, order {half}: {measured:.2} dB instead of {expected:.2} dB"
            );
        }
        // The same from all orders up to the eighth together, as the firing stage reads it.
        let power = |from: f64| -> f64 {
            (0..8)
                .map(|k| 10f64.powf(bell(f64::from(k) + from) / 10.0))
                .sum()
        };
        let together = expected + 10.0 * (power(0.5) / power(1.0)).log10();
        let families = 10.0 * families(look).level;
        assert!(
            (families - together).abs() < 0.1,
            "{a} : {b}: {families:.2} dB instead of {together:.2} dB"
        );
    }
}

/// Reads a sound in blocks whose sizes `size` gives.
fn read(
    sound: &[f32],
    rate: u32,
    channels: usize,
    look: Look,
    mut size: impl FnMut() -> usize,
) -> Vec<Frame> {
    let mut listener = Listener::new(rate, channels, &Profile::default(), look).unwrap();
    let (mut frames, mut rest) = (Vec::new(), sound);
    while !rest.is_empty() {
        let (block, later) = rest.split_at((size() * channels).min(rest.len()));
        listener.push(block, &mut frames);
        rest = later;
    }
    listener.finish(&mut frames);
    frames
}

#[test]
fn block_sizes_never_change_a_reading() {
    // One channel at 48 kHz, two at 44.1 kHz.
    for (seed, rate, channels) in [(11, 48_000, 1u8), (12, 44_100, 2)] {
        let mut scene = draw_engine(seed);
        (scene.sample_rate, scene.channels) = (rate, channels);
        scene.seconds.0 = 5.0;
        let (sound, _) = render(&scene).unwrap().finish();
        let channels = usize::from(channels);
        for look in [Look::Live, Look::Ahead] {
            let whole = read(&sound, rate, channels, look, || usize::MAX / channels);
            assert!(whole.len() > 300, "{} frames", whole.len());
            for split in 0..4 {
                let mut dice = Dice::new(seed + split);
                // From single samples to seconds, as many of each magnitude.
                let frames = read(&sound, rate, channels, look, || {
                    10f64.powf(5.0 * dice.unit().powi(2)) as usize
                });
                assert_eq!(frames.len(), whole.len());
                for (a, b) in frames.iter().zip(&whole) {
                    assert_eq!(a, b, "seed {seed}, {look:?}, split {split}");
                }
            }
        }
    }
}

#[test]
fn live_frames_trail_the_sound_by_at_most_200_ms() {
    for rate in [8_000, 16_000, 44_100, 48_000, 96_000] {
        let lines = falling_lines(120.0, 2_500.0);
        let mut dice = Dice::new(3);
        let sound: Vec<f32> = (0..2 * rate)
            .map(|n| {
                let x = TAU * 120.0 * f64::from(n) / f64::from(rate);
                let tone: f64 = lines.iter().map(|l| l.1 * (l.0 * x).cos()).sum();
                (0.1 * tone + 0.01 * dice.normal()) as f32
            })
            .collect();
        let mut listener = Listener::new(rate, 1, &Profile::default(), Look::Live).unwrap();
        let (mut frames, mut pushed, mut worst) = (Vec::new(), 0, 0.0f64);
        // A block of one millisecond, so that the block itself adds next to nothing.
        for block in sound.chunks(rate as usize / 1_000) {
            frames.clear();
            listener.push(block, &mut frames);
            pushed += block.len();
            for frame in &frames {
                worst = worst.max(pushed as f64 / f64::from(rate) - frame.t.0);
            }
        }
        assert!(worst > 0.0, "no frame came at {rate} Hz");
        // Measured: 189 ms at 44.1 kHz.
        assert!(
            worst <= 0.200,
            "{:.1} ms behind at {rate} Hz",
            1_000.0 * worst
        );
    }
}

/// Frames of a scene within a ratio of a speed, and all.
fn right(scene: &str, rpm: f64, within: f64) -> (usize, usize) {
    let scene = Scene::from_toml(scene).unwrap();
    let sound = render(&scene).unwrap().finish().0;
    let rate = scene.sample_rate;
    let mut listener = Listener::new(rate, 1, &Profile::default(), Look::Ahead).unwrap();
    let mut frames = Vec::new();
    listener.push(&sound, &mut frames);
    listener.finish(&mut frames);
    let speeds = frames.iter().filter_map(|frame| frame.speed.ok());
    let right = speeds.filter(|speed| (speed.rpm.0 / rpm - 1.0).abs() < within);
    (right.count(), frames.len())
}

/// 9,000 rpm are three times a public supply frequency (50 Hz); a crank that hardly wanders there is an
/// engine all the same when it skips.
#[test]
fn an_engine_that_skips_at_a_mains_speed_is_no_hum() {
    let text = include_str!("../fixtures/synth/every-second.scene.toml");
    let text = text
        .replace("rpm = 8650.0", "rpm = 9000.0")
        .replace("wander_percent = 0.05", "wander_percent = 0.03");
    let (right, all) = right(&text, 9_000.0, 0.01);
    assert!(right * 10 > all * 9, "{right} of {all}");
}

/// An idle swings by far more than the mains do: held at 50 and at 60 turns a second, it is read.
#[test]
fn an_idle_at_a_mains_speed_is_read() {
    let text = include_str!("../fixtures/synth/idle-uneven.scene.toml");
    for rpm in [3_000.0, 3_600.0] {
        let text = text.replace("rpm = 2650.0", &format!("rpm = {rpm:.1}"));
        let (right, all) = right(&text, rpm, 0.03);
        assert!(right * 10 > all * 9, "{right} of {all} at {rpm} rpm");
    }
}

/// The hum itself, at 50 and at 60 Hz, in noise from next to none up to twice its power.
#[test]
fn a_hum_is_no_engine_in_noise_either() {
    let text = include_str!("../fixtures/synth/none-hum-50.scene.toml");
    for hertz in [50.0, 60.0] {
        for snr in [60.0, 40.0, 20.0, 10.0, 3.0, 0.0, -3.0] {
            let text = text
                .replace("hertz = 50.0", &format!("hertz = {hertz:.1}"))
                .replace("snr = 25.0", &format!("snr = {snr:.1}"));
            let (speeds, all) = right(&text, 60.0 * hertz, f64::INFINITY);
            assert_eq!(speeds, 0, "of {all} at {hertz} Hz, {snr} dB");
        }
    }
}

/// The low end of the search band is 1,200 rpm: an engine found idling far too slow is an engine. This one
/// swings by a percent or two.
#[test]
fn a_far_too_slow_idle_is_read() {
    let text = include_str!("../fixtures/synth/idle-uneven.scene.toml");
    for rpm in [1_500.0, 1_700.0, 1_900.0] {
        let text = text.replace("rpm = 2650.0", &format!("rpm = {rpm:.1}"));
        let (right, all) = right(&text, rpm, 0.03);
        assert!(right * 10 > all * 9, "{right} of {all} at {rpm} rpm");
    }
}
