//! The sound between its samples: a cubic through the four samples around.

/// From a sample to the next: b, p, q and r of `b + x (p + x (q + x r))`, x the place between them, 0
/// to 1.
pub type Cubic = [f32; 4];

/// Cubics among which a run of places lies as a rule, a power of two.
const WINDOW: usize = 64;

/// A sound as cubics, each made once although many cuts go through it.
#[derive(Clone, Debug, Default)]
pub struct Curve {
    cubics: Vec<Cubic>,
    /// The last samples, which have no cubic yet, with the one before them.
    last: Vec<f32>,
}

impl Curve {
    /// Samples whose cubics wait for the samples after them.
    pub const BEHIND: usize = 2;

    /// Takes the next samples.
    pub fn push(&mut self, samples: &[f32]) {
        // Nothing is known before the first sample, so that the curve begins with the second.
        if self.last.is_empty() && !samples.is_empty() {
            self.cubics.push([0.0; 4]);
        }
        self.last.extend_from_slice(samples);
        let cubics = self.last.windows(4).map(|around| {
            let &[a, b, c, d] = around else {
                return [0.0; 4];
            };
            let p = 0.5 * (c - a);
            let q = a - 2.5 * b + 2.0 * c - 0.5 * d;
            let r = 0.5 * (d - a) + 1.5 * (b - c);
            [b, p, q, r]
        });
        self.cubics.extend(cubics);
        self.last.drain(..self.last.len().saturating_sub(3));
    }

    /// The cubics, one for each sample but the last [`Self::BEHIND`].
    pub fn cubics(&self) -> &[Cubic] {
        &self.cubics
    }

    /// Forgets the first samples.
    pub fn forget(&mut self, samples: usize) {
        self.cubics.drain(..samples);
    }
}

/// Sound at `N` places from `first` on, `each` apart; zero beyond the ends.
///
/// Not at the widest registers: they would gather the cubics number by number, which takes longer than
/// to load each cubic at once.
#[inline(always)]
pub(super) fn along<const N: usize>(sound: &[Cubic], first: f64, each: f64) -> [f32; N] {
    /// Added to a number that is not negative, it leaves no bits after the point.
    const WHOLE: f32 = 8_388_608.0;
    // Two samples to spare, since neither end of the run is exact.
    let (lowest, low) = floor(first.min(first + each * (N - 1) as f64) - 2.0);
    let (offset, each) = ((first - low) as f32, each as f32);
    // Each place, in samples from `lowest`, as a whole number of samples and the rest.
    let mut whole = [0u32; N];
    let mut rest = [0.0f32; N];
    for i in 0..N {
        let place = offset + each * i as f32;
        let shifted = place - 0.5 + WHOLE;
        whole[i] = shifted.to_bits() & 0x007f_ffff;
        rest[i] = place - (shifted - WHOLE);
    }
    let value = |&[b, p, q, r]: &Cubic, x: f32| b + x * (p + x * (q + x * r));
    let from = usize::try_from(lowest).ok();
    let window = from.and_then(|from| sound.get(from..)?.first_chunk::<WINDOW>());
    if let Some(window) = window
        && each.abs() * (N as f32) < (WINDOW - 4) as f32
    {
        // The mask changes nothing here, and spares a test of each place.
        std::array::from_fn(|i| value(&window[whole[i] as usize & (WINDOW - 1)], rest[i]))
    } else {
        std::array::from_fn(|i| {
            let at = usize::try_from(lowest + i64::from(whole[i])).ok();
            let cubic = at.and_then(|at| sound.get(at));
            value(cubic.unwrap_or(&[0.0; 4]), rest[i])
        })
    }
}

/// The whole number below a number, twice; a whole number may give the one before it. The size of
/// the number is at most 2^50.
#[inline(always)]
pub(super) fn floor(number: f64) -> (i64, f64) {
    /// Added to a number, it leaves no bits after the point.
    const WHOLE: f64 = 6_755_399_441_055_744.0;
    let shifted = number - 0.5 + WHOLE;
    let whole = shifted.to_bits() as i64 - WHOLE.to_bits() as i64;
    (whole, shifted - WHOLE)
}
