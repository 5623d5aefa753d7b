//! Conversions compared with those of an independent library.
//!
//! The committed table enters; `tests/reference/units.py` says how it was made. Nothing is converted here but by the code under test.

use super::{convert, difference_of, lookup};

#[test]
fn conversions_agree_with_the_reference_table() {
    let table = include_str!("../../tests/reference/units.csv");
    let mut rows = 0;
    for line in table.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let [sense, from, to, value, wanted] = cells[..] else { panic!("five columns expected: {line}") };
        let unit = |name| lookup(name).unwrap_or_else(|| panic!("no unit {name}"));
        let (from, to) = match sense {
            "difference" => (difference_of(unit(from)), difference_of(unit(to))),
            _ => (unit(from), unit(to)),
        };
        let (value, wanted): (f64, f64) = (value.parse().unwrap(), wanted.parse().unwrap());
        let found = convert(value, from, to).unwrap_or_else(|| panic!("no conversion: {line}"));
        // Both sides round in binary; the table's own offset arithmetic is good to about 1e-13 of the largest term.
        let bound = 1e-12 * wanted.abs().max(if from.is_point() { 500.0 } else { 0.0 });
        assert!((found - wanted).abs() <= bound, "{line}: found {found}");
        rows += 1;
    }
    assert!(rows > 2000, "only {rows} rows");
}
