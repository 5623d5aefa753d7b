//! What warmth and wind feel like: heat index, wind chill and humidex.
//!
//! Air temperature in °C, relative humidity in per cent and wind speed in km/h enter; °C leave, and humidex is a bare number. Each is an
//! empirical formula with its own range, outside of which there is nothing.

use super::moist_air::dew_point;

/// Air temperatures that the chart of the heat index spans, with the cool end at which it only follows the air, in °C.
const HEAT: std::ops::RangeInclusive<f64> = 10.0..=45.0;
/// The chart's greatest entry is 137 °F: beyond it, and some room, the regression says nothing, in °C.
const HOTTEST: f64 = 60.0;

/// Heat index in °C after the United States National Weather Service (Rothfusz 1990, SR 90-23, with both adjustments; coefficients from
/// memory). `temperature` in °C from 10 to 45, `humidity` in per cent.
pub fn heat_index(temperature: f64, humidity: f64) -> Option<f64> {
    if !HEAT.contains(&temperature) || !(0.0..=100.0).contains(&humidity) {
        return None;
    }
    let (t, r) = (1.8 * temperature + 32.0, humidity);
    let simple = (t + 0.5 * (t + 61.0 + 1.2 * (t - 68.0) + 0.094 * r)) / 2.0;
    let felt = if simple < 80.0 {
        simple
    } else {
        let regression = -42.379 + 2.049_015_23 * t + 10.143_331_27 * r
            - 0.224_755_41 * t * r
            - 0.006_837_83 * t * t
            - 0.054_817_17 * r * r
            + 0.001_228_74 * t * t * r
            + 0.000_852_82 * t * r * r
            - 0.000_001_99 * t * t * r * r;
        let adjustment = if r < 13.0 && (80.0..=112.0).contains(&t) {
            -(13.0 - r) / 4.0 * libm::sqrt((17.0 - (t - 95.0).abs()) / 17.0)
        } else if r > 85.0 && (80.0..=87.0).contains(&t) {
            (r - 85.0) / 10.0 * (87.0 - t) / 5.0
        } else {
            0.0
        };
        regression + adjustment
    };
    let felt = (felt - 32.0) / 1.8;
    (felt <= HOTTEST).then_some(felt)
}

/// Wind chill in °C after the National Weather Service and Environment Canada (2001, coefficients from memory). `temperature` in °C
/// from -60 to 10, `wind` in km/h at a height of 10 m, from 4.8 to 150.
pub fn wind_chill(temperature: f64, wind: f64) -> Option<f64> {
    if !(-60.0..=10.0).contains(&temperature) || !(4.8..=150.0).contains(&wind) {
        return None;
    }
    let power = libm::pow(wind, 0.16);
    Some(13.12 + 0.6215 * temperature - 11.37 * power + 0.3965 * temperature * power)
}

/// Humidex, a bare number, after Environment Canada (coefficients from memory). `temperature` in °C from 15 to 55, `humidity` in per
/// cent above 0.
pub fn humidex(temperature: f64, humidity: f64) -> Option<f64> {
    if !(15.0..=55.0).contains(&temperature) {
        return None;
    }
    let dew = dew_point(temperature, humidity)?;
    let vapour = 6.11 * libm::exp(5417.7530 * (1.0 / 273.16 - 1.0 / (273.15 + dew)));
    Some(temperature + 5.0 / 9.0 * (vapour - 10.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fahrenheit(celsius: f64) -> f64 {
        1.8 * celsius + 32.0
    }

    fn celsius(fahrenheit: f64) -> f64 {
        (fahrenheit - 32.0) / 1.8
    }

    /// The formula evaluated by hand, °F and per cent: the average form, both adjustments, and the regression alone.
    #[test]
    fn heat_index_by_its_formula() {
        for (temperature, humidity, wanted) in [
            (70.0, 50.0, 69.525),
            (80.0, 90.0, 86.342),
            (84.0, 90.0, 98.343),
            (95.0, 10.0, 89.450),
            (100.0, 5.0, 92.504),
            (88.0, 60.0, 95.149),
            (100.0, 60.0, 129.489),
        ] {
            let found = fahrenheit(heat_index(celsius(temperature), humidity).unwrap());
            assert!((found - wanted).abs() < 0.001, "{temperature} °F {humidity} %: {found}, not {wanted}");
        }
    }

    /// The chart of the National Weather Service, in whole °F (from memory).
    #[test]
    fn heat_index_by_its_chart() {
        for (temperature, humidity, wanted) in [
            (80.0, 40.0, 80.0),
            (86.0, 90.0, 105.0),
            (90.0, 50.0, 95.0),
            (96.0, 65.0, 121.0),
            (100.0, 40.0, 109.0),
            (110.0, 40.0, 136.0),
        ] {
            let found = fahrenheit(heat_index(celsius(temperature), humidity).unwrap());
            assert!((found.round() - wanted).abs() < 0.5, "{temperature} °F {humidity} %: {found}, not {wanted}");
        }
    }

    /// Environment Canada's chart, in whole °C, and the formula by hand.
    #[test]
    fn wind_chill_by_chart_and_formula() {
        for (temperature, wind, formula, chart) in [
            (5.0, 5.0, 4.083, 4.0),
            (0.0, 20.0, -5.242, -5.0),
            (-20.0, 30.0, -32.568, -33.0),
            (-25.0, 20.0, -36.788, -37.0),
            (-50.0, 80.0, -80.845, -81.0),
        ] {
            let found = wind_chill(temperature, wind).unwrap();
            assert!((found - formula).abs() < 0.001, "{temperature} °C {wind} km/h: {found}, not {formula}");
            assert!((found.round() - chart).abs() < 0.5);
        }
    }

    /// Environment Canada's values: 30 °C with a dew point of 15 °C (33.97), and at given humidities within half a unit.
    #[test]
    fn humidex_by_published_values() {
        // A dew point of 15 °C at 30 °C is a humidity of 40.2 % by the same Magnus form.
        let humidity = 100.0 * super::super::moist_air::saturation_pressure_over_water(15.0).unwrap()
            / super::super::moist_air::saturation_pressure_over_water(30.0).unwrap();
        assert!((humidex(30.0, humidity).unwrap() - 33.97).abs() < 0.01);
        for (temperature, humidity, wanted) in [(30.0, 70.0, 40.9), (28.0, 50.0, 32.9), (25.0, 65.0, 30.9)] {
            let found = humidex(temperature, humidity).unwrap();
            assert!((found - wanted).abs() < 0.5, "{temperature} °C {humidity} %: {found}, not {wanted}");
        }
    }

    #[test]
    fn outside_of_their_validity_there_is_nothing() {
        assert_eq!(heat_index(9.9, 50.0), None);
        assert_eq!(heat_index(45.1, 50.0), None);
        assert_eq!(heat_index(30.0, 101.0), None);
        assert_eq!(heat_index(45.0, 100.0), None, "beyond the chart");
        assert_eq!(wind_chill(10.1, 20.0), None);
        assert_eq!(wind_chill(0.0, 4.7), None);
        assert_eq!(humidex(14.9, 50.0), None);
        assert_eq!(humidex(30.0, 0.0), None);
    }
}
