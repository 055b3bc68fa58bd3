//! Sums and extremes of rows, several lanes at a time: one running sum would have to be added up
//! number after number.

/// Numbers that are worked on together.
const LANES: usize = 8;

/// The greater of two numbers. `f32::max` also cares for NaN, which costs three instructions more
/// and never comes here.
#[inline]
pub fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// The lesser of two numbers, neither of them NaN.
#[inline]
pub fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// The greatest number of a row; `f32::MIN` where it is empty.
#[inline]
pub fn greatest(row: &[f32]) -> f32 {
    let chunks = row.chunks_exact(LANES);
    let rest = chunks.remainder();
    let mut lanes = [f32::MIN; LANES];
    for chunk in chunks {
        for (l, v) in lanes.iter_mut().zip(chunk) {
            *l = greater(*l, *v);
        }
    }
    lanes
        .iter()
        .chain(rest)
        .fold(f32::MIN, |m, v| greater(m, *v))
}

/// The sum over two rows of what `each` makes of their pairs.
#[inline]
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
    lanes.iter().sum::<f32>() + rest
}
