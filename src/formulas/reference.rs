//! Formulas compared with those of independent libraries.
//!
//! The committed tables enter; `air.py` and `sun.py` in `tests/reference` say how they were made. Nothing is computed here but by the code under test.

use super::Function;
use super::sun::{self, Light};

/// How far a result may lie from the reference's: absolute, and as a share.
fn tolerance(function: &str) -> (f64, f64) {
    match function {
        // The libraries' saturation pressures (Hyland-Wexler, and Ambaum 2020 over supercooled water) differ from the Magnus form by up to
        // 0.4 % over water, and what follows from them does so too; over ice they are closer.
        "saturation_pressure" | "vapour_pressure" | "vapour_pressure_deficit" | "absolute_humidity" => (0.0, 0.004),
        "saturation_pressure_ice" => (0.0, 0.0005),
        "wet_bulb" => (0.1, 0.0),
        "dew_point" | "frost_point" => (0.05, 0.0),
        "mixing_ratio" => (0.0, 0.0005),
        "air_density" => (0.0, 0.0005),
        "heat_index" => (0.001, 0.0),
        "wind_chill" => (0.001, 0.0),
        _ => panic!("no tolerance for {function}"),
    }
}

#[test]
fn formulas_agree_with_the_reference_table() {
    let table = include_str!("../../tests/reference/air.csv");
    let (mut rows, mut worst) = (0, std::collections::BTreeMap::new());
    for line in table.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let [name, a, b, c, wanted] = cells[..] else { panic!("five columns expected: {line}") };
        let function = Function::named(name).unwrap_or_else(|| panic!("no function {name}"));
        let arguments: Vec<f64> = [a, b, c].iter().filter_map(|cell| cell.parse().ok()).collect();
        let wanted: f64 = wanted.parse().unwrap();
        let found = function.apply(&arguments).unwrap_or_else(|| panic!("no result: {line}"));
        let (absolute, share) = tolerance(name);
        let off = (found - wanted).abs();
        assert!(off <= absolute + share * wanted.abs(), "{line}: found {found}");
        worst.entry(name).and_modify(|most: &mut f64| *most = most.max(off)).or_insert(off);
        rows += 1;
    }
    println!("{rows} rows; furthest off: {worst:?}");
    assert!(rows > 800, "only {rows} rows");
}

#[test]
fn the_sun_agrees_with_the_reference_table() {
    let table = include_str!("../../tests/reference/sun.csv");
    let (mut rows, mut polar) = (0, 0);
    for line in table.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let [date, latitude, longitude, rise, set, noon] = cells[..] else { panic!("six columns expected: {line}") };
        let (latitude, longitude): (f64, f64) = (latitude.parse().unwrap(), longitude.parse().unwrap());
        let found = sun::day(date.parse().unwrap(), latitude, longitude);
        let off = |minutes: f64, seconds: &str| (60.0 * minutes - seconds.parse::<f64>().unwrap()).abs();
        // NOAA's account of the equations: a minute up to 72° of latitude, ten minutes beyond.
        let bound = if latitude.abs() <= 72.0 { 60.0 } else { 600.0 };
        assert!(off(found.noon, noon) <= 60.0, "{line}: found {found:?}");
        match found.light {
            Light::RisesAndSets { rise: rises, set: sets } => {
                assert!(off(rises, rise) <= bound && off(sets, set) <= bound, "{line}: found {found:?}");
            }
            Light::NeverSets | Light::NeverRises => {
                let kind = if found.light == Light::NeverSets { "day" } else { "night" };
                assert_eq!([rise, set], [kind; 2], "{line}");
                polar += 1;
            }
        }
        rows += 1;
    }
    assert!(rows > 300 && polar > 20, "only {rows} rows, {polar} of them polar");
}
