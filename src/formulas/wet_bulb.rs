//! Wet bulb and mixing ratio: moist air with its pressure.
//!
//! Air temperature in °C, relative humidity over water in per cent and pressure in hPa enter. Nothing is fitted: the wet bulb is what
//! the energy balance of a wet, ventilated thermometer gives (ASHRAE Fundamentals 2017, chapter 1, equations 33 and 35, from memory).

use super::moist_air::{saturation_pressure_over_ice, saturation_pressure_over_water, vapour_pressure};

/// The ratio of the molar masses of water and dry air: ASHRAE Fundamentals 2017, chapter 1 (from memory).
const MASS_RATIO: f64 = 0.621_945;
/// Air temperatures for which the wet bulb was compared with a reference, in °C.
const TEMPERATURES: std::ops::RangeInclusive<f64> = -20.0..=60.0;
/// Pressures from the highest roads to the deepest lows and highs at sea level, in hPa.
const PRESSURES: std::ops::RangeInclusive<f64> = 500.0..=1100.0;
/// Halvings of the interval of 60 K: the result is good to a ten-millionth of a kelvin.
const HALVINGS: u32 = 30;

/// Mixing ratio in g/kg: grams of vapour beside a kilogram of dry air. `temperature` in °C from -45 to 60, `humidity` in per cent,
/// `pressure` in hPa from 500 to 1100.
pub fn mixing_ratio(temperature: f64, humidity: f64, pressure: f64) -> Option<f64> {
    let vapour = vapour_pressure(temperature, humidity)?;
    PRESSURES.contains(&pressure).then(|| 1000.0 * ratio(vapour, pressure))
}

fn ratio(vapour: f64, pressure: f64) -> f64 {
    MASS_RATIO * vapour / (pressure - vapour)
}

/// Wet-bulb temperature in °C, over ice below 0 °C. `temperature` in °C from -20 to 60, `humidity` in per cent, `pressure` in hPa
/// from 500 to 1100. Air that is supersaturated over ice has its own temperature as its wet bulb.
pub fn wet_bulb(temperature: f64, humidity: f64, pressure: f64) -> Option<f64> {
    if !TEMPERATURES.contains(&temperature) || !PRESSURES.contains(&pressure) {
        return None;
    }
    let wanted = ratio(vapour_pressure(temperature, humidity)?, pressure);
    let (mut low, mut high) = (temperature - 60.0, temperature);
    if balance(temperature, temperature, pressure).is_some_and(|at_most| at_most <= wanted) {
        return Some(temperature);
    }
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        // Where nothing is known of saturation it is too cold in any case.
        if balance(temperature, middle, pressure).is_none_or(|ratio| ratio < wanted) {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(high)
}

/// The mixing ratio, in kg/kg, of air at `temperature` whose wet bulb is `wet`.
fn balance(temperature: f64, wet: f64, pressure: f64) -> Option<f64> {
    Some(if wet >= 0.0 {
        let saturated = ratio(saturation_pressure_over_water(wet)?, pressure);
        ((2501.0 - 2.326 * wet) * saturated - 1.006 * (temperature - wet)) / (2501.0 + 1.86 * temperature - 4.186 * wet)
    } else {
        let saturated = ratio(saturation_pressure_over_ice(wet)?, pressure);
        ((2830.0 - 0.24 * wet) * saturated - 1.006 * (temperature - wet)) / (2830.0 + 1.86 * temperature - 2.1 * wet)
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::moist_air::{dew_point, frost_point};
    use super::*;

    /// psychrolib 2 at 101,325 Pa: temperature, humidity, wet bulb in °C, humidity ratio in g/kg. Above 0 °C, where it reads humidity over
    /// water as well; the table in `tests/reference` has frost too.
    #[test]
    fn published_and_computed_values() {
        for (temperature, humidity, wet, grams) in [
            (5.0, 90.0, 4.302, 4.8575),
            (12.4, 91.0, 11.579, 8.1489),
            (20.0, 50.0, 13.783, 7.2617),
            (30.0, 80.0, 27.091, 21.5733),
            (40.0, 20.0, 22.032, 9.1982),
        ] {
            let found = wet_bulb(temperature, humidity, 1013.25).unwrap();
            assert!((found - wet).abs() < 0.1, "{temperature} °C {humidity} %: {found}, not {wet}");
            let found = mixing_ratio(temperature, humidity, 1013.25).unwrap();
            assert!((found / grams - 1.0).abs() < 0.004, "{temperature} °C {humidity} %: {found}, not {grams} g/kg");
        }
        // Stull (2011), J. Appl. Meteor. Climatol. 50, worked example; the fit itself allows for -1 to +0.65 K.
        assert!((wet_bulb(20.0, 50.0, 1013.25).unwrap() - 13.7).abs() < 0.1);
    }

    #[test]
    fn outside_of_its_validity_there_is_nothing() {
        for (temperature, humidity, pressure) in [
            (-20.1, 50.0, 1000.0),
            (60.1, 50.0, 1000.0),
            (20.0, 100.1, 1000.0),
            (20.0, -0.1, 1000.0),
            (20.0, 50.0, 400.0),
        ] {
            assert_eq!(wet_bulb(temperature, humidity, pressure), None);
        }
        assert_eq!(mixing_ratio(20.0, 50.0, 1101.0), None);
        assert_eq!(wet_bulb(f64::NAN, 50.0, 1000.0), None);
    }

    proptest! {
        #[test]
        fn it_lies_between_the_saturation_point_and_the_air(
            temperature in -20.0..=60.0f64, humidity in 0.0..=100.0f64, pressure in 500.0..=1100.0f64,
        ) {
            let wet = wet_bulb(temperature, humidity, pressure).unwrap();
            prop_assert!(wet <= temperature);
            let below = if wet < 0.0 { frost_point(temperature, humidity) } else { dew_point(temperature, humidity) };
            prop_assert!(below.is_none_or(|point| point.min(temperature) <= wet + 0.01), "{wet} below {below:?}");
        }
    }
}
