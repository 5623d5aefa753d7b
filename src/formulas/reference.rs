//! Formulas compared with those of independent libraries.
//!
//! The committed table enters; `tests/reference/air.py` says how it was made. Nothing is computed here but by the code under test.

use super::Function;

/// How far a result may lie from the reference's: absolute, and as a share.
fn tolerance(function: &str) -> (f64, f64) {
    match function {
        // The libraries' saturation pressures (Hyland-Wexler) differ from the Magnus form by up to 0.35 %.
        "wet_bulb" => (0.1, 0.0),
        "dew_point" => (0.05, 0.0),
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
    assert!(rows > 500, "only {rows} rows");
}
