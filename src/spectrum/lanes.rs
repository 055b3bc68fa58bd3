//! Rows of numbers, several lanes at a time: one running sum would have to be added up number after
//! number.

/// Numbers that are worked on together.
pub const LANES: usize = 16;

/// Does something with the widest registers that this processor has. No sum is put in another order
/// and no two operations become one, so that every processor gives the same numbers.
///
/// Only what is inlined is compiled for them, so the functions that it calls are
/// `#[inline(always)]`.
macro_rules! widest {
    ($work:expr) => {
        fearless_simd::dispatch!(fearless_simd::Level::new(), _ => $work)
    };
}
pub(crate) use widest;

/// The greater of two numbers. `f32::max` also cares for NaN, which costs three instructions more
/// and never comes here.
#[inline(always)]
pub fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// The lesser of two numbers, neither of them NaN.
#[inline(always)]
pub fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// The exponential function to within two parts in ten million, from e^-87 to e^88 and constant
/// beyond. The one of the standard library is worked out number after number; this one, whose
/// constants are those of Moshier's Cephes library (from memory), many at once.
#[inline(always)]
pub fn exp(x: f32) -> f32 {
    /// A number of this size has no places behind the point, so adding it rounds.
    const ROUNDS: f32 = 12_582_912.0;
    /// The logarithm of two in two parts, the first short enough to be multiplied without an error.
    const LN_2: [f32; 2] = [0.693_359_4, -2.121_944_4e-4];
    const SERIES: [f32; 6] = [
        1.987_569_1e-4,
        1.398_2e-3,
        8.333_452e-3,
        4.166_579_6e-2,
        1.666_666_5e-1,
        0.5,
    ];
    let x = lesser(greater(x, -87.0), 88.0);
    let twos = x * std::f32::consts::LOG2_E + ROUNDS;
    let whole = twos - ROUNDS;
    let rest = x - whole * LN_2[0] - whole * LN_2[1];
    let mut series = SERIES[0];
    for factor in &SERIES[1..] {
        series = series * rest + factor;
    }
    let part = series * rest * rest + rest + 1.0;
    // The last bits of the rounded sum are the power of two, which moves into the place of the exponent.
    part * f32::from_bits((twos.to_bits() << 23).wrapping_add(1.0f32.to_bits()))
}

/// The greatest number of a row; `f32::MIN` where it is empty.
#[inline(always)]
pub fn greatest(row: &[f32]) -> f32 {
    let chunks = row.chunks_exact(LANES);
    let rest = chunks.remainder();
    let mut lanes = [f32::MIN; LANES];
    for chunk in chunks {
        for (l, v) in lanes.iter_mut().zip(chunk) {
            *l = greater(*l, *v);
        }
    }
    let most = halve(lanes, greater);
    rest.iter().fold(most, |m, v| greater(m, *v))
}

/// The sum over two rows of what `each` makes of their pairs.
#[inline(always)]
pub fn sum(a: &[f32], b: &[f32], each: impl Fn(f32, f32) -> f32) -> f32 {
    let (long_a, long_b) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest = long_a.remainder().iter().zip(long_b.remainder());
    let rest: f32 = rest.map(|(a, b)| each(*a, *b)).sum();
    let mut lanes = [0.0; LANES];
    for (a, b) in long_a.zip(long_b) {
        for i in 0..LANES {
            lanes[i] += each(a[i], b[i]);
        }
    }
    halve(lanes, |a, b| a + b) + rest
}

/// Adds to a row another one, each number of it times a factor.
#[inline(always)]
pub fn add(to: &mut [f32], row: &[f32], factor: f32) {
    let (to, last_to) = to.as_chunks_mut::<LANES>();
    let (row, last) = row.as_chunks::<LANES>();
    for (to, row) in to.iter_mut().zip(row) {
        // On a copy, so that the compiler knows that it is not part of the other row.
        let mut lanes = *to;
        for i in 0..LANES {
            lanes[i] += factor * row[i];
        }
        *to = lanes;
    }
    for (to, x) in last_to.iter_mut().zip(last) {
        *to += factor * x;
    }
}

/// Puts lanes together, half of them to the other half, until one is left.
#[inline(always)]
pub fn halve(mut lanes: [f32; LANES], both: impl Fn(f32, f32) -> f32) -> f32 {
    let mut left = LANES / 2;
    while left > 0 {
        for i in 0..left {
            lanes[i] = both(lanes[i], lanes[i + left]);
        }
        left /= 2;
    }
    lanes[0]
}

/// Best cut of values whose sum is zero in two (Otsu 1979, from memory: the largest variance between
/// the classes): that variance, and where. `places` and `order` are room to work in.
#[inline(always)]
pub fn best_cut(values: &[f32], places: &mut Vec<u32>, order: &mut Vec<f32>) -> (f64, f32) {
    let n = values.len();
    // In order by counting what lies below each: no test whose outcome the processor must guess.
    places.clear();
    places.resize(n, 0);
    for (i, value) in values.iter().enumerate() {
        let (before, after) = values.split_at(i);
        for (place, other) in places.iter_mut().zip(before) {
            *place += u32::from(value < other);
        }
        for (place, other) in places[i..].iter_mut().zip(after) {
            *place += u32::from(value <= other);
        }
    }
    order.resize(n, 0.0);
    for (place, value) in places.iter().zip(values) {
        // Each counts itself.
        order[*place as usize - 1] = *value;
    }
    let (mut low, mut best, mut cut) = (0.0f64, 0.0f64, f32::MIN);
    for i in 0..n.saturating_sub(1) {
        // The sum below the cut gives both class means.
        low += f64::from(order[i]);
        let between = low * low / ((i + 1) * (n - 1 - i)) as f64;
        if between > best {
            best = between;
            cut = 0.5 * (order[i] + order[i + 1]);
        }
    }
    (best, cut)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_exponential_function_is_that_of_the_standard_library() {
        for i in -8_700..=8_800 {
            let x = i as f32 * 0.01;
            let (ours, theirs) = (f64::from(exp(x)), f64::from(x).exp());
            assert!((ours / theirs - 1.0).abs() < 2e-7, "{x}: {ours} {theirs}");
        }
        assert_eq!(exp(f32::NEG_INFINITY), exp(-87.0));
        assert_eq!(exp(f32::INFINITY), exp(88.0));
        assert!(exp(f32::NAN).is_finite());
    }
}
