//! The moon's phase.
//!
//! A time enters; a share of the cycle from new moon to new moon leaves. Mean elements with the largest periodic terms of Meeus,
//! Astronomical Algorithms, 2nd edition, chapter 48 (coefficients from memory): good to about an hour.

use jiff::civil::DateTime;

use super::sun::days_from_epoch;

/// The moon's phase at a time of Greenwich, from 0 at new moon over 0.5 at full moon up to 1.
pub fn phase(time: DateTime) -> f64 {
    let seconds = f64::from(time.hour()) * 3600.0 + f64::from(time.minute()) * 60.0 + f64::from(time.second());
    let t = (days_from_epoch(time.date()) + seconds / 86400.0) / 36525.0;
    let elongation = (297.850_192_1 + 445_267.111_403_4 * t).to_radians();
    let sun = (357.529_109_2 + 35_999.050_290_9 * t).to_radians();
    let moon = (134.963_396_4 + 477_198.867_505_5 * t).to_radians();
    let ahead = 6.289 * libm::sin(moon) - 2.1 * libm::sin(sun)
        + 1.274 * libm::sin(2.0 * elongation - moon)
        + 0.658 * libm::sin(2.0 * elongation)
        + 0.214 * libm::sin(2.0 * moon)
        + 0.11 * libm::sin(elongation);
    let turns = (elongation.to_degrees() + ahead) / 360.0;
    turns - turns.floor()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    /// Eclipses of the sun stand at new moon, of the moon at full moon; their greatest phases in UTC are well known (from memory).
    #[test]
    fn eclipses_stand_at_new_and_full_moon() {
        // An hour is 0.0014 of the cycle; the greatest phase of an eclipse lies within half an hour of the conjunction.
        for (time, wanted) in [
            (date(2024, 4, 8).at(18, 17, 0, 0), 0.0),
            (date(2026, 8, 12).at(17, 46, 0, 0), 0.0),
            (date(2017, 8, 21).at(18, 25, 0, 0), 0.0),
            (date(2025, 9, 7).at(18, 12, 0, 0), 0.5),
            (date(2022, 11, 8).at(10, 59, 0, 0), 0.5),
        ] {
            let off = (phase(time) - wanted + 1.5).rem_euclid(1.0) - 0.5;
            assert!(off.abs() < 0.003, "{time}: {}", phase(time));
        }
    }
}
