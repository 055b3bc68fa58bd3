//! What differs between a clip and what it should read.
use std::fmt;

use super::expectation::{Expectation, Stretch};
use super::frames::FrameLine;
use crate::firing::FiringKind;

/// Share of the frames that must agree where nothing else is said.
const SHARE: f64 = 0.95;
/// Least share of a stretch with a speed where nothing else is said: an expectation about a stretch
/// in which hardly anything was read would hold by accident.
const READABLE: f64 = 0.5;

/// Something that is not as expected. Printed, it says what was expected and what was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// Where: the clip or a stretch of it.
    pub place: String,
    /// What was expected.
    pub expected: String,
    /// What was heard.
    pub heard: String,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: expected {}, heard {}",
            self.place, self.expected, self.heard
        )
    }
}

/// Takes the frames of a clip and says what differs. Memory does not grow with the clip.
#[derive(Clone, Debug)]
pub struct Comparison {
    expectation: Expectation,
    whole: Tally,
    stretches: Vec<Tally>,
}

/// What was counted in a stretch.
#[derive(Clone, Copy, Debug, Default)]
struct Tally {
    frames: u64,
    readable: u64,
    rpm_in_range: u64,
    rpm_sum: f64,
    kind_as_expected: u64,
    skip_sum: f64,
    skip_count: u64,
}

impl Tally {
    fn readable_share(&self) -> f64 {
        if self.frames == 0 {
            0.0
        } else {
            self.readable as f64 / self.frames as f64
        }
    }

    fn share(&self, count: u64) -> f64 {
        if self.readable == 0 {
            0.0
        } else {
            count as f64 / self.readable as f64
        }
    }
}

impl Comparison {
    /// A comparison with an expectation.
    pub fn new(expectation: Expectation) -> Self {
        let stretches = vec![Tally::default(); expectation.stretch.len()];
        Comparison {
            expectation,
            whole: Tally::default(),
            stretches,
        }
    }

    /// Takes the next frame.
    pub fn push(&mut self, frame: &FrameLine) {
        self.whole.frames += 1;
        self.whole.readable += u64::from(frame.rpm.is_some());
        for (stretch, tally) in self.expectation.stretch.iter().zip(&mut self.stretches) {
            if !(stretch.from_s..=stretch.to_s).contains(&frame.t_s) {
                continue;
            }
            tally.frames += 1;
            let Some(rpm) = frame.rpm else { continue };
            tally.readable += 1;
            tally.rpm_sum += rpm;
            tally.rpm_in_range += u64::from(
                stretch
                    .rpm
                    .is_some_and(|[low, high]| (low..=high).contains(&rpm)),
            );
            tally.kind_as_expected += u64::from(stretch.firing == Some(frame.firing));
            if let Some(skip_ratio) = frame.skip_ratio {
                tally.skip_sum += skip_ratio;
                tally.skip_count += 1;
            }
        }
    }

    /// What differs, once the clip has ended. `engine` says whether one was heard.
    pub fn differences(&self, engine: bool) -> Vec<Difference> {
        let mut out = vec![];
        if let Some(expected) = self
            .expectation
            .engine
            .filter(|expected| *expected != engine)
        {
            let words = |engine| if engine { "an engine" } else { "no engine" };
            out.push(Difference {
                place: "clip".into(),
                expected: words(expected).into(),
                heard: words(engine).into(),
            });
        }
        if let Some(range) = self.expectation.readable {
            out.extend(outside(
                "clip",
                "share with a speed",
                range,
                Some(self.whole.readable_share()),
                3,
            ));
        }
        for (stretch, tally) in self.expectation.stretch.iter().zip(&self.stretches) {
            compare(stretch, tally, &mut out);
        }
        out
    }
}

/// Seconds to the hundredth, without zeros that say nothing.
fn seconds(t: f64) -> f64 {
    (t * 100.0).round() / 100.0
}

fn compare(stretch: &Stretch, tally: &Tally, out: &mut Vec<Difference>) {
    let place = format!("{} to {} s", seconds(stretch.from_s), seconds(stretch.to_s));
    if tally.frames == 0 {
        let expected = "sound in this stretch".into();
        out.push(Difference {
            place,
            expected,
            heard: "none: the clip ends before it".into(),
        });
        return;
    }
    let claims = stretch.rpm.is_some() || stretch.firing.is_some() || stretch.skip_ratio.is_some();
    let readable = stretch.readable.or(claims.then_some([READABLE, 1.0]));
    if let Some(range) = readable {
        out.extend(outside(
            &place,
            "share with a speed",
            range,
            Some(tally.readable_share()),
            3,
        ));
    }
    if tally.readable == 0 {
        return;
    }
    let needed = stretch.share.unwrap_or(SHARE);
    if let Some([low, high]) = stretch.rpm {
        let share = tally.share(tally.rpm_in_range);
        if share < needed {
            out.push(Difference {
                place: place.clone(),
                expected: format!(
                    "{low:.0} to {high:.0} rpm in {:.1} % of the frames",
                    needed * 100.0
                ),
                heard: format!(
                    "{:.1} %, mean {:.0} rpm",
                    share * 100.0,
                    tally.rpm_sum / tally.readable as f64
                ),
            });
        }
    }
    if let Some(kind) = stretch.firing {
        let share = tally.share(tally.kind_as_expected);
        if share < needed {
            out.push(Difference {
                place: place.clone(),
                expected: format!(
                    "firing {} in {:.1} % of the frames",
                    word(kind),
                    needed * 100.0
                ),
                heard: format!("{:.1} %", share * 100.0),
            });
        }
    }
    if let Some(range) = stretch.skip_ratio {
        let mean = (tally.skip_count > 0).then(|| tally.skip_sum / tally.skip_count as f64);
        out.extend(outside(&place, "skip ratio", range, mean, 3));
    }
}

fn outside(
    place: &str,
    what: &str,
    [low, high]: [f64; 2],
    value: Option<f64>,
    places: usize,
) -> Option<Difference> {
    let inside = value.is_some_and(|value| (low..=high).contains(&value));
    (!inside).then(|| Difference {
        place: place.into(),
        expected: format!("{what} {low} to {high}"),
        heard: value.map_or("none".into(), |value| format!("{value:.places$}")),
    })
}

/// The kind as the file writes it.
fn word(kind: FiringKind) -> &'static str {
    match kind {
        FiringKind::Clean => "clean",
        FiringKind::FourStroking => "four-stroking",
        FiringKind::Limiter => "limiter",
        FiringKind::Unclear => "unclear",
        FiringKind::None => "none",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tach::Unreadable;

    fn line(t_s: f64, rpm: Option<f64>, firing: FiringKind, skip_ratio: Option<f64>) -> FrameLine {
        FrameLine {
            t_s,
            rpm,
            rpm_low: rpm,
            rpm_high: rpm,
            confidence: 1.0,
            firing,
            skip_ratio,
            level_dbfs: Some(-20.0),
            unreadable: rpm.is_none().then_some(Unreadable::NoEngine),
            rpm_other: None,
            pattern: None,
            sub_order_db: None,
            variation: None,
            clipped: 0.0,
        }
    }

    /// Ten seconds: idle at 2,800 rpm, from 5 s on four-stroking at 9,400 rpm; a frame every 0.1 s.
    fn compared(text: &str) -> Vec<String> {
        let mut comparison = Comparison::new(Expectation::from_toml(text).unwrap());
        for i in 0..100 {
            let t = f64::from(i) * 0.1 + 0.05;
            comparison.push(&match i {
                0..10 => line(t, None, FiringKind::None, None),
                10..50 => line(t, Some(2_800.0), FiringKind::Clean, Some(0.0)),
                _ => line(t, Some(9_400.0), FiringKind::FourStroking, Some(0.4)),
            });
        }
        comparison
            .differences(true)
            .iter()
            .map(ToString::to_string)
            .collect()
    }

    #[test]
    fn what_is_as_expected_is_not_named() {
        let text = "
            engine = true
            readable = [0.85, 0.95]
            [[stretch]]
            from_s = 5.0
            to_s = 10.0
            rpm = [9300, 9500]
            firing = 'four-stroking'
            skip_ratio = [0.35, 0.45]
            [[stretch]]
            from_s = 0.0
            to_s = 1.0
            readable = [0.0, 0.0]
        ";
        assert_eq!(compared(text), Vec::<String>::new());
    }

    #[test]
    fn each_thing_that_differs_is_named_with_what_was_heard() {
        assert_eq!(
            compared("engine = false"),
            ["clip: expected no engine, heard an engine"]
        );
        assert_eq!(
            compared("readable = [0.95, 1.0]"),
            ["clip: expected share with a speed 0.95 to 1, heard 0.900"]
        );
        let text = "
            [[stretch]]
            from_s = 4.0
            to_s = 6.0
            rpm = [9300, 9500]
            firing = 'clean'
            skip_ratio = [0.0, 0.1]
            [[stretch]]
            from_s = 0.0
            to_s = 1.0
            rpm = [1, 20000]
            [[stretch]]
            from_s = 20
            to_s = 21
            readable = [0, 1]
        ";
        assert_eq!(
            compared(text),
            [
                "4 to 6 s: expected 9300 to 9500 rpm in 95.0 % of the frames, heard 50.0 %, mean 6100 rpm",
                "4 to 6 s: expected firing clean in 95.0 % of the frames, heard 50.0 %",
                "4 to 6 s: expected skip ratio 0 to 0.1, heard 0.200",
                "0 to 1 s: expected share with a speed 0.5 to 1, heard 0.000",
                "20 to 21 s: expected sound in this stretch, heard none: the clip ends before it",
            ]
        );
    }
}
