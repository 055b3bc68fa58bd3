//! Filters: second-order sections, Butterworth high-pass and low-pass, resonances.
use std::f64::consts::PI;

/// A second-order section in transposed direct form II.
#[derive(Clone, Debug)]
pub(super) struct Section {
    b: [f64; 3],
    a: [f64; 2],
    state: [f64; 2],
}

impl Section {
    fn new(b: [f64; 3], a0: f64, a: [f64; 2]) -> Self {
        Section {
            b: b.map(|x| x / a0),
            a: a.map(|x| x / a0),
            state: [0.0; 2],
        }
    }

    /// Band-pass with the gain 1 at its centre `hertz`; `q` is centre over −3 dB width.
    /// Bilinear transform (audio equation cookbook by R. Bristow-Johnson, from memory).
    pub(super) fn resonance(hertz: f64, q: f64, rate: f64) -> Self {
        let w = 2.0 * PI * hertz.clamp(1.0, 0.47 * rate) / rate;
        let alpha = w.sin() / (2.0 * q.max(0.1));
        Section::new(
            [alpha, 0.0, -alpha],
            1.0 + alpha,
            [-2.0 * w.cos(), 1.0 - alpha],
        )
    }

    /// Takes over the coefficients of another section and keeps its own state.
    pub(super) fn retune(&mut self, other: &Section) {
        self.b = other.b;
        self.a = other.a;
    }

    /// The next sample.
    pub(super) fn run(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y
    }
}

/// A chain of sections.
#[derive(Clone, Debug, Default)]
pub(super) struct Chain(Vec<Section>);

impl Chain {
    /// Butterworth high-pass of the order `order`: −3.01 dB at `hertz` whatever the order.
    pub(super) fn high_pass(hertz: f64, order: usize, rate: f64) -> Self {
        Self::butterworth(hertz, order, rate, true)
    }

    /// Butterworth low-pass of the order `order`: −3.01 dB at `hertz` whatever the order.
    pub(super) fn low_pass(hertz: f64, order: usize, rate: f64) -> Self {
        Self::butterworth(hertz, order, rate, false)
    }

    fn butterworth(hertz: f64, order: usize, rate: f64, high: bool) -> Self {
        let k = (PI * hertz.clamp(0.01, 0.47 * rate) / rate).tan();
        let mut sections = Vec::new();
        for pair in 0..order / 2 {
            // Pole pairs on the circle at the angles π(2·pair + 1)/(2·order) from the imaginary axis.
            let damping = 2.0 * (PI * (2 * pair + 1) as f64 / (2 * order) as f64).sin();
            let b = if high {
                [1.0, -2.0, 1.0]
            } else {
                [k * k, 2.0 * k * k, k * k]
            };
            sections.push(Section::new(
                b,
                1.0 + damping * k + k * k,
                [2.0 * (k * k - 1.0), 1.0 - damping * k + k * k],
            ));
        }
        if order % 2 == 1 {
            let b = if high { [1.0, -1.0, 0.0] } else { [k, k, 0.0] };
            sections.push(Section::new(b, 1.0 + k, [k - 1.0, 0.0]));
        }
        Chain(sections)
    }

    /// The next sample.
    pub(super) fn run(&mut self, x: f64) -> f64 {
        self.0.iter_mut().fold(x, |x, section| section.run(x))
    }
}

/// Resonances side by side, each with its own gain, plus the direct sound through a low-pass.
#[derive(Clone, Debug)]
pub(super) struct Bank {
    resonances: Vec<(Section, f64)>,
    direct: Chain,
    direct_gain: f64,
}

impl Bank {
    /// Resonances as (centre in hertz, q, gain); the direct path falls off above `brightness` hertz.
    pub(super) fn new(
        resonances: &[(f64, f64, f64)],
        direct_gain: f64,
        brightness: f64,
        rate: f64,
    ) -> Self {
        Bank {
            resonances: resonances
                .iter()
                .map(|&(f, q, g)| (Section::resonance(f, q, rate), g))
                .collect(),
            direct: Chain::low_pass(brightness, 1, rate),
            direct_gain,
        }
    }

    /// The next sample.
    pub(super) fn run(&mut self, x: f64) -> f64 {
        let direct = self.direct.run(x) * self.direct_gain;
        self.resonances
            .iter_mut()
            .fold(direct, |sum, (section, gain)| sum + section.run(x) * *gain)
    }
}

/// Noise that falls by 3 dB an octave: white noise through one-pole low-passes an octave and more
/// apart (coefficients by P. Kellet, from memory; within 0.5 dB above 10 Hz at 44.1 kHz).
#[derive(Clone, Debug, Default)]
pub(super) struct Pink([f64; 6]);

impl Pink {
    /// The next sample from a white one.
    pub(super) fn run(&mut self, white: f64) -> f64 {
        const POLES: [(f64, f64); 6] = [
            (0.99886, 0.055_517_9),
            (0.99332, 0.075_075_9),
            (0.96900, 0.153_852_0),
            (0.86650, 0.310_485_6),
            (0.55000, 0.532_952_2),
            (-0.7616, -0.016_898_0),
        ];
        let mut sum = 0.5362 * white;
        for (state, (pole, gain)) in self.0.iter_mut().zip(POLES) {
            *state = pole * *state + gain * white;
            sum += *state;
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gain_at(chain: &Chain, hertz: f64, rate: f64) -> f64 {
        // Steady sine, in-phase and quadrature sums over whole periods after the transient.
        let mut chain = chain.clone();
        let n = rate as usize;
        let (mut re, mut im) = (0.0, 0.0);
        for i in 0..2 * n {
            let phase = 2.0 * PI * hertz * i as f64 / rate;
            let y = chain.run(phase.sin());
            if i >= n {
                re += y * phase.sin();
                im += y * phase.cos();
            }
        }
        2.0 * re.hypot(im) / n as f64
    }

    #[test]
    fn butterworth_is_half_power_at_its_corner() {
        for order in 1..=4 {
            let chain = Chain::high_pass(150.0, order, 48_000.0);
            assert!((gain_at(&chain, 150.0, 48_000.0) - 0.5f64.sqrt()).abs() < 1e-6);
            // One octave and a third below: |H|² = 1/(1 + (fc/f)^2n), warped by the bilinear transform
            // by less than 0.1 % here.
            let expected = (1.0 + (150.0f64 / 60.0).powi(2 * order as i32))
                .sqrt()
                .recip();
            assert!((gain_at(&chain, 60.0, 48_000.0) / expected - 1.0).abs() < 1e-3);
            let chain = Chain::low_pass(3_400.0, order, 48_000.0);
            assert!((gain_at(&chain, 3_400.0, 48_000.0) - 0.5f64.sqrt()).abs() < 1e-6);
        }
    }

    #[test]
    fn resonance_passes_its_centre_unchanged() {
        let chain = Chain(vec![Section::resonance(440.0, 8.0, 48_000.0)]);
        assert!((gain_at(&chain, 440.0, 48_000.0) - 1.0).abs() < 1e-6);
    }
}
