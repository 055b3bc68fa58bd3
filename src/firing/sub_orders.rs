//! Lines between the whole orders.
use crate::spectrum::{power, sum, widest};
use crate::tach::angle::{SAMPLES, Turns};

/// Highest order looked at.
const HIGHEST: f64 = 8.0;
/// Height in units of 10 dB from which a family of sub-orders counts as there.
const FAMILY: f64 = 0.8;
/// Height over the floor from which a bin stands out.
const STANDS: f32 = 0.8;

/// Heights of the families of lines, in units of 10 dB.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Families {
    /// Mean height of the lines at halves, thirds and quarters over the floor around them.
    pub contrast: [f64; 3],
    /// Power of the strongest family against the whole orders.
    pub level: f64,
    /// Mean height of the whole orders.
    pub whole: f64,
    /// Share of the power that stands out of the floor, up to order 10, which lies on whole orders
    /// and on the strongest family, 0 to 1.
    pub explained: f64,
}

/// Reads the families from an order spectrum.
pub fn families(look: &Turns) -> Families {
    let bins = 1.0 / look.order_per_bin;
    let highest = HIGHEST.min(look.per_turn as f64 / 2.0 - 1.0);
    let peak = |order: f64| -> f32 {
        let i = (order * bins + 0.5) as usize;
        look.orders[i.saturating_sub(1)..(i + 2).min(look.orders.len())]
            .iter()
            .fold(f32::MIN, |m, v| m.max(*v))
    };
    let floors = &look.floor[..=highest as usize];
    let power = |tens: f32| f64::from(power(tens));
    let mut out = Families {
        level: f64::MIN,
        ..Families::default()
    };
    let mut whole_power = 0.0;
    let mut whole = 0.0;
    for k in 1..=highest as usize {
        let p = peak(k as f64);
        whole_power += power(p);
        whole += f64::from((p - floors[k]).clamp(0.0, 3.0));
    }
    out.whole = whole / highest.floor();
    for (i, parts) in [2usize, 3, 4].into_iter().enumerate() {
        let (mut sum, mut n, mut family_power) = (0.0, 0, 0.0);
        for j in 1..parts * highest as usize {
            let shared = j % parts == 0 || (parts == 4 && j % 2 == 0);
            if shared {
                continue;
            }
            let order = j as f64 / parts as f64;
            // Lines closer than three bins to the zero bin or to a whole order cannot be told from it.
            if order * bins < 3.0 {
                continue;
            }
            let p = peak(order);
            sum += f64::from((p - floors[(order + 0.5) as usize]).clamp(0.0, 3.0));
            family_power += power(p);
            n += 1;
        }
        if n > 0 {
            out.contrast[i] = sum / n as f64;
            out.level = out.level.max(
                (family_power / whole_power.max(f64::MIN_POSITIVE))
                    .max(1e-6)
                    .log10(),
            );
        }
    }
    out.level = out.level.max(-6.0);
    let parts = [2usize, 3, 4][(0..3)
        .max_by(|a, b| out.contrast[*a].total_cmp(&out.contrast[*b]))
        .unwrap_or(0)];
    let parts = if out.contrast[parts - 2] > FAMILY {
        parts
    } else {
        1
    };
    out.explained = explained(look, floors, bins / parts as f64);
    out
}

/// Share of the power that stands out of the floor which lies on lines so many bins apart.
fn explained(look: &Turns, floors: &[f32], spacing: f64) -> f64 {
    let bins = 1.0 / look.order_per_bin;
    let first = (0.4 * bins) as usize;
    let last = ((10.5 * bins) as usize).min(look.orders.len());
    let half = bins / 2.0;
    let mut standing = [0.0f32; SAMPLES / 2 + 1];
    let standing = &mut standing[..last];
    let all = widest!({
        for (k, floor) in floors.iter().enumerate() {
            // The bins nearer to this order than to another; those beyond the last belong to it.
            let from = ((k as f64 * bins - half).ceil().max(0.0) as usize).max(first);
            let to = if k + 1 == floors.len() {
                last
            } else {
                ((k as f64 * bins + half).ceil() as usize).min(last)
            };
            let from = from.min(to);
            for (standing, v) in standing[from..to].iter_mut().zip(&look.orders[from..to]) {
                *standing = if v - floor > STANDS { power(*v) } else { 0.0 };
            }
        }
        sum(standing, standing, |p, _| p)
    });
    // Within two bins of a line; lines so close together share none.
    let (mut on, mut done) = (0.0, 0);
    for line in 0..=(last as f64 / spacing) as usize + 1 {
        let middle = line as f64 * spacing;
        let from = ((middle - 2.0).ceil().max(0.0) as usize).clamp(done, last);
        let to = ((middle + 2.0) as usize + 1).clamp(from, last);
        on += standing[from..to].iter().sum::<f32>();
        done = to;
    }
    if all > 0.0 { f64::from(on / all) } else { 0.0 }
}
