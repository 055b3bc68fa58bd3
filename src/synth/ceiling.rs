//! The ceiling of a limited coil: cuts hold the speed under it, a saw-tooth.
use super::engine_scene::Limiter;
use super::random::Random;
use super::speed::STEP;

/// Whether the ceiling has been reached, and how the cuts go.
#[derive(Clone, Debug, Default)]
pub(super) struct Ceiling(Option<Cut>);

/// State of a limiter that has been reached.
#[derive(Clone, Copy, Debug)]
struct Cut {
    hertz: f64,
    cutting: bool,
    turn_at: f64,
    slope: f64,
}

impl Ceiling {
    /// One [`STEP`] on: the speed that is left of the `wanted` one (in hertz) and whether the spark
    /// is cut.
    pub(super) fn hold(
        &mut self,
        limiter: &Limiter,
        wanted: f64,
        random: &mut Random,
    ) -> (f64, bool) {
        let ceiling = limiter.ceiling.hertz().0;
        let mut cut = match self.0 {
            Some(cut) => cut,
            None if wanted >= ceiling => Cut {
                hertz: ceiling,
                cutting: false,
                turn_at: ceiling,
                slope: 1.0,
            },
            None => return (wanted, false),
        };
        cut.hertz += STEP * cut.slope;
        let arrived = if cut.cutting {
            cut.hertz <= cut.turn_at
        } else {
            cut.hertz >= cut.turn_at
        };
        if arrived {
            // Depth and ceiling of each tooth scatter, the rate with them.
            let depth = 0.01 * limiter.depth_percent * ceiling * random.between(0.7, 1.3);
            let period = random.between(0.85, 1.15) / limiter.per_second;
            cut.hertz = cut.turn_at;
            cut.cutting = !cut.cutting;
            if cut.cutting {
                cut.turn_at = ceiling - depth;
                cut.slope = -(cut.hertz - cut.turn_at) / (limiter.cut_share * period);
            } else {
                cut.turn_at = ceiling * (1.0 + 0.0005 * random.normal());
                cut.slope = (cut.turn_at - cut.hertz) / ((1.0 - limiter.cut_share) * period);
            }
        }
        if wanted < cut.hertz {
            self.0 = None;
            return (wanted, false);
        }
        self.0 = Some(cut);
        (cut.hertz, cut.cutting)
    }
}
