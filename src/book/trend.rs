//! What changed from visit to visit, and where a machine left its own usual range.
use jiff::civil::Date;

use super::measured::Measured;
use super::visit::{Numbered, Visit};
use crate::guide::Screw;

/// Fewer earlier visits than this say nothing of what is usual.
const LEAST_EARLIER: usize = 4;
/// From the median absolute deviation to the standard deviation of a normal spread: 1/Φ⁻¹(3/4).
/// Rousseeuw and Croux, J. Am. Stat. Assoc. 88, 1993.
const TO_DEVIATION: f64 = 1.482_6;
/// Standard deviations beyond which a value is not usual (Hampel's identifier; the figure is common
/// practice).
const DEVIATIONS: f64 = 3.0;

/// What is followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Idle in rpm.
    Idle,
    /// Full throttle in rpm.
    FullThrottle,
    /// Share of skipped turns at full throttle, 0 to 1.
    SkipRatio,
    /// Position of a screw in turns.
    Position(Screw),
}

impl Quantity {
    /// All of them.
    pub const ALL: [Quantity; 6] = [
        Quantity::Idle,
        Quantity::FullThrottle,
        Quantity::SkipRatio,
        Quantity::Position(Screw::High),
        Quantity::Position(Screw::Low),
        Quantity::Position(Screw::Idle),
    ];

    /// A change smaller than this is never worth a note, however steady the machine was: engines
    /// wander that much, and screws are read no finer. Common practice, no source.
    fn least(self) -> f64 {
        match self {
            Quantity::Idle => 100.0,
            Quantity::FullThrottle => 200.0,
            Quantity::SkipRatio => 0.10,
            Quantity::Position(_) => 0.125,
        }
    }

    fn of(self, visit: &Visit, when: When) -> Option<f64> {
        let measured: Option<&Measured> = match when {
            When::Found => visit.before.as_ref(),
            When::Left => visit.after.as_ref(),
        };
        let screws = match when {
            When::Found => &visit.screws_found,
            When::Left => &visit.screws_left,
        };
        match self {
            Quantity::Idle => measured?.idle.map(|held| held.rpm.0),
            Quantity::FullThrottle => measured?.full_throttle.map(|held| held.rpm.0),
            Quantity::SkipRatio => measured?.skip_ratio,
            Quantity::Position(screw) => screws.get(screw),
        }
    }
}

/// At which end of a visit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum When {
    /// As the machine came in.
    Found,
    /// As it left.
    Left,
}

/// One value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Number of the visit.
    pub visit: u32,
    /// Its day.
    pub date: Date,
    /// The value, in the unit of its quantity.
    pub value: f64,
}

/// One quantity over the visits, in order of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// What.
    pub quantity: Quantity,
    /// At which end of the visits.
    pub when: When,
    /// The values, one or more.
    pub points: Vec<Point>,
    /// The latest value, where it left the usual range.
    pub moved: Option<Moved>,
}

/// A latest value outside the machine's own usual range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moved {
    /// The latest value.
    pub value: f64,
    /// Median of the earlier ones.
    pub usual: f64,
    /// How far to either side of it is still usual.
    pub within: f64,
    /// How many earlier values there are.
    pub earlier: usize,
}

/// Every quantity that was measured at one visit or more. `visits` in order of time.
pub fn trends(visits: &[Numbered]) -> Vec<Series> {
    let both = [When::Found, When::Left];
    let pairs = Quantity::ALL
        .into_iter()
        .flat_map(|quantity| both.map(|when| (quantity, when)));
    pairs
        .filter_map(|(quantity, when)| {
            let points: Vec<Point> = visits
                .iter()
                .filter_map(|numbered| {
                    Some(Point {
                        visit: numbered.number,
                        date: numbered.visit.date,
                        value: quantity.of(&numbered.visit, when)?,
                    })
                })
                .collect();
            let moved = moved(quantity, visits, &points);
            (!points.is_empty()).then_some(Series {
                quantity,
                when,
                points,
                moved,
            })
        })
        .collect()
}

/// Whether the latest value left the usual range. A value that was not taken at the latest visit is
/// old news.
fn moved(quantity: Quantity, visits: &[Numbered], points: &[Point]) -> Option<Moved> {
    let (last, earlier) = points.split_last()?;
    if earlier.len() < LEAST_EARLIER || visits.last()?.number != last.visit {
        return None;
    }
    let usual = median(earlier.iter().map(|point| point.value).collect())?;
    let spread = median(
        earlier
            .iter()
            .map(|point| (point.value - usual).abs())
            .collect(),
    )?;
    let within = (DEVIATIONS * TO_DEVIATION * spread).max(quantity.least());
    // A hair of room for decimal fractions, so that exactly an eighth of a turn is within an eighth.
    ((last.value - usual).abs() > within * (1.0 + 1e-9)).then_some(Moved {
        value: last.value,
        usual,
        within,
        earlier: earlier.len(),
    })
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() % 2 {
        _ if values.is_empty() => None,
        1 => Some(values[half]),
        _ => Some(f64::midpoint(values[half - 1], values[half])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{Held, How};
    use crate::units::Rpm;
    use jiff::civil::date;

    fn visit(number: u32, idle: Option<f64>) -> Numbered {
        let mut visit = Visit::on(date(2026, 1, number as i8));
        visit.before = Some(Measured {
            idle: idle.map(|rpm| Held::bare(Rpm(rpm))),
            ..Measured::nothing(How::Typed)
        });
        Numbered { number, visit }
    }

    fn idles(values: &[f64]) -> Option<Moved> {
        let visits: Vec<_> = values
            .iter()
            .zip(1..)
            .map(|(idle, number)| visit(number, Some(*idle)))
            .collect();
        let series = trends(&visits);
        assert_eq!(series.len(), 1);
        series[0].moved
    }

    #[test]
    fn a_value_beyond_three_deviations_of_the_earlier_ones_is_noted() {
        // By hand: median 2,800, absolute deviations 0, 40, 40, 80 and 80, their median 40, so
        // 3 · 1.4826 · 40 = 177.9.
        let usual = [2_720.0, 2_760.0, 2_800.0, 2_840.0, 2_880.0];
        let with = |last: f64| idles(&[&usual[..], &[last]].concat());
        assert_eq!(with(2_977.0), None);
        assert_eq!(with(2_623.0), None);
        let moved = with(2_979.0).unwrap();
        assert_eq!(
            (moved.value, moved.usual, moved.earlier),
            (2_979.0, 2_800.0, 5)
        );
        assert!((moved.within - 177.912).abs() < 1e-9);
        assert!(with(2_621.0).is_some());
    }

    #[test]
    fn a_steady_machine_is_allowed_what_every_engine_wanders() {
        assert_eq!(idles(&[2_800.0, 2_800.0, 2_800.0, 2_800.0, 2_900.0]), None);
        assert!(idles(&[2_800.0, 2_800.0, 2_800.0, 2_800.0, 2_901.0]).is_some());
    }

    #[test]
    fn one_odd_visit_does_not_hide_the_next() {
        assert!(idles(&[2_800.0, 2_810.0, 9_000.0, 2_790.0, 2_805.0, 3_400.0]).is_some());
    }

    #[test]
    fn few_visits_and_old_news_give_no_note() {
        assert_eq!(idles(&[2_800.0, 2_800.0, 2_800.0, 9_000.0]), None);
        let mut visits: Vec<_> = (1..=5).map(|number| visit(number, Some(2_800.0))).collect();
        visits.push(visit(6, Some(4_000.0)));
        assert!(trends(&visits)[0].moved.is_some());
        visits.push(visit(7, None));
        assert_eq!(trends(&visits)[0].moved, None);
    }
}
