//! Wet bulb and mixing ratio: moist air with its pressure.
//!
//! Air temperature in °C, relative humidity over water in per cent and pressure in hPa enter. Nothing is fitted: the wet bulb is what
//! the energy balance of a wet, ventilated thermometer gives (ASHRAE Fundamentals 2017, chapter 1, equations 33 and 35, from memory).

use super::moist_air::{Magnus, OVER_ICE, OVER_WATER, vapour_pressure};

/// The ratio of the molar masses of water and dry air: ASHRAE Fundamentals 2017, chapter 1 (from memory).
const MASS_RATIO: f64 = 0.621_945;
/// Air temperatures for which the wet bulb was compared with a reference, in °C.
const TEMPERATURES: std::ops::RangeInclusive<f64> = -20.0..=60.0;
/// Pressures from the highest roads to the deepest lows and highs at sea level, in hPa.
const PRESSURES: std::ops::RangeInclusive<f64> = 500.0..=1100.0;
/// Steps of Newton's method; eight are needed at most, and what has not come to rest by then is no result.
const STEPS: u32 = 12;
/// A smaller step, in K, is the last.
const SMALLEST_STEP: f64 = 1e-9;

/// What a thermometer is wetted with, in the energy balance of ASHRAE Fundamentals.
struct Wetting {
    saturation: Magnus,
    /// Heat that a kilogram takes up as it evaporates at 0 °C, in kJ.
    latent: f64,
    /// By how much that falls with each kelvin.
    latent_slope: f64,
    /// Heat capacity as liquid or ice, in kJ/(kg·K).
    capacity: f64,
}

/// Equation 33, above freezing.
const WATER: Wetting = Wetting { saturation: OVER_WATER, latent: 2501.0, latent_slope: 2.326, capacity: 4.186 };
/// Equation 35, below freezing.
const ICE: Wetting = Wetting { saturation: OVER_ICE, latent: 2830.0, latent_slope: 0.24, capacity: 2.1 };
/// Heat capacities of dry air and of vapour, in kJ/(kg·K).
const DRY_AIR: f64 = 1.006;
const VAPOUR: f64 = 1.86;

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
///
/// About 0 °C there is air in which both a wet bulb above and an iced one below freezing are in balance, up to 0.7 K apart; the wet
/// one counts. So the result rises with each argument everywhere, with a step where the bulb freezes.
pub fn wet_bulb(temperature: f64, humidity: f64, pressure: f64) -> Option<f64> {
    if !TEMPERATURES.contains(&temperature) || !PRESSURES.contains(&pressure) {
        return None;
    }
    let air = Air { temperature, pressure, ratio: ratio(vapour_pressure(temperature, humidity)?, pressure) };
    if temperature < 0.0 {
        return air.solve(&ICE, temperature);
    }
    if air.surplus(&WATER, 0.0)?.0 <= 0.0 { air.solve(&WATER, temperature) } else { air.solve(&ICE, 0.0) }
}

/// Air with its mixing ratio in kg/kg.
struct Air {
    temperature: f64,
    pressure: f64,
    ratio: f64,
}

impl Air {
    /// The heat in kJ for each kilogram of dry air that is left over at a bulb of `wet` °C, and how that changes with each kelvin. None
    /// is left over at the wet bulb.
    fn surplus(&self, wetting: &Wetting, wet: f64) -> Option<(f64, f64)> {
        let vapour = wetting.saturation.pressure(wet)?;
        let saturated = ratio(vapour, self.pressure);
        let steeper = saturated * wetting.saturation.relative_slope(wet) * self.pressure / (self.pressure - vapour);
        let latent = wetting.latent - wetting.latent_slope * wet;
        let taken = self.ratio * (wetting.latent + VAPOUR * self.temperature - wetting.capacity * wet);
        let surplus = latent * saturated - DRY_AIR * (self.temperature - wet) - taken;
        let slope = latent * steeper - wetting.latent_slope * saturated + DRY_AIR + self.ratio * wetting.capacity;
        Some((surplus, slope))
    }

    /// Where nothing is left over, from `above` downwards. The surplus rises ever more steeply, so that Newton's steps from above never
    /// pass the solution.
    fn solve(&self, wetting: &Wetting, above: f64) -> Option<f64> {
        let mut wet = above;
        for _ in 0..STEPS {
            let (surplus, slope) = self.surplus(wetting, wet)?;
            let step = surplus / slope;
            if step <= SMALLEST_STEP {
                return Some(wet);
            }
            wet -= step;
        }
        None
    }
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

        /// Bounds of what a layout shows rest on this; most air of these ranges has its wet bulb near freezing.
        #[test]
        fn it_never_falls_where_an_argument_rises(
            temperature in -3.0..=20.0f64, humidity in 0.0..=100.0f64, pressure in 500.0..=1100.0f64,
            (warmer, moister, denser) in (0.0..=0.1f64, 0.0..=0.5f64, 0.0..=10.0f64),
        ) {
            let wet = wet_bulb(temperature, humidity, pressure).unwrap();
            for (temperature, humidity, pressure) in [
                (temperature + warmer, humidity, pressure),
                (temperature, (humidity + moister).min(100.0), pressure),
                (temperature, humidity, (pressure + denser).min(1100.0)),
            ] {
                let other = wet_bulb(temperature, humidity, pressure).unwrap();
                prop_assert!(other >= wet - 1e-8, "{other} at {temperature} °C {humidity} % {pressure} hPa, below {wet}");
            }
        }

        #[test]
        fn it_balances_everywhere(
            temperature in -20.0..=60.0f64, humidity in 0.0..=100.0f64, pressure in 500.0..=1100.0f64,
        ) {
            let wet = wet_bulb(temperature, humidity, pressure).unwrap();
            let ratio = ratio(vapour_pressure(temperature, humidity).unwrap(), pressure);
            let air = Air { temperature, pressure, ratio };
            // At 0 °C the bulb can be either.
            let left = if wet > 0.0 || temperature >= 0.0 && wet == 0.0 { &WATER } else { &ICE };
            let (surplus, _) = air.surplus(left, wet).unwrap();
            let supersaturated = wet == temperature && surplus < 0.0;
            prop_assert!(surplus.abs() < 1e-7 || supersaturated, "{surplus} kJ/kg left over at {wet} °C");
        }
    }

    /// Just warmer air must not have a colder wet bulb, though an iced bulb is in balance as well.
    #[test]
    fn it_does_not_fall_where_the_bulb_thaws() {
        let (cooler, warmer) = (wet_bulb(11.116, 9.418, 753.76).unwrap(), wet_bulb(11.135, 9.418, 753.76).unwrap());
        assert!(cooler <= warmer, "{cooler} at 11.116 °C, {warmer} at 11.135 °C");
    }
}
