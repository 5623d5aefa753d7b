//! Moist air: vapour pressures, dew point, frost point, absolute humidity, and the air at a cold wall.
//!
//! Air temperature in °C and relative humidity in per cent enter; °C, hPa or g/m³ leave. Relative humidity is the one over liquid
//! water at every temperature, which is what instruments report (WMO-No. 8, part I, chapter 4). Outside the stated ranges the result
//! is `None`, never an extrapolation. The air's own pressure raises saturation by less than half a per cent near the ground
//! (the enhancement factor); it is left out, as is usual where no barometer stands beside the hygrometer.

use std::ops::RangeInclusive;

/// A Magnus form: `scale · exp(slope · t / (t + shift))` hPa at `t` °C, within `range`.
struct Magnus {
    scale: f64,
    slope: f64,
    shift: f64,
    range: RangeInclusive<f64>,
}

/// Over liquid water: WMO-No. 8, annex 4.B, -45 to 60 °C.
const OVER_WATER: Magnus = Magnus { scale: 6.112, slope: 17.62, shift: 243.12, range: -45.0..=60.0 };

/// Over ice: WMO-No. 8, annex 4.B, -65 to 0 °C.
const OVER_ICE: Magnus = Magnus { scale: 6.112, slope: 22.46, shift: 272.62, range: -65.0..=0.0 };

/// The specific gas constant of water in J/(kg·K): IAPWS-95 release, table 1 (0.461 518 05 kJ/(kg·K)).
const WATER_GAS_CONSTANT: f64 = 461.518_05;

/// The kelvins of 0 °C.
const ZERO_CELSIUS: f64 = 273.15;

impl Magnus {
    fn pressure(&self, temperature: f64) -> Option<f64> {
        let curve = || self.scale * libm::exp(self.slope * temperature / (self.shift + temperature));
        self.range.contains(&temperature).then(curve)
    }

    /// The temperature at which `pressure` saturates.
    fn temperature(&self, pressure: f64) -> Option<f64> {
        if pressure <= 0.0 {
            return None;
        }
        let exponent = libm::log(pressure / self.scale);
        let temperature = self.shift * exponent / (self.slope - exponent);
        self.range.contains(&temperature).then_some(temperature)
    }
}

/// Saturation vapour pressure over liquid water in hPa, at `temperature` in °C from -45 to 60.
pub fn saturation_pressure_over_water(temperature: f64) -> Option<f64> {
    OVER_WATER.pressure(temperature)
}

/// Saturation vapour pressure over ice in hPa, at `temperature` in °C from -65 to 0.
pub fn saturation_pressure_over_ice(temperature: f64) -> Option<f64> {
    OVER_ICE.pressure(temperature)
}

/// Vapour pressure in hPa of air at `temperature` in °C from -45 to 60 and `humidity` in per cent from 0 to 100.
pub fn vapour_pressure(temperature: f64, humidity: f64) -> Option<f64> {
    if !(0.0..=100.0).contains(&humidity) {
        return None;
    }
    Some(humidity / 100.0 * saturation_pressure_over_water(temperature)?)
}

/// Dew point in °C: where the air would be saturated over liquid water, supercooled below 0 °C. `temperature` in °C from -45
/// to 60, `humidity` in per cent above 0 up to 100; `None` also where the dew point itself is below -45 °C.
pub fn dew_point(temperature: f64, humidity: f64) -> Option<f64> {
    // Rounding must not put the dew point above the air that it belongs to: saturated air has its own temperature.
    OVER_WATER.temperature(vapour_pressure(temperature, humidity)?).map(|dew| dew.min(temperature))
}

/// Frost point in °C: where the air would be saturated over ice, and rime begins to form. `temperature` in °C from -45 to 60,
/// `humidity` in per cent above 0 up to 100; `None` where it would be above 0 °C (see [`dew_point`]) or below -65 °C. Below 0 °C
/// it lies above the dew point of the same air, and above the air's own temperature where that is supersaturated over ice.
pub fn frost_point(temperature: f64, humidity: f64) -> Option<f64> {
    OVER_ICE.temperature(vapour_pressure(temperature, humidity)?)
}

/// Absolute humidity in g/m³, the mass of vapour in a volume of air, from the gas law of water vapour. `temperature` in °C from
/// -45 to 60, `humidity` in per cent from 0 to 100.
pub fn absolute_humidity(temperature: f64, humidity: f64) -> Option<f64> {
    /// Pascals in a hectopascal times grams in a kilogram.
    const SCALE: f64 = 100.0 * 1000.0;
    Some(SCALE * vapour_pressure(temperature, humidity)? / (WATER_GAS_CONSTANT * (ZERO_CELSIUS + temperature)))
}

/// Vapour pressure deficit in kPa: how much vapour the air could still take up. `temperature` in °C from -45 to 60, `humidity` in per
/// cent from 0 to 100.
pub fn vapour_pressure_deficit(temperature: f64, humidity: f64) -> Option<f64> {
    let vapour = vapour_pressure(temperature, humidity)?;
    Some((saturation_pressure_over_water(temperature)? - vapour) / 10.0)
}

/// Temperature in °C of the inner surface of a wall between `inside` and `outside` in °C, with the temperature factor `factor` from 0 to 1
/// (fRsi of ISO 13788: 0.7 is a usual least for dwellings, common practice).
pub fn surface_temperature(inside: f64, outside: f64, factor: f64) -> Option<f64> {
    (0.0..=1.0).contains(&factor).then_some(outside + factor * (inside - outside))
}

/// Relative humidity in per cent of the air at a surface of `surface` °C in a room of `temperature` °C and `humidity` per cent; 100
/// where it condenses. Above 80 for long, mould grows (ISO 13788, criterion of surface humidity, from memory).
pub fn surface_humidity(temperature: f64, humidity: f64, surface: f64) -> Option<f64> {
    let vapour = vapour_pressure(temperature, humidity)?;
    Some((100.0 * vapour / saturation_pressure_over_water(surface)?).min(100.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(found: Option<f64>, wanted: f64, bound: f64, what: &str) {
        let found = found.unwrap_or_else(|| panic!("{what}: no value"));
        assert!((found - wanted).abs() <= bound, "{what}: {found} is not {wanted} within {bound}");
    }

    // psychrolib 2 at 101,325 Pa, kPa.
    #[test]
    fn vapour_pressure_deficits() {
        for (temperature, humidity, wanted) in [
            (5.0, 90.0, 0.0872),
            (12.4, 91.0, 0.1296),
            (20.0, 50.0, 1.1694),
            (30.0, 80.0, 0.8492),
            (40.0, 20.0, 5.9068),
        ] {
            close(vapour_pressure_deficit(temperature, humidity), wanted, 0.004 * wanted, "deficit");
        }
    }

    #[test]
    fn the_air_at_a_cold_wall() {
        close(surface_temperature(20.0, -5.0, 0.7), 12.5, 1e-12, "fRsi 0.7");
        assert_eq!(surface_temperature(20.0, -5.0, 1.1), None);
        // At the dew point of the room the wall is wet, and at the room's own temperature nothing changes.
        let dew = dew_point(20.0, 50.0).unwrap();
        close(surface_humidity(20.0, 50.0, dew), 100.0, 1e-9, "at the dew point");
        close(surface_humidity(20.0, 50.0, dew - 3.0), 100.0, 0.0, "below the dew point");
        close(surface_humidity(20.0, 50.0, 20.0), 50.0, 1e-9, "a wall as warm as the room");
        // 20 °C and 50 % against 12.5 °C: 23.326 hPa / 2 over 14.467 hPa (Magnus by hand).
        close(surface_humidity(20.0, 50.0, 12.5), 80.62, 0.01, "fRsi 0.7 at -5 °C");
        assert_eq!(surface_humidity(20.0, 50.0, 61.0), None);
    }

    // The form evaluated by hand from its published constants (first column), and the IAPWS-95 formulation by CoolProp (second),
    // from which Magnus stays within 0.35 %.
    #[test]
    fn saturation_over_water() {
        for (temperature, magnus, iapws) in
            [(10.0, 12.2603, 12.2820), (20.0, 23.3260, 23.3932), (30.0, 42.3372, 42.4697), (40.0, 73.6746, 73.8494)]
        {
            let found = saturation_pressure_over_water(temperature);
            close(found, magnus, 0.00005, "Magnus");
            close(found, iapws, 0.0035 * iapws, "IAPWS-95");
        }
        // ASHRAE Fundamentals 2017, chapter 1, table 3, in Pa.
        for (temperature, table) in [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3)] {
            close(saturation_pressure_over_water(temperature), table / 100.0, 0.004 * table / 100.0, "ASHRAE");
        }
    }

    // Magnus by hand, and Hyland-Wexler by psychrolib 2; the last is ASHRAE Fundamentals 2017, chapter 1, table 3.
    #[test]
    fn saturation_over_ice() {
        for (temperature, magnus, hyland_wexler) in [(-10.0, 2.5987, 2.59903), (-20.0, 1.0326, 1.03260)] {
            let found = saturation_pressure_over_ice(temperature);
            close(found, magnus, 0.00005, "Magnus");
            close(found, hyland_wexler, 0.0005 * hyland_wexler, "Hyland-Wexler");
        }
        close(saturation_pressure_over_ice(-20.0), 1.0324, 0.0003 * 1.0324, "ASHRAE");
    }

    // Grid at 101 325 Pa by psychrolib 2 (Hyland-Wexler), which agrees within 0.05 °C.
    #[test]
    fn dew_points() {
        for (temperature, humidity, dew) in
            [(5.0, 90.0, 3.498), (12.4, 91.0, 10.973), (20.0, 50.0, 9.272), (30.0, 80.0, 26.169), (40.0, 20.0, 12.783)]
        {
            close(dew_point(temperature, humidity), dew, 0.05, "dew point");
        }
        // Over supercooled water, by metpy 1.
        close(dew_point(0.0, 50.0), -9.20, 0.05, "dew point below zero");
    }

    // psychrolib 2 takes relative humidity over ice below 0 °C. At 0 °C that is the same; at -10 °C its vapour pressure of
    // 0.80 · 259.90 Pa is reached at another relative humidity over water.
    #[test]
    fn frost_points() {
        close(frost_point(0.0, 50.0), -8.164, 0.05, "frost point");
        let over_water = 0.80 * 2.5990 / saturation_pressure_over_water(-10.0).unwrap() * 100.0;
        close(frost_point(-10.0, over_water), -12.49, 0.05, "frost point");
        assert_eq!(frost_point(20.0, 50.0), None);
    }

    // Evaluated by hand from the Magnus form (first column; with the rounded gas constant 461.5 J/(kg·K), which lies 4e-5 off the one
    // here, and printed to 0.001), and by psychrolib 2 (second), from which it stays within 0.4 %.
    #[test]
    fn absolute_humidities() {
        for (temperature, humidity, magnus, psychrolib) in [
            (10.0, 80.0, 7.506, 7.518),
            (20.0, 50.0, 8.621, 8.643),
            (30.0, 70.0, 21.183, 21.244),
            (40.0, 20.0, 10.196, 10.217),
        ] {
            let found = absolute_humidity(temperature, humidity);
            close(found, magnus, 0.0005 + 4e-5 * magnus, "by hand");
            close(found, psychrolib, 0.004 * psychrolib, "psychrolib");
        }
    }

    #[test]
    fn nothing_is_extrapolated() {
        for (temperature, humidity) in
            [(60.1, 50.0), (-45.1, 50.0), (20.0, 0.0), (20.0, -1.0), (20.0, 100.1), (f64::NAN, 50.0), (20.0, f64::NAN)]
        {
            assert_eq!(dew_point(temperature, humidity), None, "{temperature} {humidity}");
            assert_eq!(frost_point(temperature, humidity), None, "{temperature} {humidity}");
        }
        assert_eq!(dew_point(-45.0, 50.0), None);
        assert_eq!(absolute_humidity(20.0, 0.0), Some(0.0));
        assert_eq!(saturation_pressure_over_ice(0.1), None);
        assert!(saturation_pressure_over_water(60.0).is_some() && saturation_pressure_over_ice(-65.0).is_some());
    }

    proptest! {
        #[test]
        fn dew_and_frost_keep_their_order(temperature in -45.0..60.0f64, humidity in 0.1..100.0f64) {
            if let Some(dew) = dew_point(temperature, humidity) {
                prop_assert!(dew <= temperature);
                if let Some(frost) = frost_point(temperature, humidity) {
                    // Both forms meet at 0 °C.
                    prop_assert!(frost >= dew - 1e-9, "frost point {} below dew point {}", frost, dew);
                }
                // Air cooled to its dew point is saturated.
                let there = vapour_pressure(temperature, humidity).unwrap();
                prop_assert!((saturation_pressure_over_water(dew).unwrap() / there - 1.0).abs() < 1e-9);
            }
            prop_assert!(absolute_humidity(temperature, humidity).unwrap() > 0.0);
        }
    }
}
