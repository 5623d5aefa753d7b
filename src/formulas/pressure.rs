//! Air pressure: at sea level, and the density of the air.
//!
//! Pressures in hPa, heights in m, temperatures in °C and relative humidities in per cent enter; hPa and kg/m³ leave.

use super::moist_air::vapour_pressure;

/// Standard gravity in m/s² over the gas constant of dry air in J/(kg·K): ISO 2533.
const GRAVITY_OVER_GAS: f64 = 9.80665 / 287.05;
/// The gas constants of dry air (ISO 2533) and of water vapour (IAPWS-95), in J/(kg·K).
const DRY_AIR: f64 = 287.05;
const WATER_VAPOUR: f64 = 461.518_05;
const ZERO_CELSIUS: f64 = 273.15;
/// Pressures of the air near the ground, in hPa.
const PRESSURES: std::ops::RangeInclusive<f64> = 500.0..=1100.0;

/// Pressure reduced to sea level, in hPa: the formula of the German weather service for low stations (WMO-No. 8), of which `height` in
/// m is from -400 to 750. The column of air below the station is taken to be 6.5 K/km warmer on its way down, with the vapour of the
/// station's air. `temperature` in °C from -45 to 60, `humidity` in per cent.
pub fn sea_level_pressure(pressure: f64, height: f64, temperature: f64, humidity: f64) -> Option<f64> {
    if !PRESSURES.contains(&pressure) || !(-400.0..=750.0).contains(&height) {
        return None;
    }
    let vapour = vapour_pressure(temperature, humidity)?;
    let mean = ZERO_CELSIUS + temperature + 0.0065 * height / 2.0 + 0.12 * vapour;
    Some(pressure * libm::exp(GRAVITY_OVER_GAS * height / mean))
}

/// Density of moist air in kg/m³, from the gas laws of dry air and vapour. `temperature` in °C from -45 to 60, `humidity` in per
/// cent, `pressure` in hPa from 500 to 1100.
pub fn air_density(temperature: f64, humidity: f64, pressure: f64) -> Option<f64> {
    let vapour = vapour_pressure(temperature, humidity)?;
    let kelvins = ZERO_CELSIUS + temperature;
    PRESSURES
        .contains(&pressure)
        .then(|| 100.0 * ((pressure - vapour) / (DRY_AIR * kelvins) + vapour / (WATER_VAPOUR * kelvins)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formulas::moist_air::saturation_pressure_over_water;

    /// The formula evaluated by hand: station pressure, height, temperature, vapour pressure.
    #[test]
    fn reduced_to_sea_level() {
        for (pressure, height, temperature, vapour, wanted) in [
            (1000.0, 100.0, 15.0, 10.0, 1011.864),
            (990.0, 200.0, 20.0, 15.0, 1013.150),
            (980.0, 300.0, -5.0, 3.0, 1017.989),
        ] {
            let humidity = 100.0 * vapour / saturation_pressure_over_water(temperature).unwrap();
            let found = sea_level_pressure(pressure, height, temperature, humidity).unwrap();
            assert!((found - wanted).abs() < 0.001, "{pressure} hPa at {height} m: {found}, not {wanted}");
        }
        // ISO 2533: 954.61 hPa at 500 m and 11.75 °C in dry air is 1013.25 hPa at sea level, to the tenth that the formula's mean
        // temperature allows (from memory).
        assert!((sea_level_pressure(954.61, 500.0, 11.75, 0.0).unwrap() - 1013.25).abs() < 0.1);
    }

    /// ISO 2533: 1.225 kg/m³ at 15 °C and 1013.25 hPa, dry.
    #[test]
    fn density_of_the_standard_atmosphere() {
        assert!((air_density(15.0, 0.0, 1013.25).unwrap() - 1.225).abs() < 0.0001);
        let (dry, moist) = (air_density(30.0, 0.0, 1000.0).unwrap(), air_density(30.0, 100.0, 1000.0).unwrap());
        assert!(moist < dry, "vapour is lighter than air");
    }

    #[test]
    fn outside_of_their_validity_there_is_nothing() {
        assert_eq!(sea_level_pressure(1000.0, 751.0, 15.0, 50.0), None);
        assert_eq!(sea_level_pressure(499.0, 100.0, 15.0, 50.0), None);
        assert_eq!(sea_level_pressure(1000.0, 100.0, 61.0, 50.0), None);
        assert_eq!(air_density(15.0, 101.0, 1000.0), None);
        assert_eq!(air_density(15.0, 50.0, 1101.0), None);
    }
}
