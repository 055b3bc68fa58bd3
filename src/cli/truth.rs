//! From the truth of a test signal to what a clip should read.
use crate::firing::FiringKind;
use crate::report::{Expectation, Stretch};
use crate::synth::{Label, Row, Truth};

/// The shortest steady stretch that is compared, in seconds.
const SHORTEST: f64 = 0.5;
/// What is left out at either end of it: there a reading still looks at the neighbours.
const MARGIN: f64 = 0.1;
/// Most of a clip without an engine that may have a speed.
const FALSE_SPEED: f64 = 0.01;

/// Every steady stretch with its speed within `percent` of the truth and its firing; a clip without
/// an engine has none.
pub fn expectation(truth: &Truth, percent: f64) -> Expectation {
    if !truth.engine {
        return Expectation {
            engine: Some(false),
            readable: Some([0.0, FALSE_SPEED]),
            stretch: vec![],
        };
    }
    let steady = |a: &Row, b: &Row| b.steady && b.rpm.is_some() && a.steady && a.firing == b.firing;
    let stretches = truth
        .rows
        .chunk_by(steady)
        .filter_map(|rows| stretch(rows, percent));
    Expectation {
        engine: Some(true),
        readable: None,
        stretch: stretches.collect(),
    }
}

fn stretch(rows: &[Row], percent: f64) -> Option<Stretch> {
    let (first, last) = (rows.first()?, rows.last()?);
    if !first.steady || last.t_s - first.t_s < SHORTEST {
        return None;
    }
    let speeds = || rows.iter().filter_map(|row| row.rpm.map(|rpm| rpm.0));
    let (low, high) = (speeds().reduce(f64::min)?, speeds().reduce(f64::max)?);
    Some(Stretch {
        from_s: first.t_s + MARGIN,
        to_s: last.t_s - MARGIN,
        rpm: Some([
            low * (1.0 - percent / 100.0),
            high * (1.0 + percent / 100.0),
        ]),
        firing: match first.firing {
            Label::Clean => Some(FiringKind::Clean),
            Label::FourStroking => Some(FiringKind::FourStroking),
            Label::Limiter => Some(FiringKind::Limiter),
            Label::None => None,
        },
        skip_ratio: None,
        share: None,
        readable: None,
    })
}
