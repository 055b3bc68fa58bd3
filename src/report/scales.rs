//! From where to where the axes of a picture go.
use super::column::{Column, HERTZ_ROWS, HERTZ_STEP};
use super::lanes::LANES;
use super::layout::Panel;
use super::panels::Panels;
use super::plot::{LEAST_SPAN, REACH, known};
use crate::units::Rpm;

/// Orders of the highest speed read that the frequencies hold.
const OVERTONES: f64 = 4.3;
/// Frequencies shown where no speed was read, in hertz.
const USUAL: f64 = 1_000.0;
/// Share of the cells from which another speed that fits widens the axis.
const OFTEN: f64 = 0.05;

impl Panels<'_> {
    /// From the lowest to the highest value of an axis.
    pub(super) fn values(&self, panel: Panel) -> (f64, f64) {
        match panel {
            Panel::Speed => self.speeds(),
            Panel::Hertz => {
                let fastest = self.fastest();
                let most = HERTZ_STEP * (HERTZ_ROWS - 1) as f64;
                let top = fastest.map_or(USUAL, |rpm| OVERTONES * rpm.hertz().0);
                (0.0, ((top / 100.0).ceil() * 100.0).clamp(300.0, most))
            }
            Panel::Orders => (0.0, self.layout.orders),
            Panel::Firing => (0.0, LANES.len() as f64),
            Panel::Skips => (0.0, 100.0),
            Panel::Level => {
                let levels = self.cells.iter().filter_map(|cell| cell.level());
                let lowest = levels.fold(-20.0f64, |low, level| low.min(level.0));
                (((lowest - 3.0) / 10.0).floor().max(-10.0) * 10.0, 0.0)
            }
            Panel::Clipping => {
                let most = self.cells.iter().map(Column::clipped).fold(0.0, f64::max);
                (0.0, (most * 100.0).ceil().clamp(1.0, 100.0))
            }
        }
    }

    fn fastest(&self) -> Option<Rpm> {
        let speeds = self.cells.iter().filter_map(Column::speed);
        speeds.max_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// The range of the speed axis: all speeds, others that fit as well where they are many, and what
    /// the machine is known for just beyond.
    fn speeds(&self) -> (f64, f64) {
        let cells = || self.cells.iter();
        let widen = |(low, high): (f64, f64), speed: Rpm| (low.min(speed.0), high.max(speed.0));
        let read = cells()
            .filter_map(Column::speed)
            .fold((f64::MAX, 0.0), widen);
        if read.1 <= 0.0 {
            return (0.0, 10_000.0);
        }
        let ends = cells().filter_map(Column::interval);
        let mut all = ends.fold(read, |all, (low, high)| {
            // An interval of half the speed would flatten everything else.
            let low = low.0.max(0.85 * read.0);
            let high = high.0.min(1.15 * read.1);
            (all.0.min(low), all.1.max(high))
        });
        let others = cells().filter_map(Column::other).count();
        if others as f64 > OFTEN * cells().filter_map(Column::speed).count() as f64 {
            all = cells().filter_map(Column::other).fold(all, widen);
        }
        for (_, rpm) in known(&self.report.machine) {
            if (all.0 * (1.0 - REACH)..=all.1 * (1.0 + REACH)).contains(&rpm) {
                all = (all.0.min(rpm), all.1.max(rpm));
            }
        }
        let middle = f64::midpoint(all.0, all.1);
        let half = (1.06 * (all.1 - all.0) / 2.0).max(middle * LEAST_SPAN / 2.0);
        ((middle - half).max(0.0), middle + half)
    }
}
