//! The machine profile: the fields of the TOML file as types.
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::origin::{Origin, Sources};
use crate::units::Rpm;

/// Where the tachometer searches when nothing else is said.
pub const DEFAULT_SEARCH: SpeedRange = SpeedRange(Rpm(1_200.0), Rpm(16_000.0));

/// Strokes of a working cycle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Cycle {
    /// One firing of each cylinder in every revolution.
    #[default]
    TwoStroke,
    /// One firing of each cylinder in every second revolution.
    FourStroke,
}

/// What the machine is used for; decides which attachment may move at idle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Use {
    /// String trimmer with a line head.
    #[serde(rename = "trimmer head")]
    TrimmerHead,
    /// Brush cutter with a blade.
    #[serde(rename = "brush blade")]
    BrushBlade,
    /// Chain saw.
    Saw,
    /// Blower: no clutch.
    Blower,
    /// Hedge trimmer.
    Hedge,
}

/// How the carburetor meters, which decides which screws there are and in which order they go.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Carburetor {
    /// Throttle plate; low-speed, high-speed and idle-speed screw.
    Butterfly,
    /// Turning barrel with a needle: all fuel passes the high-speed screw.
    BarrelValve,
    /// Mixture set by electronics: no turns are advised.
    Automatic,
}

/// The ignition coil.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Coil {
    /// Fires at every speed.
    Plain,
    /// Cuts the spark at a ceiling speed.
    Limited,
    /// Not known.
    #[default]
    Unknown,
}

/// A range of speeds, low to high, both included.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpeedRange(pub Rpm, pub Rpm);

impl SpeedRange {
    /// The lower end.
    pub fn low(self) -> Rpm {
        self.0
    }

    /// The upper end.
    pub fn high(self) -> Rpm {
        self.1
    }
}

/// The speeds of the machine, each as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Speeds {
    /// Idle speed.
    pub idle: Option<SpeedRange>,
    /// Speed at which the clutch begins to drive the attachment; none on a blower.
    pub clutch_in: Option<Rpm>,
    /// Full throttle without load; the upper end is the maker's maximum.
    pub full_throttle: Option<SpeedRange>,
    /// Speed at which the coil cuts the spark.
    pub limiter: Option<Rpm>,
}

/// One of the speeds of a machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Figure {
    /// Idle speed.
    Idle,
    /// Clutch-in speed.
    ClutchIn,
    /// Full throttle without load.
    FullThrottle,
    /// Limiter speed.
    Limiter,
}

impl Figure {
    /// All of them, in the order of the file.
    pub const ALL: [Figure; 4] = [
        Figure::Idle,
        Figure::ClutchIn,
        Figure::FullThrottle,
        Figure::Limiter,
    ];

    /// Its key in `[speeds]` and in `[sources]`.
    pub fn key(self) -> &'static str {
        match self {
            Figure::Idle => "idle",
            Figure::ClutchIn => "clutch_in",
            Figure::FullThrottle => "full_throttle",
            Figure::Limiter => "limiter",
        }
    }
}

/// A machine as the technician describes it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Profile {
    /// The technician's own name for it.
    pub name: Option<String>,
    /// What it is used for.
    #[serde(rename = "use")]
    pub used_for: Option<Use>,
    /// Strokes of a working cycle.
    pub cycle: Cycle,
    /// Number of cylinders, 1 to 4.
    pub cylinders: u8,
    /// Carburetor type.
    pub carburetor: Option<Carburetor>,
    /// Ignition coil.
    pub coil: Coil,
    /// Speeds.
    pub speeds: Speeds,
    /// Where each of the speeds came from.
    pub sources: Sources,
    /// Where the tachometer searches.
    pub search: SpeedRange,
}

impl Default for Profile {
    /// A single-cylinder two-stroke of which nothing else is known.
    fn default() -> Self {
        Profile {
            name: None,
            used_for: None,
            cycle: Cycle::TwoStroke,
            cylinders: 1,
            carburetor: None,
            coil: Coil::Unknown,
            speeds: Speeds::default(),
            sources: Sources::default(),
            search: DEFAULT_SEARCH,
        }
    }
}

impl Profile {
    /// Whether a figure is known.
    pub fn knows(&self, figure: Figure) -> bool {
        match figure {
            Figure::Idle => self.speeds.idle.is_some(),
            Figure::ClutchIn => self.speeds.clutch_in.is_some(),
            Figure::FullThrottle => self.speeds.full_throttle.is_some(),
            Figure::Limiter => self.speeds.limiter.is_some(),
        }
    }

    /// Where a figure came from, as far as it was said.
    pub fn origin(&self, figure: Figure) -> Option<&Origin> {
        match figure {
            Figure::Idle => self.sources.idle.as_ref(),
            Figure::ClutchIn => self.sources.clutch_in.as_ref(),
            Figure::FullThrottle => self.sources.full_throttle.as_ref(),
            Figure::Limiter => self.sources.limiter.as_ref(),
        }
    }

    /// Whether a figure is only what machines of its class usually do.
    pub fn is_typical(&self, figure: Figure) -> bool {
        self.origin(figure) == Some(&Origin::Typical)
    }

    /// Firings in a revolution when none is skipped: one for each cylinder of a two-stroke, half as
    /// many in a four-stroke cycle.
    pub fn firings_per_revolution(&self) -> f64 {
        let cylinders = f64::from(self.cylinders.max(1));
        match self.cycle {
            Cycle::TwoStroke => cylinders,
            Cycle::FourStroke => 0.5 * cylinders,
        }
    }

    /// Where this machine's speed can lie: the search band, narrowed by what is known of idle, full
    /// throttle and limiter with room for an engine that is badly set (0.6 times the slowest idle
    /// to 1.35 times the fastest full throttle; common practice, no source: a bare shaft or a short
    /// line makes an engine up to a quarter faster).
    pub fn search_band(&self) -> SpeedRange {
        let speeds = &self.speeds;
        let low = speeds.idle.map_or(0.0, |range| 0.6 * range.low().0);
        let full = speeds.full_throttle.map(|range| 1.35 * range.high().0);
        let limiter = speeds.limiter.map(|speed| 1.1 * speed.0);
        // Only the maximum bounds the speed; a limiter above it widens the band.
        let high = full.map_or(f64::INFINITY, |full| full.max(limiter.unwrap_or(0.0)));
        SpeedRange(
            Rpm(self.search.low().0.max(low).min(self.search.high().0)),
            Rpm(self.search.high().0.min(high).max(self.search.low().0)),
        )
    }
}
