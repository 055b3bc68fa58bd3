//! Sounds in closed form, for tests: nothing here is rendered by the program.
#![allow(dead_code, reason = "each test file uses its own part")]
use std::f64::consts::TAU;

use engine_note::capture::WORKING_RATE;
use engine_note::machine::Profile;
use engine_note::tach::{LookAhead, Moment, Tachometer};

/// Working rate as a number.
pub const RATE: f64 = WORKING_RATE as f64;

/// Random numbers by multiplication (the 64-bit constants of Knuth's MMIX generator).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        let mut dice = Dice(seed);
        (0..8).for_each(|_| _ = dice.unit());
        dice
    }

    /// 0 to 1, evenly.
    pub fn unit(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Normal, standard deviation 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (TAU * self.unit()).cos()
    }
}

/// A harmonic: its multiple of the fundamental, its amplitude.
pub type Line = (f64, f64);

/// Lines at 1, 2, ... times the fundamental up to `highest` hertz, amplitude 1/k.
pub fn falling_lines(fundamental: f64, highest: f64) -> Vec<Line> {
    (1..)
        .map(f64::from)
        .take_while(|k| k * fundamental <= highest)
        .map(|k| (k, 1.0 / k))
        .collect()
}

/// A sum of lines with phases by lot and white noise, `snr` dB below all lines together, at the
/// working rate; peak about 0.5.
pub fn harmonic_sound(
    fundamental: f64,
    lines: &[Line],
    snr: f64,
    seconds: f64,
    seed: u64,
) -> Vec<f32> {
    let mut dice = Dice::new(seed);
    let phases: Vec<f64> = lines.iter().map(|_| TAU * dice.unit()).collect();
    let power: f64 = lines.iter().map(|l| 0.5 * l.1 * l.1).sum();
    let noise = (power * 10f64.powf(-snr / 10.0)).sqrt();
    let scale = 0.12 / power.sqrt();
    (0..(seconds * RATE) as usize)
        .map(|n| {
            let x = TAU * fundamental * n as f64 / RATE;
            let tone: f64 = lines
                .iter()
                .zip(&phases)
                .map(|(l, p)| l.1 * (l.0 * x + p).cos())
                .sum();
            (scale * (tone + noise * dice.normal())) as f32
        })
        .collect()
}

/// What the tachometer says of a sound at the working rate, below the question whether an engine
/// runs at all: tones as even as these are refused there, and rightly.
pub fn moments(sound: &[f32], machine: &Profile, look: LookAhead) -> Vec<Moment> {
    let mut tachometer = Tachometer::new(
        look,
        machine.search_band(),
        machine.firings_per_revolution(),
    );
    let mut moments = Vec::new();
    tachometer.push(sound, &mut |m, _| moments.push(*m));
    tachometer.finish(&mut |m, _| moments.push(*m));
    moments
}

/// The moments of a sound that are further than half a second from both ends.
pub fn inner_moments(sound: &[f32], machine: &Profile, look: LookAhead) -> Vec<Moment> {
    let all = moments(sound, machine, look);
    let edge = 32;
    assert!(all.len() > 2 * edge, "the sound is too short for this test");
    all[edge..all.len() - edge].to_vec()
}

/// The middle value.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
