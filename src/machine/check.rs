//! What cannot be in a profile, and what is only odd.
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::error::{Place, ProfileError};
use super::profile::{Carburetor, Coil, Cycle, Figure, Profile, SpeedRange, Use};
use crate::units::Rpm;

/// The attachment must not move below this many times the idle speed (ISO 11806-1 for trimmers
/// and brush cutters, ISO 11681-1 for saws; from memory).
pub const IDLE_MARGIN: f64 = 1.25;

/// Speeds outside are no small engine's.
pub(super) const SPEED_LIMITS: (f64, f64) = (300.0, 25_000.0);

/// Something in a profile that is possible, but odd. Printed, it says what and what to do.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "oddity", rename_all = "kebab-case")]
pub enum Oddity {
    /// The clutch bites below 1.25 times the upper idle speed.
    ClutchTooNearIdle {
        /// Clutch-in speed.
        clutch_in_rpm: Rpm,
        /// Upper end of the idle range.
        idle_high_rpm: Rpm,
        /// The fastest idle that keeps the margin.
        keep_idle_below_rpm: Rpm,
        /// Not even the lower end of the idle range keeps it.
        never_met: bool,
    },
    /// The limiter cuts before full throttle reaches the maker's maximum.
    LimiterBelowMaximum {
        /// Limiter speed.
        limiter_rpm: Rpm,
        /// The maker's maximum.
        maximum_rpm: Rpm,
    },
    /// A limiter speed is given for a coil that has none.
    LimiterOnPlainCoil {
        /// Limiter speed.
        limiter_rpm: Rpm,
    },
    /// A speed lies outside the search band and would never be read.
    OutsideSearch {
        /// Which speed.
        figure: Figure,
        /// The search band.
        search_low_rpm: Rpm,
        /// The search band.
        search_high_rpm: Rpm,
    },
    /// A figure without a word on where it came from.
    NoSource {
        /// Which speed.
        figure: Figure,
    },
    /// A figure that is only common practice for the class.
    OnlyTypical {
        /// Which speed.
        figure: Figure,
    },
    /// A source for a figure that is not given.
    SourceWithoutFigure {
        /// Which speed.
        figure: Figure,
    },
    /// A four-stroke cycle with a barrel valve or more cylinders than hand-held machines have.
    UnusualEngine {
        /// Number of cylinders.
        cylinders: u8,
    },
}

impl fmt::Display for Oddity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Oddity::ClutchTooNearIdle {
                clutch_in_rpm,
                idle_high_rpm,
                keep_idle_below_rpm,
                never_met,
            } => {
                write!(
                    f,
                    "clutch_in ({clutch_in_rpm}) is below 1.25 times the upper idle speed \
                     ({idle_high_rpm}): keep the idle at {keep_idle_below_rpm} or slower"
                )?;
                if *never_met {
                    f.write_str(
                        "; not even the lower idle speed is slow enough, so look the figures up \
                         again, and have the clutch checked if they are right",
                    )?;
                }
                Ok(())
            }
            Oddity::LimiterBelowMaximum {
                limiter_rpm,
                maximum_rpm,
            } => write!(
                f,
                "the limiter ({limiter_rpm}) cuts below the upper full-throttle speed \
                 ({maximum_rpm}): full throttle will be judged 300 to 500 rpm under the limiter"
            ),
            Oddity::LimiterOnPlainCoil { limiter_rpm } => write!(
                f,
                "a limiter speed ({limiter_rpm}) is given, but the coil is \"plain\": correct one \
                 of them"
            ),
            Oddity::OutsideSearch {
                figure,
                search_low_rpm,
                search_high_rpm,
            } => write!(
                f,
                "{} lies outside the search band ({:.0} to {search_high_rpm}) and would never be \
                 read: widen `search`",
                figure.key(),
                search_low_rpm.0
            ),
            Oddity::NoSource { figure } => write!(
                f,
                "where {0} came from is not said: add `{0} = \"maker\"`, \"typical\" or \
                 \"measured\" under [sources]",
                figure.key()
            ),
            Oddity::OnlyTypical { figure } => write!(
                f,
                "{} is only typical for such machines (common practice, no source): look up the \
                 maker's figure",
                figure.key()
            ),
            Oddity::SourceWithoutFigure { figure } => write!(
                f,
                "[sources] names {0}, but [speeds] gives no {0}: add the speed or drop the source",
                figure.key()
            ),
            Oddity::UnusualEngine { cylinders } => write!(
                f,
                "a four-stroke cycle with {cylinders} cylinders or a barrel valve is unusual on a \
                 hand-held machine: make sure that cycle, cylinders and carburetor are right"
            ),
        }
    }
}

impl Profile {
    /// Whether the profile can be used at all; the first contradiction otherwise.
    ///
    /// # Errors
    /// [`ProfileError::OutOfRange`], [`ProfileError::Reversed`], [`ProfileError::ClutchOnBlower`]
    /// or [`ProfileError::WrongOrder`], without a line.
    pub fn validate(&self) -> Result<(), ProfileError> {
        contradiction(self).map_or(Ok(()), Err)
    }

    /// What is odd, though possible.
    pub fn check(&self) -> Vec<Oddity> {
        let mut odd = Vec::new();
        let speeds = &self.speeds;
        if let (Some(clutch), Some(idle)) = (speeds.clutch_in, speeds.idle)
            && clutch.0 < IDLE_MARGIN * idle.high().0
        {
            odd.push(Oddity::ClutchTooNearIdle {
                clutch_in_rpm: clutch,
                idle_high_rpm: idle.high(),
                keep_idle_below_rpm: Rpm(clutch.0 / IDLE_MARGIN),
                never_met: clutch.0 < IDLE_MARGIN * idle.low().0,
            });
        }
        if let Some(limiter) = speeds.limiter {
            if self.coil == Coil::Plain {
                odd.push(Oddity::LimiterOnPlainCoil {
                    limiter_rpm: limiter,
                });
            }
            if let Some(full) = speeds.full_throttle
                && limiter.0 < full.high().0
            {
                odd.push(Oddity::LimiterBelowMaximum {
                    limiter_rpm: limiter,
                    maximum_rpm: full.high(),
                });
            }
        }
        for figure in Figure::ALL {
            if let Some(range) = self.range_of(figure) {
                if range.low().0 < self.search.low().0 || range.high().0 > self.search.high().0 {
                    odd.push(Oddity::OutsideSearch {
                        figure,
                        search_low_rpm: self.search.low(),
                        search_high_rpm: self.search.high(),
                    });
                }
                match self.origin(figure) {
                    None => odd.push(Oddity::NoSource { figure }),
                    Some(_) if self.is_typical(figure) => odd.push(Oddity::OnlyTypical { figure }),
                    Some(_) => {}
                }
            } else if self.origin(figure).is_some() {
                odd.push(Oddity::SourceWithoutFigure { figure });
            }
        }
        if self.cycle == Cycle::FourStroke
            && (self.cylinders > 1 || self.carburetor == Some(Carburetor::BarrelValve))
        {
            odd.push(Oddity::UnusualEngine {
                cylinders: self.cylinders,
            });
        }
        odd
    }

    /// A figure as a range; both ends alike where it is one speed.
    pub(super) fn range_of(&self, figure: Figure) -> Option<SpeedRange> {
        let one = |speed: Rpm| SpeedRange(speed, speed);
        match figure {
            Figure::Idle => self.speeds.idle,
            Figure::ClutchIn => self.speeds.clutch_in.map(one),
            Figure::FullThrottle => self.speeds.full_throttle,
            Figure::Limiter => self.speeds.limiter.map(one),
        }
    }
}

/// The first thing that cannot be.
pub(super) fn contradiction(profile: &Profile) -> Option<ProfileError> {
    count(profile)
        .or_else(|| {
            Figure::ALL
                .into_iter()
                .find_map(|figure| in_limits(profile, figure))
        })
        .or_else(|| range_at("speeds.search", profile.search))
        .or_else(|| clutch_on_blower(profile))
        .or_else(|| order(profile))
}

fn place(key: impl Into<String>) -> Place {
    Place {
        line: None,
        key: key.into(),
    }
}

fn count(profile: &Profile) -> Option<ProfileError> {
    (!(1..=4).contains(&profile.cylinders)).then(|| ProfileError::OutOfRange {
        at: place("cylinders"),
        value: f64::from(profile.cylinders),
        low: 1.0,
        high: 4.0,
    })
}

fn in_limits(profile: &Profile, figure: Figure) -> Option<ProfileError> {
    range_at(
        &format!("speeds.{}", figure.key()),
        profile.range_of(figure)?,
    )
}

fn range_at(key: &str, range: SpeedRange) -> Option<ProfileError> {
    let (low, high) = SPEED_LIMITS;
    let (first, second) = (range.low().0, range.high().0);
    if let Some(value) = [first, second]
        .into_iter()
        .find(|v| !(low..=high).contains(v))
    {
        return Some(ProfileError::OutOfRange {
            at: place(key),
            value,
            low,
            high,
        });
    }
    (first > second).then(|| ProfileError::Reversed {
        at: place(key),
        low: first,
        high: second,
    })
}

fn clutch_on_blower(profile: &Profile) -> Option<ProfileError> {
    match (profile.used_for, profile.speeds.clutch_in) {
        (Some(Use::Blower), Some(speed)) => Some(ProfileError::ClutchOnBlower {
            at: place("speeds.clutch_in"),
            value: speed.0,
        }),
        _ => None,
    }
}

/// Idle below clutch-in, clutch-in and idle below full throttle, idle below the limiter; the
/// search band is not empty.
fn order(profile: &Profile) -> Option<ProfileError> {
    let speeds = &profile.speeds;
    let idle = speeds.idle.map(|r| ("the idle speed", r.high().0));
    let clutch = speeds.clutch_in.map(|s| ("the clutch-in speed", s.0));
    let full = speeds
        .full_throttle
        .map(|r| ("the full-throttle speed", r.low().0));
    let limiter = speeds.limiter.map(|s| ("the limiter speed", s.0));
    let pairs = [
        ("speeds.clutch_in", idle, clutch),
        ("speeds.full_throttle", idle, full),
        ("speeds.full_throttle", clutch, full),
        ("speeds.limiter", idle, limiter),
        ("speeds.limiter", clutch, limiter),
        (
            "speeds.search",
            Some(("the lower end", profile.search.low().0)),
            Some(("the upper end", profile.search.high().0)),
        ),
    ];
    pairs.into_iter().find_map(|(key, lower, higher)| {
        let ((low_name, low), (high_name, high)) = (lower?, higher?);
        (low >= high).then(|| ProfileError::WrongOrder {
            at: place(key),
            low_name,
            low,
            high_name,
            high,
        })
    })
}
