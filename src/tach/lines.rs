//! The first Fourier lines of the mean period of a sound that is cut by whole periods.
use crate::spectrum::sum;

/// Real and imaginary part.
pub(super) type Complex = (f64, f64);

/// Cosines and negative sines of the first `N` lines over the first half of a period, a row for
/// each, kept for each length that came. The lengths that one of them is asked for are a power of two each times the
/// same number.
#[derive(Debug, Default)]
pub(super) struct Waves<const N: usize>(Vec<Vec<f32>>);

impl<const N: usize> Waves<N> {
    /// Those of a period of so many samples, a row after the other.
    pub(super) fn of(&mut self, length: usize) -> &[f32] {
        let at = length.ilog2() as usize;
        if self.0.len() <= at {
            self.0.resize(at + 1, Vec::new());
        }
        let rows = &mut self.0[at];
        if rows.is_empty() {
            let angle = |i: usize| std::f32::consts::TAU * i as f32 / length as f32;
            let table: Vec<(f32, f32)> = (0..length)
                .map(|i| (angle(i).cos(), -angle(i).sin()))
                .collect();
            for k in 1..=N {
                let wave = (0..length / 2).map(|i| table[i * k % length]);
                rows.extend(wave.clone().map(|w| w.0));
                rows.extend(wave.map(|w| w.1));
            }
        }
        rows
    }
}

/// One period of a sound, folded in the middle.
#[derive(Debug, Default)]
pub(super) struct Fold {
    period: Vec<f32>,
    /// Sums and differences of the samples as far from either end; the first sample is its own.
    even: Vec<f32>,
    odd: Vec<f32>,
}

impl Fold {
    /// The first `N` Fourier lines of the mean period of a sound, from the waves of that period.
    #[inline(always)]
    pub(super) fn lines<const N: usize>(
        &mut self,
        sound: &[f32],
        period: usize,
        waves: &[f32],
    ) -> [Complex; N] {
        let half = period / 2;
        self.period.clear();
        self.period.resize(period, 0.0);
        for block in sound.chunks_exact(period) {
            for (f, s) in self.period.iter_mut().zip(block) {
                *f += s;
            }
        }
        let (before, after) = self.period.split_at(half);
        self.even.resize(half, 0.0);
        self.odd.resize(half, 0.0);
        (self.even[0], self.odd[0]) = (before[0], 0.0);
        let sides = before[1..].iter().zip(after[1..].iter().rev());
        let folded = self.even[1..].iter_mut().zip(&mut self.odd[1..]);
        for ((even, odd), (a, b)) in folded.zip(sides) {
            (*even, *odd) = (a + b, a - b);
        }
        let mut lines = [(0.0, 0.0); N];
        for (k, (line, waves)) in (1..).zip(lines.iter_mut().zip(waves.chunks_exact(period))) {
            let (cosine, sine) = waves.split_at(half);
            let re = sum(&self.even, cosine, |v, w| v * w);
            let im = sum(&self.odd, sine, |v, w| v * w);
            // At the middle of the period a wave is at its top or at its bottom.
            let middle = if k % 2 == 0 { after[0] } else { -after[0] };
            *line = (f64::from(re + middle), f64::from(im));
        }
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lines_are_those_of_the_definition() {
        // Three periods of 16 samples that are not alike.
        let sound: Vec<f32> = (0..48u16).map(|i| f32::from(i * i % 23)).collect();
        let mut waves = Waves::<6>::default();
        let lines: [Complex; 6] = Fold::default().lines(&sound, 16, waves.of(16));
        for (k, (re, im)) in (1..).map(f64::from).zip(lines) {
            let (mut cosine, mut sine) = (0.0, 0.0);
            for (i, x) in (0..).map(f64::from).zip(&sound) {
                let angle = std::f64::consts::TAU * k * i / 16.0;
                cosine += f64::from(*x) * angle.cos();
                sine -= f64::from(*x) * angle.sin();
            }
            assert!(
                (re - cosine).abs() < 1e-3 && (im - sine).abs() < 1e-3,
                "{k}"
            );
        }
    }
}
