//! The same engines with everything drawn wider than our own model takes for granted: lags, strength
//! of a turn, sharpness of the peaks, cross-talk, warm-up, noise of the idle, what "just
//! four-stroking" is. A guide that only knows our engines shows here.
use engine_note::machine::Carburetor;
use engine_note::synth::{Random, Specimen};
use engine_note::units::Seconds;

/// Draws them anew.
pub fn widen(specimen: &mut Specimen, seed: u64) {
    let r = &mut Random::new(seed, 700);
    let just = specimen.engine.full.0;
    let idle = specimen.engine.idle.0;
    specimen.mixture_lag = Seconds(r.between_log(0.2, 2.0));
    specimen.full_curve.rich = 8.0 * r.between_log(100.0, 800.0) / just;
    specimen.full_curve.lean = 8.0 * r.between_log(150.0, 1_000.0) / just;
    specimen.full_curve.round = r.between_log(0.03, 0.25);
    specimen.peak_leaner = r.between(0.04, 0.3);
    specimen.full_peak.0 = just / (1.0 - specimen.full_curve.loss(specimen.peak_leaner));
    // 5 to 25 % of the turns skipped.
    let ratio = r.between_log(0.05, 0.25);
    specimen.onset = ratio / (1.0 - ratio);
    specimen.onset_width = r.between_log(0.02, 0.08);
    specimen.idle_curve.rich = 8.0 * r.between_log(60.0, 450.0) / idle;
    specimen.idle_curve.lean = 8.0 * r.between_log(100.0, 700.0) / idle;
    specimen.idle_curve.round = r.between_log(0.03, 0.3);
    specimen.low_on_full *= r.between(0.0, 1.6);
    specimen.high_on_idle *= r.between(0.4, 1.6);
    specimen.warm_up = Seconds(r.between_log(20.0, 300.0));
    specimen.cold_lean = r.between(0.0, 0.2);
    specimen.cold_slow = r.between(0.0, 0.15);
    specimen.inertia = (
        Seconds(r.between_log(0.08, 0.6)),
        Seconds(r.between_log(0.15, 1.0)),
    );
    specimen.idle_wander_percent = r.between_log(0.3, 2.0);
    specimen.bog_below = match specimen.carburetor {
        Carburetor::BarrelValve => r.between(-0.3, -0.02),
        _ => r.between(-0.2, 0.08),
    };
    specimen.hang_below = r.between(-0.3, -0.05);
    specimen.found.high = (specimen.high_ideal + r.between(-0.9, 0.9)).max(0.2);
}
