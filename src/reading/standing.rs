//! How well the speed stands: what the tachometer weighed when it decided for it, as numbers.
//!
//! A speed that is wrong by a simple ratio sounds like an engine, and an engine whose base is in doubt does
//! not sound like anything else: what was counted for and against other bases tells such readings from
//! right ones.
use crate::tach::Moment;

/// Numbers that tell it.
pub const FEATURES: usize = 31;
/// Level alternations beyond these say no more, in dB.
const LEVELS: (f64, f64) = (-8.0, 24.0);
/// Nor do faster changes, as a ratio a second.
const FASTEST: f64 = 3.0;
/// Slower speeds are none, in rpm.
const SLOWEST: f64 = 500.0;
const MIDDLE: f64 = 4_000.0;

/// The numbers of a hop, each about -2 to 2 but for counts and levels.
pub fn features(moment: &Moment) -> [f64; FEATURES] {
    let c = &moment.counts;
    let level = |x: f64| {
        if x.is_nan() {
            0.0
        } else {
            x.clamp(LEVELS.0, LEVELS.1)
        }
    };
    let base = moment.base.factor().log2();
    let [every, second, third, fourth] = moment.rhythm.map(f64::from);
    let [path_every, path_second, path_third, path_fourth] = c.rhythm.map(f64::from);
    let change = if moment.change.is_nan() {
        0.0
    } else {
        moment.change
    };
    [
        every,
        second,
        third,
        fourth,
        moment.runner_up.1,
        change.clamp(-FASTEST, FASTEST),
        c.double,
        c.triple,
        c.half,
        c.third,
        level(c.halves.alternation),
        level(c.thirds.alternation),
        base,
        f64::from(u8::from(base != 0.0)),
        c.coherence,
        c.whole.halves,
        c.whole.whole,
        c.halves.halves,
        c.halves.whole,
        c.thirds.thirds,
        c.thirds.whole_thirds,
        c.shifts[0],
        c.shifts[1],
        c.shifts[2],
        f64::from(c.period),
        path_every,
        path_second,
        path_third,
        path_fourth,
        level(c.whole.alternation),
        (moment.rpm.0.max(SLOWEST) / MIDDLE).ln(),
    ]
}
