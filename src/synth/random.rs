//! The dice: one small documented generator, so that a seed gives the same clip everywhere.

/// SplitMix64 (Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators",
/// constants from memory): a counter that walks by the golden ratio and a mixing function.
///
/// Each part of a scene draws from a stream of its own, named by a number, so that a change of one
/// part leaves the others as they were.
#[derive(Clone, Debug)]
pub struct Random {
    state: u64,
}

const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

impl Random {
    /// The stream `stream` of the seed `seed`.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut mixed = Random {
            state: seed ^ stream.wrapping_mul(0xd134_2543_de82_ef95),
        };
        let state = mixed.bits() ^ stream;
        Random { state }
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(GOLDEN);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in 0 (included) to 1 (excluded).
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two limits.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform on a logarithmic scale between two positive limits.
    pub fn between_log(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.unit())
    }

    /// True with the probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// A whole number from 0 (included) to `count` (excluded); 0 where `count` is 0.
    pub fn below(&mut self, count: usize) -> usize {
        (self.unit() * count as f64) as usize
    }

    /// One of the items; the slice must not be empty.
    pub fn one_of<T: Copy>(&mut self, items: &[T]) -> T {
        items[self.below(items.len())]
    }

    /// Nearly normal, mean 0, variance 1: the sum of eight uniform bytes pairs (Irwin–Hall), which
    /// needs no library function and therefore is the same on every machine. Bounded by ±4.9.
    pub fn normal(&mut self) -> f64 {
        let mut sum = 0u64;
        for _ in 0..2 {
            let bits = self.bits();
            sum += (bits & 0xffff) + (bits >> 16 & 0xffff) + (bits >> 32 & 0xffff) + (bits >> 48);
        }
        // Eight uniform numbers of 0..=65535: mean 8·32767.5, variance 8·(65536² − 1)/12.
        (sum as f64 - 262_140.0) / 53_509.917
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_has_mean_zero_and_variance_one() {
        let mut random = Random::new(1, 1);
        let n = 200_000;
        let (mut sum, mut square) = (0.0, 0.0);
        for _ in 0..n {
            let x = random.normal();
            sum += x;
            square += x * x;
        }
        // Standard errors: 0.0022 for the mean, about 0.003 for the variance.
        assert!((sum / f64::from(n)).abs() < 0.009);
        assert!((square / f64::from(n) - 1.0).abs() < 0.012);
    }

    #[test]
    fn streams_of_one_seed_differ() {
        assert_ne!(Random::new(1, 1).bits(), Random::new(1, 2).bits());
        assert_ne!(Random::new(1, 1).bits(), Random::new(2, 1).bits());
        assert_eq!(Random::new(9, 4).bits(), Random::new(9, 4).bits());
    }

    #[test]
    fn split_mix_gives_the_published_sequence() {
        // First output for the state 0, as in the reference code (from memory).
        assert_eq!(Random { state: 0 }.bits(), 0xe220_a839_7b1d_cdaf);
    }
}
