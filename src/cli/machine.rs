//! `machine`: new, show, check.
use super::args::{Machine, New};
use super::exit::Outcome;
use super::profile::{load, wrong};
use super::terminal::{print, say};
use super::trouble::Trouble;
use crate::machine::{Carburetor, Coil, Cycle, Figure, Origin, Profile, SpeedRange, Use};

/// Runs the command.
pub fn machine(command: Machine) -> Result<Outcome, Trouble> {
    match command {
        Machine::New(fields) => new(*fields)?,
        Machine::Show { file } => print(&shown(&load(&file)?))?,
        Machine::Check { file } => print(&checked(&file.to_string_lossy(), &load(&file)?))?,
    }
    Ok(Outcome::Read)
}

fn new(fields: New) -> Result<(), Trouble> {
    let mut profile = Profile {
        name: fields.name,
        used_for: fields.used_for,
        carburetor: fields.carburetor,
        ..Profile::default()
    };
    profile.cycle = fields.cycle.unwrap_or(profile.cycle);
    profile.cylinders = fields.cylinders.unwrap_or(profile.cylinders);
    profile.coil = fields.coil.unwrap_or(profile.coil);
    profile.search = fields.speed_range.unwrap_or(profile.search);
    profile.speeds.idle = fields.idle;
    profile.speeds.clutch_in = fields.clutch_in;
    profile.speeds.full_throttle = fields.full_throttle;
    profile.speeds.limiter = fields.limiter;
    let source =
        |given: bool, own: Option<Origin>| own.or_else(|| fields.source.clone()).filter(|_| given);
    profile.sources.idle = source(fields.idle.is_some(), fields.idle_source);
    profile.sources.clutch_in = source(fields.clutch_in.is_some(), fields.clutch_in_source);
    profile.sources.full_throttle =
        source(fields.full_throttle.is_some(), fields.full_throttle_source);
    profile.sources.limiter = source(fields.limiter.is_some(), fields.limiter_source);
    if let Some(class) = fields.class {
        let filled = profile.fill_from(class);
        if !filled.is_empty() {
            let keys: Vec<_> = filled.iter().map(|figure| figure.key()).collect();
            say(&format!(
                "note: {} filled in from what is usual for this class (common practice, no source); put the maker's \
                 figures in their place\n",
                keys.join(", ")
            ));
        }
    }
    profile
        .validate()
        .map_err(|error| wrong("the flags", &error))?;
    print(&profile.to_toml())
}

/// A profile in words, a line for each field.
fn shown(profile: &Profile) -> String {
    let unknown = || "not known".to_string();
    let name = profile.name.as_deref().map_or_else(unknown, |name| {
        name.chars().filter(|c| !c.is_control()).collect()
    });
    let used_for = profile.used_for.map_or_else(unknown, |used_for| {
        match used_for {
            Use::TrimmerHead => "string trimmer with a line head",
            Use::BrushBlade => "brush cutter with a blade",
            Use::Saw => "saw",
            Use::Blower => "blower, no clutch",
            Use::Hedge => "hedge trimmer",
        }
        .into()
    });
    let cycle = match profile.cycle {
        Cycle::TwoStroke => "two-stroke",
        Cycle::FourStroke => "four-stroke",
    };
    let cylinders = if profile.cylinders == 1 {
        "1 cylinder".into()
    } else {
        format!("{} cylinders", profile.cylinders)
    };
    let carburetor = profile.carburetor.map_or_else(unknown, |carburetor| {
        match carburetor {
            Carburetor::Butterfly => "butterfly: low-speed, high-speed and idle-speed screw",
            Carburetor::BarrelValve => {
                "barrel valve: the needle's screw for low speed, idle-speed screw, high-speed screw"
            }
            Carburetor::Automatic => "automatic: no mixture screws, no turns are advised",
        }
        .into()
    });
    let coil = match profile.coil {
        Coil::Plain => "plain: fires at every speed",
        Coil::Limited => "limited: cuts the spark at a ceiling",
        Coil::Unknown => "not known",
    };
    let mut lines = vec![
        ("name".to_string(), name),
        ("use".into(), used_for),
        ("engine".into(), format!("{cycle}, {cylinders}")),
        ("carburetor".into(), carburetor),
        ("coil".into(), coil.into()),
    ];
    for figure in Figure::ALL {
        let words = match figure {
            Figure::Idle => "idle",
            Figure::ClutchIn => "clutch-in",
            Figure::FullThrottle => "full throttle",
            Figure::Limiter => "limiter",
        };
        let value = match figure {
            Figure::Idle => profile.speeds.idle.map(range),
            Figure::ClutchIn => profile.speeds.clutch_in.map(|speed| speed.to_string()),
            Figure::FullThrottle => profile.speeds.full_throttle.map(range),
            Figure::Limiter => profile.speeds.limiter.map(|speed| speed.to_string()),
        };
        let value = match (value, profile.origin(figure)) {
            (Some(value), Some(origin)) => format!("{value} ({origin})"),
            (Some(value), None) => format!("{value} (source not said)"),
            (None, _) => unknown(),
        };
        lines.push((words.into(), value));
    }
    lines.push(("search".into(), range(profile.search)));
    lines
        .iter()
        .map(|(field, value)| format!("{field:<14}{value}\n"))
        .collect()
}

fn range(range: SpeedRange) -> String {
    format!("{:.0} to {}", range.low().0, range.high())
}

/// What is odd in a profile, a line each.
fn checked(place: &str, profile: &Profile) -> String {
    let odd = profile.check();
    if odd.is_empty() {
        return format!("{place}: nothing wrong, nothing odd\n");
    }
    let mut text = format!("{place}: can be used; worth a look:\n");
    odd.iter()
        .for_each(|oddity| text.push_str(&format!("  - {oddity}\n")));
    text
}
