//! A machine in words.
use super::words::grouped;
use crate::machine::{Carburetor, Coil, Figure, Profile, SpeedRange};

/// The figures that are known, each with its name and where it came from.
pub fn figures(profile: &Profile) -> Vec<(String, String)> {
    let mut lines: Vec<(String, String)> = vec![];
    for figure in Figure::ALL {
        let Some(value) = value(profile, figure) else {
            continue;
        };
        let origin = profile
            .origin(figure)
            .map_or("source not said".into(), ToString::to_string);
        lines.push((name(figure).into(), format!("{value} ({origin})")));
    }
    let carburetor = profile.carburetor.map(|carburetor| match carburetor {
        Carburetor::Butterfly => "butterfly",
        Carburetor::BarrelValve => "barrel valve",
        Carburetor::Automatic => "automatic, no mixture screws",
    });
    lines.extend(carburetor.map(|words| ("carburetor".into(), words.into())));
    let coil = match profile.coil {
        Coil::Plain => Some("plain"),
        Coil::Limited => Some("limited"),
        Coil::Unknown => None,
    };
    lines.extend(coil.map(|words| ("coil".into(), words.into())));
    lines
}

/// The name of a figure.
pub fn name(figure: Figure) -> &'static str {
    match figure {
        Figure::Idle => "idle",
        Figure::ClutchIn => "clutch-in",
        Figure::FullThrottle => "full throttle",
        Figure::Limiter => "limiter",
    }
}

fn value(profile: &Profile, figure: Figure) -> Option<String> {
    let speeds = &profile.speeds;
    match figure {
        Figure::Idle => speeds.idle.map(range),
        Figure::ClutchIn => speeds
            .clutch_in
            .map(|speed| format!("{} rpm", grouped(speed.0))),
        Figure::FullThrottle => speeds.full_throttle.map(range),
        Figure::Limiter => speeds
            .limiter
            .map(|speed| format!("{} rpm", grouped(speed.0))),
    }
}

/// A range of speeds.
pub fn range(range: SpeedRange) -> String {
    format!(
        "{} to {} rpm",
        grouped(range.low().0),
        grouped(range.high().0)
    )
}
