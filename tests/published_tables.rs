//! Windows against published tables.
//!
//! - F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier
//!   transform", Proc. IEEE 66(1), 1978, 51-83, Table 1 (from memory; the table prints two figures
//!   after the point).
//! - G. Heinzel, A. Rüdiger, R. Schilling, "Spectrum and spectral density estimation by the discrete
//!   Fourier transform (DFT), including a comprehensive list of window functions and some new
//!   flat-top windows", 2002 (from memory); Harris has no flat-top window.
use engine_note::spectrum::Window;

const LENGTH: usize = 4_096;

/// Window, coherent gain, noise bandwidth in bins, scalloping loss in dB, worst-case loss in dB.
const HARRIS: [(Window, f64, f64, f64, f64); 5] = [
    (Window::Rectangle, 1.00, 1.00, 3.92, 3.92),
    (Window::Hann, 0.50, 1.50, 1.42, 3.18),
    // The table prints a scalloping loss of 1.78 for Hamming; the exact figure is 1.7514, and with it
    // the printed worst-case loss of 3.10 is right: 1.7514 + 10 log10(1.3628) = 3.0957.
    (Window::Hamming, 0.54, 1.36, 1.7514, 3.10),
    (Window::Blackman, 0.42, 1.73, 1.10, 3.47),
    (Window::BlackmanHarris, 0.36, 2.00, 0.83, 3.85),
];

/// Half a unit of the last figure printed, and a little for the length of the window.
const PRINTED: f64 = 0.005_5;

#[test]
fn harris_1978_table_1() {
    for (window, gain, bandwidth, scalloping, worst) in HARRIS {
        let near = |what: &str, measured: f64, printed: f64| {
            assert!(
                (measured - printed).abs() < PRINTED,
                "{window:?}, {what}: {measured:.4}, printed {printed}"
            );
        };
        let (enbw, loss) = (
            window.noise_bandwidth(LENGTH),
            window.scalloping_loss(LENGTH),
        );
        near("coherent gain", window.coherent_gain(LENGTH), gain);
        near("noise bandwidth", enbw, bandwidth);
        near("scalloping loss", loss, scalloping);
        near("worst-case loss", loss + 10.0 * enbw.log10(), worst);
    }
}

#[test]
fn closed_forms_of_the_cosine_series() {
    // Coherent gain a0, noise bandwidth 1 + Σ ak²/(2 a0²), from the orthogonality of cosines.
    for (window, gain, bandwidth) in [
        (Window::Rectangle, 1.0, 1.0),
        (Window::Hann, 0.5, 1.5),
        (
            Window::Hamming,
            0.54,
            1.0 + 0.46f64.powi(2) / (2.0 * 0.54f64.powi(2)),
        ),
        (
            Window::Blackman,
            0.42,
            1.0 + (0.5f64.powi(2) + 0.08f64.powi(2)) / (2.0 * 0.42f64.powi(2)),
        ),
    ] {
        assert!(
            (window.coherent_gain(LENGTH) - gain).abs() < 1e-12,
            "{window:?}"
        );
        assert!(
            (window.noise_bandwidth(LENGTH) - bandwidth).abs() < 1e-12,
            "{window:?}"
        );
    }
}

#[test]
fn exact_hamming_scalloping_is_1_7514_db() {
    assert!((Window::Hamming.scalloping_loss(LENGTH) - 1.7514).abs() < 0.000_05);
    assert!((Window::Hamming.noise_bandwidth(LENGTH) - 1.3628).abs() < 0.000_05);
}

#[test]
fn flat_top_after_heinzel_ruediger_schilling_2002() {
    let flat_top = Window::FlatTop;
    assert!((flat_top.coherent_gain(LENGTH) - 0.2156).abs() < 0.000_05);
    assert!((flat_top.noise_bandwidth(LENGTH) - 3.7702).abs() < 0.000_1);
    // Scalloping 0.0102 dB: the window exists to read amplitudes right between the bins.
    assert!((flat_top.scalloping_loss(LENGTH) - 0.0102).abs() < 0.000_5);
}

#[test]
fn highest_side_lobe() {
    // Harris 1978, Table 1: rectangle -13, Hann -32, Blackman -58, minimum 4-term -92 dB; Hamming's
    // is -43 dB. Measured on a transform by definition, 16 points a bin, beyond the main lobe.
    for (window, main_lobe, printed) in [
        (Window::Rectangle, 1.0, -13.0),
        (Window::Hann, 2.0, -32.0),
        (Window::Hamming, 2.0, -43.0),
        (Window::Blackman, 3.0, -58.0),
        (Window::BlackmanHarris, 4.0, -92.0),
    ] {
        let n = 256;
        let w = window.samples(n);
        let response = |bin: f64| {
            let step = std::f64::consts::TAU * bin / n as f64;
            let (re, im) = w.iter().enumerate().fold((0.0, 0.0), |(re, im), (i, v)| {
                (
                    re + v * (step * i as f64).cos(),
                    im - v * (step * i as f64).sin(),
                )
            });
            re.hypot(im)
        };
        let whole = response(0.0);
        let from = (main_lobe * 16.0) as usize;
        let highest = (from..16 * 40)
            .map(|i| response(i as f64 / 16.0))
            .fold(0.0, f64::max);
        let level = 20.0 * (highest / whole).log10();
        assert!(
            (level - printed).abs() < 0.6,
            "{window:?}: {level:.2} dB, printed {printed}"
        );
    }
}
