//! The phase of the moon.
//!
//! A date enters; the moon's elongation, the lit share of its disc and the name of its phase leave. The largest terms of the lunar
//! theory in Meeus, "Astronomical Algorithms", 2nd edition, chapter 47 (coefficients from memory), leave an error below 0.1° of
//! elongation, which is ten minutes of a phase's time. The place on earth does not enter: phases are defined from the earth's
//! centre (Meeus, chapter 49).

use jiff::civil::Date;

use super::sun::{Sun, cos, days_from_2000, sin};

/// The first and last year for which the sun's equations are offered (see [`super::sun`]).
const YEARS: std::ops::RangeInclusive<i16> = 1901..=2099;

/// The eight phases, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// The day of the new moon.
    New,
    /// Growing, less than half lit.
    WaxingCrescent,
    /// The day of the first quarter.
    FirstQuarter,
    /// Growing, more than half lit.
    WaxingGibbous,
    /// The day of the full moon.
    Full,
    /// Shrinking, more than half lit.
    WaningGibbous,
    /// The day of the last quarter.
    LastQuarter,
    /// Shrinking, less than half lit.
    WaningCrescent,
}

impl Phase {
    /// Every phase, from new moon on.
    pub const ALL: [Phase; 8] = [
        Phase::New,
        Phase::WaxingCrescent,
        Phase::FirstQuarter,
        Phase::WaxingGibbous,
        Phase::Full,
        Phase::WaningGibbous,
        Phase::LastQuarter,
        Phase::WaningCrescent,
    ];
}

/// The moon on one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MoonDay {
    /// The phase. New, full and the quarters are instants: the day in UTC on which one falls has its name.
    pub phase: Phase,
    /// How far the moon has gone from the sun along the ecliptic at 12 h UTC, in degrees from 0 (new) over 180 (full) below 360.
    pub elongation: f64,
    /// The lit share of the disc at 12 h UTC, from 0 to 1.
    pub lit: f64,
}

/// The moon on `date`; `None` outside of the years 1901 to 2099.
pub fn moon_day(date: Date) -> Option<MoonDay> {
    if !YEARS.contains(&date.year()) {
        return None;
    }
    let midnight = days_from_2000(date);
    let (from, to) = (Moon::at(midnight).elongation, Moon::at(midnight + 1.0).elongation);
    let quarter = (from / 90.0) as usize;
    // In a day the moon goes 11° to 15°: the quarter it is in at the end differs just where the day holds the instant.
    let index = if (to / 90.0) as usize == quarter { 2 * quarter + 1 } else { 2 * (quarter + 1) };
    let noon = Moon::at(midnight + 0.5);
    // Meeus, equations 48.2 and 48.1, the sun being taken as infinitely far away.
    let lit = (1.0 - cos(noon.latitude) * cos(noon.elongation)) / 2.0;
    Some(MoonDay { phase: Phase::ALL[index % 8], elongation: noon.elongation, lit })
}

/// Where the moon stands.
struct Moon {
    /// Ecliptic longitude beyond that of the sun, in degrees from 0 below 360.
    elongation: f64,
    /// Ecliptic latitude in degrees.
    latitude: f64,
}

impl Moon {
    /// The moon, `days` after J2000.0.
    fn at(days: f64) -> Moon {
        let t = days / 36_525.0;
        let mean_longitude = 218.316_447_7 + t * (481_267.881_234_21 - t * 0.001_578_6);
        let d = 297.850_192_1 + t * (445_267.111_403_4 - t * 0.001_881_9);
        let sun = 357.529_109_2 + t * (35_999.050_290_9 - t * 0.000_153_6);
        let moon = 134.963_396_4 + t * (477_198.867_505_5 + t * 0.008_741_4);
        let f = 93.272_095_0 + t * (483_202.017_523_3 - t * 0.003_653_9);
        let node = 125.04 - 1934.136 * t;
        let longitude = mean_longitude
            + 6.288_774 * sin(moon)
            + 1.274_027 * sin(2.0 * d - moon)
            + 0.658_314 * sin(2.0 * d)
            + 0.213_618 * sin(2.0 * moon)
            - 0.185_116 * sin(sun)
            - 0.114_332 * sin(2.0 * f)
            + 0.058_793 * sin(2.0 * d - 2.0 * moon)
            + 0.057_066 * sin(2.0 * d - sun - moon)
            + 0.053_322 * sin(2.0 * d + moon)
            + 0.045_758 * sin(2.0 * d - sun)
            - 0.040_923 * sin(sun - moon)
            - 0.034_720 * sin(d)
            - 0.030_383 * sin(sun + moon)
            // The nutation that the sun's apparent longitude holds too.
            - 0.004_78 * sin(node);
        let latitude = 5.128_122 * sin(f)
            + 0.280_602 * sin(moon + f)
            + 0.277_693 * sin(moon - f)
            + 0.173_237 * sin(2.0 * d - f)
            + 0.055_413 * sin(2.0 * d - moon + f)
            + 0.046_271 * sin(2.0 * d - moon - f);
        let elongation = (longitude - Sun::at(days).longitude).rem_euclid(360.0);
        // Rounding can make a tiny negative angle a whole turn.
        Moon { elongation: if elongation < 360.0 { elongation } else { 0.0 }, latitude }
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use proptest::prelude::*;

    use super::*;

    // Meeus, examples 47.a and 48.a (from memory): 1992 April 12, 0 h: apparent longitude 133.167265°, latitude -3.229126°, lit 0.6786
    // (which counts the sun's distance, worth 0.0013 at most).
    #[test]
    fn the_moon_stands_where_meeus_has_it() {
        let days = days_from_2000(date(1992, 4, 12));
        let moon = Moon::at(days);
        let longitude = (moon.elongation + Sun::at(days).longitude).rem_euclid(360.0);
        assert!((longitude - 133.167_265).abs() < 0.1, "{longitude}");
        assert!((moon.latitude + 3.229_126).abs() < 0.1, "{}", moon.latitude);
        let lit = (1.0 - cos(moon.latitude) * cos(moon.elongation)) / 2.0;
        assert!((lit - 0.6786).abs() < 0.003, "{lit}");
    }

    // Eclipses happen at new and at full moon; the dates in UTC are published (NASA's eclipse catalogues, from memory). The new moon of
    // 1977 February 18 is Meeus's example 49.a (from memory).
    #[test]
    fn eclipses_fall_on_new_and_full_moons() {
        for (day, phase) in [
            (date(1977, 2, 18), Phase::New),
            (date(1999, 8, 11), Phase::New),
            (date(2017, 8, 21), Phase::New),
            (date(2024, 4, 8), Phase::New),
            (date(2026, 8, 12), Phase::New),
            (date(2015, 9, 28), Phase::Full),
            (date(2018, 7, 27), Phase::Full),
            (date(2025, 3, 14), Phase::Full),
            (date(2025, 9, 7), Phase::Full),
        ] {
            let found = moon_day(day).unwrap();
            assert_eq!(found.phase, phase, "{day}: {found:?}");
            assert!(if phase == Phase::New { found.lit < 0.01 } else { found.lit > 0.99 }, "{day}: {found:?}");
        }
    }

    #[test]
    fn a_month_goes_through_the_phases_in_order() {
        let mut day = date(2026, 1, 1);
        let mut seen = Vec::new();
        while day < date(2027, 1, 1) {
            let phase = moon_day(day).unwrap().phase;
            if seen.last() != Some(&phase) {
                seen.push(phase);
            }
            day = day.tomorrow().unwrap();
        }
        let index = |phase: Phase| Phase::ALL.iter().position(|p| *p == phase).unwrap();
        assert!(seen.windows(2).all(|pair| index(pair[1]) == (index(pair[0]) + 1) % 8), "{seen:?}");
        // 365 days hold 12.4 months of eight phases.
        assert!((98..=101).contains(&seen.len()), "{}", seen.len());
    }

    #[test]
    fn nothing_is_extrapolated() {
        assert_eq!(moon_day(date(1900, 12, 31)), None);
        assert_eq!(moon_day(date(2100, 1, 1)), None);
    }

    proptest! {
        #[test]
        fn a_phase_agrees_with_its_elongation(day in 0..72_000i64) {
            let day = date(1901, 1, 1) + jiff::SignedDuration::from_hours(24 * day);
            let moon = moon_day(day).unwrap();
            let index = Phase::ALL.iter().position(|phase| *phase == moon.phase).unwrap() as f64;
            // A named instant lies within half a day of 12 h, which is at most 8°; what lies between fills the rest of its quarter.
            let apart = (moon.elongation - 45.0 * index + 180.0).rem_euclid(360.0) - 180.0;
            let most = if index % 2.0 == 0.0 { 8.0 } else { 45.0 };
            prop_assert!(apart.abs() <= most, "{} {:?}", day, moon);
            prop_assert!((0.0..=1.0).contains(&moon.lit) && (0.0..360.0).contains(&moon.elongation));
        }
    }
}
