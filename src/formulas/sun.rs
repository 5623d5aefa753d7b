//! The sun: when it rises, stands highest and sets.
//!
//! A date and a place enter; minutes from midnight of Greenwich leave, or that it does neither rise nor set. The equations are those of
//! Meeus, Astronomical Algorithms, 2nd edition, chapter 25, in the short form that NOAA's solar calculator uses (coefficients from
//! memory); good to a minute between the polar circles from 1901 to 2099.

use jiff::civil::Date;

/// The sun's upper edge on the horizon, lifted by refraction: degrees from the zenith.
const ZENITH: f64 = 90.833;

/// The sun's day at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// When it stands highest, in minutes from midnight of Greenwich.
    pub noon: f64,
    /// Whether it rises and sets.
    pub light: Light,
}

/// How the sun meets the horizon on a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Light {
    /// It rises and sets, in minutes from midnight of Greenwich; the first may lie before it.
    RisesAndSets {
        /// When its upper edge appears.
        rise: f64,
        /// When its upper edge disappears.
        set: f64,
    },
    /// It stays above the horizon.
    NeverSets,
    /// It stays below.
    NeverRises,
}

/// Days from the epoch J2000.0, at 12 h of 1 January 2000, to midnight of a date.
pub(super) fn days_from_epoch(date: Date) -> f64 {
    let epoch = jiff::civil::date(2000, 1, 1);
    let days = epoch.until(date).map_or(0, |span| span.get_days());
    f64::from(days) - 0.5
}

/// The sun's declination in radians and the equation of time in minutes, so many days from the epoch.
fn position(days: f64) -> (f64, f64) {
    let t = days / 36525.0;
    let mean = (280.46646 + t * (36000.76983 + t * 0.0003032)).to_radians();
    let anomaly = (357.52911 + t * (35999.05029 - 0.0001537 * t)).to_radians();
    let eccentricity = 0.016708634 - t * (0.000042037 + 0.0000001267 * t);
    let centre = libm::sin(anomaly) * (1.914602 - t * (0.004817 + 0.000014 * t))
        + libm::sin(2.0 * anomaly) * (0.019993 - 0.000101 * t)
        + libm::sin(3.0 * anomaly) * 0.000289;
    let node = (125.04 - 1934.136 * t).to_radians();
    let longitude = mean + (centre - 0.00569 - 0.00478 * libm::sin(node)).to_radians();
    let seconds = 21.448 - t * (46.815 + t * (0.00059 - t * 0.001813));
    let obliquity = (23.0 + (26.0 + seconds / 60.0) / 60.0 + 0.00256 * libm::cos(node)).to_radians();
    let declination = libm::asin(libm::sin(obliquity) * libm::sin(longitude));
    let y = libm::pow(libm::tan(obliquity / 2.0), 2.0);
    let equation = y * libm::sin(2.0 * mean) - 2.0 * eccentricity * libm::sin(anomaly)
        + 4.0 * eccentricity * y * libm::sin(anomaly) * libm::cos(2.0 * mean)
        - 0.5 * y * y * libm::sin(4.0 * mean)
        - 1.25 * eccentricity * eccentricity * libm::sin(2.0 * anomaly);
    (declination, 4.0 * equation.to_degrees())
}

/// The sun's day on `date` at a latitude and a longitude in degrees, north and east being positive.
pub fn day(date: Date, latitude: f64, longitude: f64) -> Day {
    let midnight = days_from_epoch(date);
    let noon_after = |minutes: f64| 720.0 - 4.0 * longitude - position(midnight + minutes / 1440.0).1;
    let noon = noon_after(noon_after(720.0));
    // Cosine of the hour angle at the horizon.
    let horizon = |minutes: f64| {
        let (declination, _) = position(midnight + minutes / 1440.0);
        let latitude = latitude.to_radians();
        libm::cos(ZENITH.to_radians()) / (libm::cos(latitude) * libm::cos(declination))
            - libm::tan(latitude) * libm::tan(declination)
    };
    // Where the sun stands at the event decides when that is: twice is enough.
    let event = |side: f64| {
        let mut minutes = noon;
        for _ in 0..3 {
            let cosine = horizon(minutes);
            if !(-1.0..=1.0).contains(&cosine) {
                return Err(cosine);
            }
            minutes = noon_after(minutes) + side * 4.0 * libm::acos(cosine).to_degrees();
        }
        Ok(minutes)
    };
    let light = match (event(-1.0), event(1.0)) {
        (Ok(rise), Ok(set)) => Light::RisesAndSets { rise, set },
        (Err(cosine), _) | (_, Err(cosine)) if cosine < -1.0 => Light::NeverSets,
        _ => Light::NeverRises,
    };
    Day { noon, light }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn minutes(text: &str) -> f64 {
        let parts: Vec<f64> = text.split(':').map(|part| part.parse().unwrap()).collect();
        parts[0] * 60.0 + parts[1] + parts[2] / 60.0
    }

    fn close(found: f64, wanted: f64, bound: f64, what: &str) {
        assert!((found - wanted).abs() < bound, "{what}: {found} is not {wanted} minutes");
    }

    /// pvlib's SPA, UTC, to the two minutes that differ between definitions of the horizon.
    #[test]
    fn days_agree_with_an_independent_library() {
        for (day_of, latitude, longitude, rise, set, noon) in [
            (date(2026, 3, 20), 52.0, 5.0, "05:42:51", "17:53:02", "11:47:26"),
            (date(2026, 6, 21), 52.0, 5.0, "03:19:45", "20:03:51", "11:41:48"),
            (date(2026, 12, 21), 52.0, 5.0, "07:45:45", "15:30:21", "11:38:03"),
        ] {
            let found = day(day_of, latitude, longitude);
            let Light::RisesAndSets { rise: rises, set: sets } = found.light else { panic!("{found:?}") };
            close(rises, minutes(rise), 2.0, "rise");
            close(sets, minutes(set), 2.0, "set");
            close(found.noon, minutes(noon), 0.5, "noon");
        }
        // East of Greenwich the sun of a date may rise on the day before.
        let Light::RisesAndSets { rise, set } = day(date(2026, 9, 1), -33.87, 151.21).light else { panic!() };
        close(rise, minutes("20:12:45") - 1440.0, 2.0, "rise");
        close(set, minutes("07:37:00"), 2.0, "set");
        let north = day(date(2026, 6, 21), 69.65, 18.96);
        assert_eq!(north.light, Light::NeverSets);
        close(north.noon, minutes("10:45:57"), 0.5, "noon");
        assert_eq!(day(date(2026, 12, 21), 69.65, 18.96).light, Light::NeverRises);
    }

    /// NOAA's equations evaluated by hand, local time.
    #[test]
    fn days_agree_with_the_equations() {
        for (day_of, latitude, longitude, offset, rise, set) in [
            (date(2024, 3, 20), 51.4779, 0.0, 0.0, "06:01:46", "18:13:49"),
            (date(2024, 12, 21), 40.7128, -74.006, -5.0, "07:16:49", "16:32:04"),
            (date(2024, 6, 21), 60.1699, 24.9384, 3.0, "03:54:06", "22:50:10"),
            (date(2025, 4, 1), -22.9068, -43.1729, -3.0, "06:00:49", "17:51:41"),
        ] {
            let Light::RisesAndSets { rise: rises, set: sets } = day(day_of, latitude, longitude).light else {
                panic!()
            };
            close(rises + offset * 60.0, minutes(rise), 1.0, "rise");
            close(sets + offset * 60.0, minutes(set), 1.0, "set");
        }
    }
}
