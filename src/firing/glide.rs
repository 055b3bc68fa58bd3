//! How strongly the speed glides: a coil that cuts the spark lets it fall and rise again many times a
//! second, skipped firings shake it, and an engine that fires clean is the steadiest.
use crate::tach::Moment;

/// Memories, per hop: of the slope (0.1 s) and of its means (1 s).
const SLOPE: f64 = 0.2;
const MEAN: f64 = 0.016;
/// Change of the natural logarithm of the speed in one hop, at most: more is a jump to another base.
const MOST: f64 = 0.1;
/// Slope from which the throttle moves (45 % a second): what it does to the speed is no gliding, and would
/// be remembered for seconds after each opening.
const MOVES: f64 = 0.007;
/// Slope, in natural logarithms a hop, that counts for nothing.
const LEAST: f64 = 1e-5;

/// Follows the speed hop by hop.
#[derive(Clone, Copy, Debug, Default)]
pub struct Glide {
    last: f64,
    slope: f64,
    mean: f64,
    square: f64,
    /// The same means since the throttle last moved, and the hops that they rest on.
    held: (f64, f64),
    hops: u32,
    stretch: Option<u32>,
}

impl Glide {
    /// Takes the next hop; where the path was broken all begins anew.
    pub(super) fn step(&mut self, moment: &Moment) {
        let speed = moment.heard.0.ln();
        let stretch = Some(moment.counts.stretch);
        if self.stretch != stretch {
            *self = Glide {
                last: speed,
                stretch,
                ..Glide::default()
            };
        }
        let change = speed - std::mem::replace(&mut self.last, speed);
        let change = if change.abs() < MOST { change } else { 0.0 };
        self.slope += SLOPE * (change - self.slope);
        self.mean += MEAN * (self.slope - self.mean);
        self.square += MEAN * (self.slope * self.slope - self.square);
        if self.slope.abs() > MOVES {
            (self.held, self.hops) = ((0.0, 0.0), 0);
            return;
        }
        self.hops = self.hops.saturating_add(1);
        let share = MEAN.max(1.0 / f64::from(self.hops));
        self.held.0 += share * (self.slope - self.held.0);
        self.held.1 += share * (self.slope * self.slope - self.held.1);
    }

    /// How strongly it glides: three more than the common logarithm of the effective slope of the last
    /// second, in natural logarithms a hop.
    pub fn strength(&self) -> f64 {
        strength(self.square)
    }

    /// Whether always the same way: 0, up and down, to 1.
    pub fn one_way(&self) -> f64 {
        one_way(self.mean, self.square)
    }

    /// Both since the throttle last moved.
    pub fn held(&self) -> [f64; 2] {
        let (mean, square) = self.held;
        [strength(square), one_way(mean, square)]
    }
}

fn strength(square: f64) -> f64 {
    (square.sqrt() + LEAST).log10() + 3.0
}

fn one_way(mean: f64, square: f64) -> f64 {
    mean.abs() / (square.sqrt() + LEAST)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tach::{LookAhead, Tachometer};
    use crate::units::Rpm;

    /// A moment to change: the tachometer's first of a sound.
    fn moment() -> Moment {
        let band = crate::machine::Profile::default().search_band();
        let mut first = None;
        let mut tachometer = Tachometer::new(LookAhead::LIVE, band, 1.0);
        let mut each = |m: &Moment, _: &crate::tach::angle::Turns| {
            first.get_or_insert(*m);
        };
        tachometer.push(&[0.1; 8_000], &mut each);
        tachometer.finish(&mut each);
        first.expect("a hop")
    }

    fn after(speeds: impl Iterator<Item = f64>) -> Glide {
        let mut moment = moment();
        let mut glide = Glide::default();
        for speed in speeds {
            moment.heard = Rpm(speed);
            glide.step(&moment);
        }
        glide
    }

    #[test]
    fn a_ramp_glides_one_way_by_its_slope() {
        // A thousandth a hop, for 10 s: long enough for all memories.
        let glide = after((0..625).map(|hop| 6_000.0 * (0.001 * f64::from(hop)).exp()));
        assert!((glide.slope - 0.001).abs() < 1e-6, "{glide:?}");
        assert!(glide.strength().abs() < 0.01, "{glide:?}");
        assert!(glide.one_way() > 0.98, "{glide:?}");
    }

    #[test]
    fn a_saw_tooth_glides_both_ways() {
        let tooth = |hop: i32| f64::from((hop % 32 - 16).abs());
        let glide = after((0..625).map(|hop| 9_000.0 * (0.001 * tooth(hop)).exp()));
        assert!((-0.4..0.0).contains(&glide.strength()), "{glide:?}");
        assert!(glide.one_way() < 0.3, "{glide:?}");
    }

    #[test]
    fn an_opening_of_the_throttle_leaves_nothing_behind() {
        // Up by a factor of four in 0.4 s, then steady for half a second.
        let speed = |hop: i32| 2_700.0 * 4f64.powf((f64::from(hop - 60) / 25.0).clamp(0.0, 1.0));
        let glide = after((0..116).map(speed));
        assert!(glide.strength() > 1.2, "{glide:?}");
        // The slope itself fades from MOVES by a fifth a hop: MOVES² · 0.64 / 0.36 over these 21 hops, and
        // over a second later on.
        let faded = MOVES * (0.64f64 / 0.36).sqrt();
        let soon = (faded / 21f64.sqrt()).log10() + 3.0;
        assert!((glide.held()[0] - soon).abs() < 0.1, "{glide:?}");
        let later = after((0..200).map(speed));
        assert!(later.held()[0] < soon - 0.3, "{later:?}");
    }

    #[test]
    fn a_jump_is_no_glide_and_a_steady_speed_none_at_all() {
        let glide = after((0..625).map(|hop| if hop < 500 { 3_000.0 } else { 6_000.0 }));
        assert!(
            glide.strength() < -1.9 && glide.one_way() == 0.0,
            "{glide:?}"
        );
    }
}
