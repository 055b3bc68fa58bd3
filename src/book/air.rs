//! The air: how dense it is, and what a change of it asks for.
use serde::{Deserialize, Serialize};

use super::error::BookError;
use super::visit::Numbered;

/// Pressure at sea level in the standard atmosphere, in pascals. ISO 2533:1975, from memory, as are
/// the three below.
const SEA_LEVEL_PA: f64 = 101_325.0;
/// Temperature there, in kelvins.
const SEA_LEVEL_K: f64 = 288.15;
/// How much colder it gets by the metre, in kelvins.
const LAPSE: f64 = 0.006_5;
/// Specific gas constant of dry air, in J/(kg·K).
const GAS: f64 = 287.053;
/// Exponent of the pressure in the lowest layer: g/(LAPSE·GAS) with g = 9.80665 m/s².
const EXPONENT: f64 = 5.255_88;

/// Change of density from which a setting wants a check. Common practice, no source.
const CHECK: f64 = 0.05;
/// Change of density from which it wants a retune. Common practice, no source.
const RETUNE: f64 = 0.10;

/// The air around the machine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Air {
    /// Temperature in °C.
    #[serde(default)]
    pub temperature_c: Option<f64>,
    /// Height above sea level in metres.
    #[serde(default)]
    pub altitude_m: Option<f64>,
}

impl Air {
    /// Density of dry air in kg/m³ at this height's standard pressure and this temperature; none
    /// where one of the two is not known. The day's weather moves the pressure by about 3 %, and
    /// damp air is up to 2 % thinner: neither is in it.
    pub fn density(self) -> Option<f64> {
        let kelvins = self.temperature_c? + 273.15;
        Some(pressure(self.altitude_m?) / (GAS * kelvins))
    }

    /// Whether the values can be those of a place where engines run.
    ///
    /// # Errors
    /// With the value that cannot.
    pub(super) fn check(self) -> Result<(), BookError> {
        let within = |what, value: Option<f64>, low: f64, high: f64| match value {
            Some(value) if !(low..=high).contains(&value) => Err(BookError::Value {
                what,
                value,
                low,
                high,
            }),
            _ => Ok(()),
        };
        within("air temperature in °C", self.temperature_c, -60.0, 60.0)?;
        within("altitude in m", self.altitude_m, -450.0, 9_000.0)
    }
}

/// Standard pressure in pascals at a height in metres, up to 11,000.
fn pressure(altitude_m: f64) -> f64 {
    let kelvins = SEA_LEVEL_K - LAPSE * altitude_m;
    SEA_LEVEL_PA * (kelvins / SEA_LEVEL_K).powf(EXPONENT)
}

/// What a change of the air asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AirAdvice {
    /// 5 % or more: check the setting.
    Check,
    /// 10 % or more: set it anew before use.
    Retune,
}

/// How the air changed since the machine was last seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirChange {
    /// The visit that it is compared with.
    pub since: u32,
    /// Density then, in kg/m³.
    pub then: f64,
    /// Density now, in kg/m³.
    pub now: f64,
    /// What it asks for.
    pub advice: AirAdvice,
}

impl AirChange {
    /// Change of the density as a share of what it was; above 0 the air is denser and the mixture
    /// leaner.
    pub fn share(&self) -> f64 {
        self.now / self.then - 1.0
    }

    /// Denser air makes the mixture leaner, which can seize the engine: the high-speed screw goes
    /// an eighth of a turn richer before the first full-throttle run.
    pub fn enrich_first(&self) -> bool {
        self.now > self.then
    }

    fn between(since: u32, then: f64, now: f64) -> Option<AirChange> {
        let share = (now / then - 1.0).abs();
        let advice = match share {
            share if share >= RETUNE => AirAdvice::Retune,
            share if share >= CHECK => AirAdvice::Check,
            _ => return None,
        };
        Some(AirChange {
            since,
            then,
            now,
            advice,
        })
    }
}

/// What the air asks for, `visits` in order of time: `now` against the last visit whose air is
/// known, or without it the latest visit against the one before. None where the change is small or
/// not known.
pub fn air_change(visits: &[Numbered], now: Option<Air>) -> Option<AirChange> {
    let (latest, earlier) = match (now, visits.split_last()) {
        (Some(now), _) => (now, visits),
        (None, Some((last, earlier))) => (last.visit.air, earlier),
        (None, None) => return None,
    };
    let now = latest.density()?;
    let (since, then) = earlier
        .iter()
        .rev()
        .find_map(|visit| Some((visit.number, visit.visit.air.density()?)))?;
    AirChange::between(since, then, now)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn air(altitude_m: f64, temperature_c: f64) -> f64 {
        let air = Air {
            temperature_c: Some(temperature_c),
            altitude_m: Some(altitude_m),
        };
        air.density().unwrap()
    }

    #[test]
    fn the_standard_atmosphere_is_met() {
        // ISO 2533:1975, geopotential height, °C, kg/m³; the constants are from memory.
        let table = [
            (0.0, 15.00, 1.225_00),
            (500.0, 11.75, 1.167_27),
            (1_000.0, 8.50, 1.111_64),
            (1_500.0, 5.25, 1.058_07),
            (2_000.0, 2.00, 1.006_49),
            (2_500.0, -1.25, 0.956_86),
            (3_000.0, -4.50, 0.909_12),
        ];
        for (height, temperature, density) in table {
            let ours = air(height, temperature);
            assert!((ours - density).abs() < 1e-5, "{height} m: {ours}");
        }
    }

    #[test]
    fn a_printed_table_by_geometric_height_is_met() {
        // Mechanical Engineers' Handbook, vol. 4, table 6: four and five digits, by geometric height.
        let radius = 6_356_766.0;
        for (height, density) in [(1_000.0, 1.111_7), (2_000.0, 1.006_6), (3_000.0, 0.909_3)] {
            let geopotential = radius * height / (radius + height);
            let temperature = 15.0 - LAPSE * geopotential;
            let ours = air(geopotential, temperature);
            assert!((ours - density).abs() <= 0.000_06, "{height} m: {ours}");
        }
    }

    #[test]
    fn heat_and_cold_at_sea_level() {
        // p / (R·T) at 1,013.25 hPa, worked by hand.
        for (temperature, density) in [
            (-10.0, 1.341_4),
            (0.0, 1.292_3),
            (30.0, 1.164_4),
            (40.0, 1.127_2),
        ] {
            assert!((air(0.0, temperature) - density).abs() < 6e-5);
        }
    }

    #[test]
    fn the_advice_follows_the_change_and_thicker_air_wants_fuel_first() {
        let between = |then, now| AirChange::between(1, then, now);
        assert_eq!(between(1.2, 1.2 * 1.049), None);
        assert_eq!(between(1.2, 1.2 * 0.951), None);
        let thicker = between(1.2, 1.2 * 1.051).unwrap();
        assert_eq!(
            (thicker.advice, thicker.enrich_first()),
            (AirAdvice::Check, true)
        );
        let thinner = between(1.2, 1.2 * 0.94).unwrap();
        assert_eq!(
            (thinner.advice, thinner.enrich_first()),
            (AirAdvice::Check, false)
        );
        // Set at 1,000 m and 30 °C, used at sea level and 0 °C.
        let down = between(air(1_000.0, 30.0), air(0.0, 0.0)).unwrap();
        assert_eq!(
            (down.advice, down.enrich_first()),
            (AirAdvice::Retune, true)
        );
    }
}
