//! How the speed stands to the range that is wanted.
use super::board::Board;
use crate::machine::SpeedRange;
use crate::procedure::Throttle;
use crate::report::words;
use crate::units::Rpm;

/// How the speed stands to its goal.
#[derive(Clone, Debug, PartialEq)]
pub struct Goal {
    /// In words.
    pub words: String,
    /// The range that is wanted.
    pub range: SpeedRange,
    /// Over the maximum or over clutch-in: a danger.
    pub danger: bool,
}

impl Board {
    /// How far to the goal, where the machine's figures and the throttle say what that is.
    pub fn goal(&self) -> Option<Goal> {
        let speeds = &self.machine.speeds;
        let rpm = self.speed();
        if let (Some(rpm), Some(full)) = (rpm, speeds.full_throttle)
            && rpm > full.high()
        {
            return Some(Goal {
                words: format!("{} OVER THE MAXIMUM", apart(rpm, full.high())),
                range: full,
                danger: true,
            });
        }
        if self.throttle == Some(Throttle::Full) {
            let range = speeds.full_throttle?;
            return Some(Goal {
                words: to_range(rpm, range, "the full-throttle range", "the maximum"),
                range,
                danger: false,
            });
        }
        if !matches!(self.throttle, None | Some(Throttle::Idle | Throttle::Start)) {
            return None;
        }
        let range = speeds.idle?;
        let mut words = to_range(rpm, range, "the idle range", "the fastest idle");
        let mut danger = false;
        if let (Some(rpm), Some(bites)) = (rpm, speeds.clutch_in) {
            danger = rpm >= bites;
            words = if danger {
                format!("{} OVER CLUTCH-IN; {words}", apart(rpm, bites))
            } else {
                format!("{words}; {} under clutch-in", apart(rpm, bites))
            };
        }
        Some(Goal {
            words,
            range,
            danger,
        })
    }
}

fn apart(a: Rpm, b: Rpm) -> String {
    let tens = ((a.0 - b.0).abs() / 10.0).round() * 10.0;
    format!("{} rpm", words::grouped(tens))
}

fn to_range(rpm: Option<Rpm>, range: SpeedRange, name: &str, top: &str) -> String {
    let shown = format!(
        "{} to {}",
        words::grouped(range.low().0),
        words::grouped(range.high().0)
    );
    match rpm {
        None => format!("goal {shown} rpm"),
        Some(rpm) if rpm < range.low() => {
            format!("{} under {name} {shown}", apart(rpm, range.low()))
        }
        Some(rpm) if rpm > range.high() => {
            format!("{} over {name} {shown}", apart(rpm, range.high()))
        }
        Some(rpm) => format!("within {shown}, {} under {top}", apart(rpm, range.high())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_to_a_range_is_told_from_its_near_end() {
        let range = SpeedRange(Rpm(2_700.0), Rpm(3_000.0));
        let told = |rpm: f64| to_range(Some(Rpm(rpm)), range, "the idle range", "the fastest idle");
        assert_eq!(told(2_500.0), "200 rpm under the idle range 2,700 to 3,000");
        assert_eq!(told(3_420.0), "420 rpm over the idle range 2,700 to 3,000");
        assert_eq!(
            told(2_900.0),
            "within 2,700 to 3,000, 100 rpm under the fastest idle"
        );
    }
}
