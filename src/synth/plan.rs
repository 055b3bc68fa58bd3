//! Firing plans: which turns fire.
use serde::{Deserialize, Serialize};

use super::error::SceneError;
use super::scene::in_range;
use crate::units::Seconds;

/// Which turns fire.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(tag = "rhythm", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Plan {
    /// Every one that is due.
    #[default]
    Clean,
    /// Each is skipped with a probability, whatever the one before did.
    Random {
        /// Probability, 0 to 1.
        skip: f64,
    },
    /// One firing in so many turns.
    Every {
        /// 2, 3 or 4.
        turns: u8,
        /// Probability that a firing comes a turn late (or, half as often, a turn early).
        slips: f64,
    },
    /// The pattern itself changes: clean, every second, third, fourth.
    Changing {
        /// Mean time between two changes.
        dwell: Seconds,
        /// Probability of a slip as in `every`.
        slips: f64,
    },
    /// Residual gas decides: the chance to fire grows with each turn that was skipped.
    Rich {
        /// −1 is clean, 0 skips half of the turns after a firing, 1 fires about every second turn,
        /// 2 about every third.
        excess: f64,
        /// Breadth of the decision; 0.1 is nearly regular, 1 very irregular.
        spread: f64,
    },
    /// Skips come together, without a limiter.
    Bursts {
        /// Bursts a second.
        per_second: f64,
        /// Share of the time inside a burst, 0 to 1.
        share: f64,
    },
    /// All fire, but with very unequal strength, as at idle.
    Uneven {
        /// Coefficient of variation, 0 to 1.
        variation: f64,
    },
    /// Fixed strengths that repeat, turn by turn: for closed forms.
    Levels {
        /// Strengths; 0 is a skip without a trace.
        levels: Vec<f64>,
    },
}

impl Plan {
    /// Checks every number against its range.
    pub(super) fn check(&self) -> Result<(), SceneError> {
        match self {
            Plan::Clean => Ok(()),
            Plan::Random { skip } => in_range("engine.schedule.firing.skip", *skip, 0.0, 1.0),
            Plan::Every { turns, slips } => {
                in_range("engine.schedule.firing.turns", f64::from(*turns), 2.0, 8.0)?;
                in_range("engine.schedule.firing.slips", *slips, 0.0, 0.5)
            }
            Plan::Changing { dwell, slips } => {
                in_range("engine.schedule.firing.dwell", dwell.0, 0.01, 3_600.0)?;
                in_range("engine.schedule.firing.slips", *slips, 0.0, 0.5)
            }
            Plan::Rich { excess, spread } => {
                in_range("engine.schedule.firing.excess", *excess, -10.0, 10.0)?;
                in_range("engine.schedule.firing.spread", *spread, 1e-3, 10.0)
            }
            Plan::Bursts { per_second, share } => {
                in_range("engine.schedule.firing.per_second", *per_second, 0.1, 60.0)?;
                in_range("engine.schedule.firing.share", *share, 0.0, 1.0)
            }
            Plan::Uneven { variation } => {
                in_range("engine.schedule.firing.variation", *variation, 0.0, 1.0)
            }
            Plan::Levels { levels } => {
                in_range(
                    "the number of engine.schedule.firing.levels",
                    levels.len() as f64,
                    1.0,
                    64.0,
                )?;
                levels
                    .iter()
                    .try_for_each(|&x| in_range("engine.schedule.firing.levels", x, 0.0, 10.0))
            }
        }
    }
}
