//! Numbers by lot, the same for the same seed (splitmix64).

pub struct Lot(u64);

impl Lot {
    pub fn new(seed: u64) -> Lot {
        Lot(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03)
    }

    /// 0 to 1.
    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    pub fn normal(&mut self) -> f64 {
        let sum: f64 = (0..12).map(|_| self.unit()).sum();
        sum - 6.0
    }

    pub fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[((self.unit() * of.len() as f64) as usize).min(of.len() - 1)]
    }
}
