//! From a written unit to its meaning, and from a misspelt one to what may have been meant.
//!
//! Text enters, a [`Unit`] or suggestions leave. Spelling is exact, case included, because case carries meaning (`mW`, `MW`); only
//! signs that look alike are taken for one another (the two micro signs, the degree sign and the ordinal).

use super::table::{GROUPS, Group, Row};
use super::unit::Unit;

/// The unit written as `text`: a common spelling, a SenML name or a UCUM code. `C` and `F` are not known, because one reader
/// sees coulomb and farad and another degrees; SenML's `%` is read here as per cent (see [`lookup_senml`]).
pub fn lookup(text: &str) -> Option<Unit> {
    let text = normal(text);
    spellings().find(|(spelling, _)| *spelling == text).map(|(_, unit)| unit)
}

/// The unit that a SenML record names (RFC 8428 section 12.1, RFC 8798). It differs from [`lookup`] where the registry does: `%`
/// is a ratio of one, as `/` is, `C` is the coulomb and `F` the farad.
pub fn lookup_senml(name: &str) -> Option<Unit> {
    match name {
        "%" | "/" | "count" | "beats" | "sr" => Some(Unit::BARE),
        "C" => lookup("coulomb"),
        "F" => lookup("farad"),
        _ => lookup(name),
    }
}

/// The symbols of the units whose spelling comes nearest to `text`, the nearest first, at most three; none if nothing is near.
pub fn nearest(text: &str) -> Vec<&'static str> {
    const MOST: usize = 3;
    // What people write for degrees, which the table must not accept because it also means something else.
    match text {
        "C" | "c" | "degc" | "°c" => return vec!["°C"],
        "F" | "f" | "degf" | "°f" => return vec!["°F"],
        _ => {}
    }
    // A long text is no misspelt unit, and comparing it would only cost time.
    let wanted = folded(text);
    if wanted.is_empty() || wanted.len() > 24 {
        return Vec::new();
    }
    let bound = if wanted.len() <= 2 { 0 } else { wanted.len().div_ceil(4) };
    let mut near: Vec<(usize, &'static str)> = spellings()
        .map(|(spelling, unit)| (distance(&wanted, &folded(spelling)), unit.symbol()))
        .filter(|(distance, _)| *distance <= bound)
        .collect();
    near.sort_by_key(|(distance, _)| *distance);
    let mut symbols = Vec::new();
    for (_, symbol) in near {
        if !symbols.contains(&symbol) {
            symbols.push(symbol);
        }
    }
    symbols.truncate(MOST);
    symbols
}

/// Every unit that has a name of its own, each once and in the table's order, by its first spelling without a blank: one with a
/// blank cannot stand in a layout.
#[cfg(feature = "editor")]
pub fn written() -> impl Iterator<Item = (&'static str, Unit)> {
    let mut seen = std::collections::BTreeSet::new();
    let units = spellings().filter(|(spelling, _)| !spelling.contains(' '));
    units.filter(move |(_, unit)| seen.insert(unit.symbol()))
}

/// Every spelling with its unit, in the table's order; a symbol comes before its other spellings.
fn spellings() -> impl Iterator<Item = (&'static str, Unit)> {
    let of_row = |(row, unit): (&'static Row, Unit)| {
        std::iter::once(row.symbol).chain(row.also.iter().copied()).map(move |spelling| (spelling, unit))
    };
    GROUPS.iter().flat_map(Group::units).flat_map(of_row)
}

/// `text` with look-alike signs replaced by the ones in the table.
fn normal(text: &str) -> String {
    text.chars()
        .map(|sign| match sign {
            'μ' => 'µ',
            'º' | '˚' => '°',
            'Ω' => 'Ω',
            '∆' => 'Δ',
            sign => sign,
        })
        .collect()
}

/// `text` in lower case and plain letters, for comparing spellings loosely.
fn folded(text: &str) -> Vec<char> {
    normal(text)
        .chars()
        .filter(|sign| !matches!(sign, ' ' | '_' | '.' | '°' | '[' | ']'))
        .map(|sign| match sign {
            'µ' => 'u',
            '²' => '2',
            '³' => '3',
            sign => sign.to_ascii_lowercase(),
        })
        .collect()
}

/// How many characters must be inserted, deleted, replaced or swapped with their neighbour to turn one text into the other.
fn distance(one: &[char], two: &[char]) -> usize {
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=two.len()).collect();
    for (i, a) in one.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, b) in two.iter().enumerate() {
            let replaced = last[j] + usize::from(a != b);
            let mut least = replaced.min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *a == two[j - 1] && one[i - 1] == *b {
                least = least.min(before[j - 1] + 1);
            }
            row.push(least);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[two.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{convert, difference_of};

    fn symbol(text: &str) -> Option<&'static str> {
        lookup(text).map(Unit::symbol)
    }

    #[test]
    fn the_usual_spellings() {
        for (text, wanted) in [
            ("°C", "°C"),
            ("ºC", "°C"),
            ("℃", "°C"),
            ("Cel", "°C"),
            ("[degF]", "°F"),
            ("%RH", "%"),
            ("ug/m3", "µg/m³"),
            ("μg/m³", "µg/m³"),
            ("l/min", "L/min"),
            ("[kn_i]", "kn"),
            ("deg", "°"),
            ("mbar", "mbar"),
        ] {
            assert_eq!(symbol(text), Some(wanted), "{text}");
        }
        for text in ["", "C", "F", "c", "hpa", " m", "furlong", "m/s/s/s"] {
            assert_eq!(symbol(text), None, "{text}");
        }
    }

    #[test]
    fn a_temperature_is_a_point_unless_written_as_a_difference() {
        assert!(lookup("K").unwrap().is_point());
        assert_eq!(lookup("Δ°F").unwrap(), difference_of(lookup("°F").unwrap()));
    }

    // Every name of RFC 8428 section 12.1 with the units of RFC 8798 section 2, and what one of it is in the coherent unit.
    #[test]
    fn senml_registry() {
        let primary = "m kg g s A K cd mol Hz rad sr N Pa J W C V F Ohm S Wb T H Cel lm lx Bq Gy Sv kat m2 m3 l m/s m/s2 m3/s l/s W/m2 \
                       cd/m2 bit bit/s lat lon pH dB dBW Bspl count / % %RH %EL EL 1/s 1/min beat/min beats S/m \
                       B VA VAs var vars J/m kg/m3 deg";
        for name in primary.split_whitespace() {
            assert!(lookup_senml(name).is_some(), "{name}");
        }
        assert_eq!(lookup_senml("%"), Some(Unit::BARE));
        assert_eq!(lookup_senml("%RH"), lookup("%"));
        assert_eq!(lookup_senml("C"), lookup("A·s"));
        assert_eq!(lookup_senml("furlong"), None);
    }

    // RFC 8798 section 3: secondary unit, primary unit, scale, offset.
    #[test]
    fn senml_secondary_registry() {
        for (secondary, primary, scale, offset) in [
            ("ms", "s", 1.0 / 1000.0, 0.0),
            ("min", "s", 60.0, 0.0),
            ("h", "s", 3600.0, 0.0),
            ("MHz", "Hz", 1e6, 0.0),
            ("kW", "W", 1000.0, 0.0),
            ("kVA", "VA", 1000.0, 0.0),
            ("kvar", "var", 1000.0, 0.0),
            ("Ah", "C", 3600.0, 0.0),
            ("Wh", "J", 3600.0, 0.0),
            ("kWh", "J", 3_600_000.0, 0.0),
            ("varh", "vars", 3600.0, 0.0),
            ("kvarh", "vars", 3_600_000.0, 0.0),
            ("kVAh", "VAs", 3_600_000.0, 0.0),
            ("Wh/km", "J/m", 3.6, 0.0),
            ("KiB", "B", 1024.0, 0.0),
            ("GB", "B", 1e9, 0.0),
            ("Mbit/s", "bit/s", 1e6, 0.0),
            ("B/s", "bit/s", 8.0, 0.0),
            ("mV", "V", 1.0 / 1000.0, 0.0),
            ("mA", "A", 1.0 / 1000.0, 0.0),
            ("dBm", "dBW", 1.0, -30.0),
            ("ug/m3", "kg/m3", 1e-9, 0.0),
            ("mm/h", "m/s", 1.0 / 3_600_000.0, 0.0),
            ("ppm", "/", 1e-6, 0.0),
            ("/100", "/", 1.0 / 100.0, 0.0),
            ("hPa", "Pa", 100.0, 0.0),
            ("mm", "m", 1.0 / 1000.0, 0.0),
            ("km", "m", 1000.0, 0.0),
            ("km/h", "m/s", 1.0 / 3.6, 0.0),
        ] {
            let (from, to) = (lookup_senml(secondary).unwrap(), lookup_senml(primary).unwrap());
            let found = convert(7.0, from, to).unwrap();
            let wanted = 7.0 * scale + offset;
            assert!(
                (found - wanted).abs() <= 4.0 * f64::EPSILON * wanted.abs(),
                "{secondary}: {found} is not {wanted}"
            );
        }
    }

    #[test]
    fn misspelt_units_get_suggestions() {
        assert_eq!(nearest("C"), ["°C"]);
        assert_eq!(nearest("degf"), ["°F"]);
        assert_eq!(nearest("hpa")[0], "hPa");
        assert_eq!(nearest("KWH")[0], "kWh");
        assert_eq!(nearest("celcius")[0], "°C");
        assert_eq!(nearest("m3/hr")[0], "m³/h");
        assert_eq!(nearest("mbr")[0], "mbar");
        assert!(nearest("").is_empty());
        assert!(nearest("furlong").is_empty());
        assert!(nearest(&"m".repeat(100_000)).is_empty());
    }

    #[test]
    fn distances() {
        let between = |one: &str, two: &str| distance(&folded(one), &folded(two));
        assert_eq!(between("mbar", "mbra"), 1);
        assert_eq!(between("", "bar"), 3);
        assert_eq!(between("kitten", "sitting"), 3);
    }
}
