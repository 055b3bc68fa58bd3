//! The fine reading against the variance bound of frequency estimation.
//!
//! For a real tone of amplitude A in white noise of variance σ², N samples at the rate fs:
//! var f >= 12 fs² / ((2π)² η N (N² - 1)), η = A²/(2σ²) (Rife and Boorstyn 1974; Kay, example 3.14;
//! both from memory). For harmonics of amplitudes A_k with free phases, A² becomes Σ k² A_k². N are
//! the samples that one look in crank angle spans (`tach::angle`): that is all the sound that a
//! reading rests on, the path around it aside.
//!
//! `cargo test --test variance_bound -- --nocapture` prints the table from which
//! `docs/variance-bound.py` draws `docs/variance-bound.svg`.
mod tones;

use std::f64::consts::TAU;

use engine_note::machine::Profile;
use engine_note::tach::LookAhead;
use engine_note::tach::angle::SAMPLES;
use tones::{RATE, falling_lines, harmonic_sound, inner_moments};

/// Ratios of noise in dB; the power of all lines over that of the noise up to 4 kHz.
const SNRS: [f64; 8] = [-10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 20.0, 30.0];
/// Firing notes in hertz, none in a simple ratio to the grid or to each other.
const NOTES: [f64; 4] = [61.3, 97.1, 150.7, 203.9];
/// Lines above this do not belong to the comparison: the fine reading takes the first twelve.
const ORDERS: f64 = 12.0;

/// Samples at the working rate that a look spans at `hertz` revolutions a second: 4,200 samples a
/// second or more in crank angle, a power of two a turn.
fn span(hertz: f64) -> f64 {
    let per_turn = (4_200.0 / hertz).log2().ceil().exp2().clamp(16.0, 256.0);
    SAMPLES as f64 / per_turn / hertz * RATE
}

/// The bound on the standard deviation as a ratio of the speed.
fn bound(hertz: f64, lines: &[(f64, f64)], snr: f64) -> f64 {
    let power: f64 = lines.iter().map(|l| 0.5 * l.1 * l.1).sum();
    let noise = power * 10f64.powf(-snr / 10.0);
    let eta = lines.iter().map(|l| (l.0 * l.1).powi(2)).sum::<f64>() / (2.0 * noise);
    let n = span(hertz);
    (12.0 * RATE * RATE / (TAU * TAU * eta * n * (n * n - 1.0))).sqrt() / hertz
}

struct Row {
    snr: f64,
    /// Root-mean-square error, mean error and bound, as ratios.
    error: f64,
    bias: f64,
    bound: f64,
}

impl Row {
    /// How far the error's variance lies above the bound, in dB.
    fn above(&self) -> f64 {
        20.0 * (self.error / self.bound).log10()
    }
}

fn measure(snr: f64) -> Vec<Row> {
    NOTES
        .iter()
        .enumerate()
        .map(|(i, &hertz)| {
            let mut lines = falling_lines(hertz, ORDERS * hertz + 1.0);
            lines.truncate(ORDERS as usize);
            let sound = harmonic_sound(hertz, &lines, snr, 40.0, 7 + i as u64);
            let errors: Vec<f64> = inner_moments(&sound, &Profile::default(), LookAhead::CLIP)
                .iter()
                .map(|m| m.rpm.hertz().0 / hertz - 1.0)
                .collect();
            let n = errors.len() as f64;
            Row {
                snr,
                error: (errors.iter().map(|e| e * e).sum::<f64>() / n).sqrt(),
                bias: errors.iter().sum::<f64>() / n,
                bound: bound(hertz, &lines, snr),
            }
        })
        .collect()
}

#[test]
fn fine_reading_against_the_bound() {
    println!("snr_db,note_hz,bound_percent,error_percent,bias_percent,above_bound_db");
    for snr in SNRS {
        let rows = measure(snr);
        for (row, note) in rows.iter().zip(NOTES) {
            println!(
                "{},{note},{:.6},{:.6},{:.6},{:.2}",
                row.snr,
                100.0 * row.bound,
                100.0 * row.error,
                100.0 * row.bias,
                row.above()
            );
            if !(0.0..=15.0).contains(&row.snr) {
                continue;
            }
            assert!(
                row.above() < 3.0,
                "{snr} dB, {note} Hz: {:.1} dB above the bound",
                row.above()
            );
            // A hundred looks have nothing in common, so that chance leaves a tenth of the error.
            assert!(
                row.bias.abs() < 0.3 * row.error,
                "{snr} dB, {note} Hz: bias {:.4} % of an error of {:.4} %",
                100.0 * row.bias,
                100.0 * row.error
            );
            // Nothing can be below the bound by more than the chance of a minute's looks.
            assert!(
                row.above() > -2.0,
                "{snr} dB, {note} Hz: {:.1} dB",
                row.above()
            );
        }
    }
}
