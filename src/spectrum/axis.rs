//! The logarithmic frequency axis.

use crate::units::Hertz;

/// Bins of equal ratio. With 72 bins an octave the orders 3, 5, 7, 9 and 11 fall within 0.2 % of a
/// whole number of bins (log2(3)·72 = 114.12, log2(5)·72 = 167.18, log2(7)·72 = 202.13), so an
/// order is a shift.
#[derive(Clone, Copy, Debug)]
pub struct LogAxis;

impl LogAxis {
    /// Bins an octave: one bin is a ratio of 1.00967.
    pub const PER_OCTAVE: usize = 72;
    /// Frequency of bin 0 in hertz: just under a quarter of the slowest crank.
    pub const FIRST_HZ: f64 = 4.8;
    /// Number of bins; the last lies at 3.5 kHz.
    pub const BINS: usize = 686;

    /// Centre of a bin; fractions allowed.
    pub fn frequency(bin: f64) -> Hertz {
        Hertz(Self::FIRST_HZ * (bin / Self::PER_OCTAVE as f64).exp2())
    }

    /// The bin of a frequency above 0, as a fraction.
    pub fn bin(frequency: Hertz) -> f64 {
        (frequency.0 / Self::FIRST_HZ).log2() * Self::PER_OCTAVE as f64
    }

    /// How many bins a multiple `numerator/denominator` of a frequency lies above it, rounded.
    pub fn shift(numerator: u32, denominator: u32) -> isize {
        ((f64::from(numerator) / f64::from(denominator)).log2() * Self::PER_OCTAVE as f64).round()
            as isize
    }
}
