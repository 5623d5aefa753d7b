//! Sunrise, sunset, solar noon and the length of the day.
//!
//! A date and a place enter; seconds from midnight UTC leave. The equations are those of NOAA's solar calculator, after Meeus,
//! "Astronomical Algorithms", 2nd edition, chapters 25 and 28 (coefficients from memory, checked against pvlib's independent
//! algorithm). The sun rises and sets where its centre stands at -0.833°, for its radius and the refraction of usual air. By NOAA's
//! account that is good to a minute up to 72° of latitude and to ten minutes beyond. No time zone is known here.

use jiff::civil::Date;

/// The first and last year for which NOAA offers the equations in this form.
const YEARS: std::ops::RangeInclusive<i16> = 1901..=2099;

/// The altitude of the sun's centre in degrees at which its upper edge meets a level horizon.
const ALTITUDE_OF_RISE: f64 = -0.833;

/// The length of a mean solar day.
const DAY_SECONDS: f64 = 86_400.0;

/// The sun turns through a degree in this time.
const SECONDS_PER_DEGREE: f64 = 240.0;

/// Passes of refinement: the sun is looked up again at the time that the pass before found. Each makes the error some hundred times
/// smaller.
const PASSES: usize = 4;

/// One day's sun at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunDay {
    /// When the sun stands highest, in seconds from 0 h UTC of the date.
    pub noon: f64,
    /// When it is above the horizon.
    pub daylight: Daylight,
}

/// When the sun is above the horizon.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Daylight {
    /// It rises and sets. Both in seconds from 0 h UTC of the date; they can be negative, or beyond the end of that day in UTC.
    RisesAndSets {
        /// Sunrise, before noon.
        rise: f64,
        /// Sunset, after noon.
        set: f64,
    },
    /// Polar day: it does not set between the midnights around noon.
    PolarDay,
    /// Polar night: it does not rise.
    PolarNight,
}

impl Daylight {
    /// How long the sun is up, in seconds.
    pub fn length(self) -> f64 {
        match self {
            Daylight::RisesAndSets { rise, set } => set - rise,
            Daylight::PolarDay => DAY_SECONDS,
            Daylight::PolarNight => 0.0,
        }
    }
}

/// The sun on `date` at `latitude` (north positive) and `longitude` (east positive), in degrees.
///
/// The date is that of the place's own mean solar time: its noon is the one nearest to 12 h minus a 24th part of a turn of longitude
/// an hour. Where civil time is far from solar time (near the date line), that is not the civil date. A day on which the sun crosses
/// the horizon only once, at the edge of a polar day or night, counts as part of that. `None` outside of the years 1901 to 2099 and
/// where the place is none.
pub fn sun_day(date: Date, latitude: f64, longitude: f64) -> Option<SunDay> {
    let place = (-90.0..=90.0).contains(&latitude) && (-180.0..=180.0).contains(&longitude);
    if !place || !YEARS.contains(&date.year()) {
        return None;
    }
    let midnight = days_from_2000(date);
    let sun_at = |seconds: f64| Sun::at(midnight + seconds / DAY_SECONDS);
    let noon_by = |sun: &Sun| DAY_SECONDS / 2.0 - SECONDS_PER_DEGREE * longitude - sun.equation_of_time;
    let mut noon = DAY_SECONDS / 2.0 - SECONDS_PER_DEGREE * longitude;
    for _ in 0..PASSES {
        noon = noon_by(&sun_at(noon));
    }
    // The time of an event on one side of noon, or the state of the sky that keeps it from happening.
    let event = |side: f64| {
        let mut time = noon;
        for _ in 0..PASSES {
            let sun = sun_at(time);
            time = noon_by(&sun) + side * SECONDS_PER_DEGREE * sun.hour_angle_of_rise(latitude)?;
        }
        Ok(time)
    };
    let daylight = match (event(-1.0), event(1.0)) {
        (Ok(rise), Ok(set)) => Daylight::RisesAndSets { rise, set },
        (Err(polar), _) | (_, Err(polar)) => polar,
    };
    Some(SunDay { noon, daylight })
}

/// Days from 2000 January 1, 12 h (J2000.0) to 0 h of `date`. The difference between dynamical and universal time, about a minute, is
/// left out: the sun moves by 0.0007° in it.
pub(super) fn days_from_2000(date: Date) -> f64 {
    let hours = date.duration_since(Date::constant(2000, 1, 1)).as_hours();
    (hours / 24) as f64 - 0.5
}

/// Where the sun stands.
pub(super) struct Sun {
    /// Apparent ecliptic longitude in degrees, not reduced to one turn.
    pub(super) longitude: f64,
    /// Declination in degrees.
    declination: f64,
    /// Apparent minus mean solar time, in seconds.
    equation_of_time: f64,
}

impl Sun {
    /// The sun, `days` after J2000.0.
    pub(super) fn at(days: f64) -> Sun {
        let t = days / 36_525.0;
        let mean_longitude = 280.466_46 + t * (36_000.769_83 + t * 0.000_303_2);
        let anomaly = 357.529_11 + t * (35_999.050_29 - t * 0.000_153_7);
        let eccentricity = 0.016_708_634 - t * (0.000_042_037 + t * 0.000_000_126_7);
        let center = sin(anomaly) * (1.914_602 - t * (0.004_817 + t * 0.000_014))
            + sin(2.0 * anomaly) * (0.019_993 - t * 0.000_101)
            + sin(3.0 * anomaly) * 0.000_289;
        let node = 125.04 - 1934.136 * t;
        let longitude = mean_longitude + center - 0.005_69 - 0.004_78 * sin(node);
        let arc_seconds = 21.448 - t * (46.815 + t * (0.000_59 - t * 0.001_813));
        let obliquity = 23.0 + (26.0 + arc_seconds / 60.0) / 60.0 + 0.002_56 * cos(node);
        let declination = libm::asin(sin(obliquity) * sin(longitude)).to_degrees();
        let half = libm::tan((obliquity / 2.0).to_radians());
        let y = half * half;
        let equation = y * sin(2.0 * mean_longitude) - 2.0 * eccentricity * sin(anomaly)
            + 4.0 * eccentricity * y * sin(anomaly) * cos(2.0 * mean_longitude)
            - 0.5 * y * y * sin(4.0 * mean_longitude)
            - 1.25 * eccentricity * eccentricity * sin(2.0 * anomaly);
        Sun { longitude, declination, equation_of_time: SECONDS_PER_DEGREE * equation.to_degrees() }
    }

    /// Degrees between noon and the rise or set of a sun of this declination.
    fn hour_angle_of_rise(&self, latitude: f64) -> Result<f64, Daylight> {
        let up = sin(ALTITUDE_OF_RISE) - sin(latitude) * sin(self.declination);
        let across = cos(latitude) * cos(self.declination);
        if up >= across {
            Err(Daylight::PolarNight)
        } else if up <= -across {
            Err(Daylight::PolarDay)
        } else {
            Ok(libm::acos(up / across).to_degrees())
        }
    }
}

/// The sine of degrees.
pub(super) fn sin(degrees: f64) -> f64 {
    libm::sin(degrees.to_radians())
}

/// The cosine of degrees.
pub(super) fn cos(degrees: f64) -> f64 {
    libm::cos(degrees.to_radians())
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use proptest::prelude::*;

    use super::*;

    fn clock(hours: i32, minutes: i32, seconds: i32) -> f64 {
        f64::from(hours * 3600 + minutes * 60 + seconds)
    }

    // Meeus, example 25.a (from memory): 1992 October 13, 0 h, apparent longitude 199.90895°, declination -7.78507°. The short form of
    // nutation and obliquity is good to 0.01°, he says.
    #[test]
    fn the_sun_stands_where_meeus_has_it() {
        let sun = Sun::at(days_from_2000(date(1992, 10, 13)));
        assert!((sun.longitude.rem_euclid(360.0) - 199.908_95).abs() < 0.01, "{}", sun.longitude);
        assert!((sun.declination + 7.785_07).abs() < 0.01, "{}", sun.declination);
    }

    // NOAA's equations by hand, local times with their offsets; printed whole, so that a minute is the bound that NOAA gives.
    #[test]
    fn days_by_noaas_equations() {
        for (day, latitude, longitude, zone, rise, set) in [
            (date(2024, 3, 20), 51.4779, 0.0, 0, clock(6, 1, 46), clock(18, 13, 49)),
            (date(2024, 12, 21), 40.7128, -74.006, -5, clock(7, 16, 49), clock(16, 32, 4)),
            (date(2024, 6, 21), 60.1699, 24.9384, 3, clock(3, 54, 6), clock(22, 50, 10)),
            (date(2025, 4, 1), -22.9068, -43.1729, -3, clock(6, 0, 49), clock(17, 51, 41)),
        ] {
            let Some(SunDay { daylight: Daylight::RisesAndSets { rise: r, set: s }, .. }) =
                sun_day(day, latitude, longitude)
            else {
                panic!("no rise on {day}");
            };
            let zone = f64::from(zone) * 3600.0;
            assert!((r + zone - rise).abs() < 60.0, "{day}: rise {}", r + zone);
            assert!((s + zone - set).abs() < 60.0, "{day}: set {}", s + zone);
        }
    }

    // pvlib's SPA, 2026, to two minutes as published with the table.
    #[test]
    fn polar_days_and_nights_are_cases() {
        let summer = sun_day(date(2026, 6, 21), 69.65, 18.96).unwrap();
        assert_eq!(summer.daylight, Daylight::PolarDay);
        assert!((summer.noon - clock(10, 45, 57)).abs() < 120.0);
        assert_eq!(summer.daylight.length(), 86_400.0);
        let winter = sun_day(date(2026, 12, 21), 69.65, 18.96).unwrap().daylight;
        assert_eq!((winter, winter.length()), (Daylight::PolarNight, 0.0));
        for latitude in [-90.0, 90.0] {
            let pole = sun_day(date(2026, 6, 21), latitude, 0.0).unwrap().daylight;
            assert_eq!(pole, if latitude > 0.0 { Daylight::PolarDay } else { Daylight::PolarNight });
        }
    }

    #[test]
    fn nothing_is_extrapolated() {
        for (day, latitude, longitude) in [
            (date(1900, 12, 31), 52.0, 5.0),
            (date(2100, 1, 1), 52.0, 5.0),
            (date(2026, 1, 1), 90.1, 5.0),
            (date(2026, 1, 1), 52.0, -180.1),
            (date(2026, 1, 1), f64::NAN, 5.0),
            (date(2026, 1, 1), 52.0, f64::NAN),
        ] {
            assert_eq!(sun_day(day, latitude, longitude), None, "{day} {latitude} {longitude}");
        }
    }

    // Every pvlib row of the reference table: see its head.
    #[test]
    fn days_agree_with_the_reference_table() {
        let table = include_str!("../../tests/reference/sun.csv");
        let mut rows = 0;
        for line in table.lines().filter(|line| !line.starts_with('#')).skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            let [day, latitude, longitude, rise, set, noon] = cells[..] else { panic!("six columns expected: {line}") };
            let (latitude, longitude): (f64, f64) = (latitude.parse().unwrap(), longitude.parse().unwrap());
            // NOAA: a minute up to 72° of latitude, ten minutes beyond.
            let bound = if latitude.abs() <= 72.0 { 60.0 } else { 600.0 };
            let found = sun_day(day.parse().unwrap(), latitude, longitude).unwrap();
            assert!((found.noon - noon.parse::<f64>().unwrap()).abs() <= 60.0, "{line}: {found:?}");
            match found.daylight {
                Daylight::RisesAndSets { rise: r, set: s } => {
                    assert!((r - rise.parse::<f64>().unwrap()).abs() <= bound, "{line}: {found:?}");
                    assert!((s - set.parse::<f64>().unwrap()).abs() <= bound, "{line}: {found:?}");
                }
                polar => {
                    let wanted = if polar == Daylight::PolarDay { "day" } else { "night" };
                    assert_eq!((rise, set), (wanted, wanted), "{line}");
                }
            }
            rows += 1;
        }
        assert!(rows > 300, "only {rows} rows");
    }

    proptest! {
        #[test]
        fn rise_noon_and_set_keep_their_order(day in 0..72_000i64, latitude in -90.0..=90.0f64, longitude in -180.0..=180.0f64) {
            let day = date(1901, 1, 1) + jiff::SignedDuration::from_hours(24 * day);
            let found = sun_day(day, latitude, longitude).unwrap();
            // The equation of time is never more than 17 minutes.
            prop_assert!((found.noon - 43_200.0 + 240.0 * longitude).abs() < 1020.0);
            if let Daylight::RisesAndSets { rise, set } = found.daylight {
                prop_assert!(rise <= found.noon && found.noon <= set, "{:?}", found);
            }
            prop_assert!((0.0..=86_400.0 + 1800.0).contains(&found.daylight.length()), "{:?}", found);
        }
    }
}
