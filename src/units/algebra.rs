//! The unit of a sum, difference, product or quotient, and what must be done to the operands to get there.
//!
//! Two units enter; the unit of the result leaves, with the conversions that make the plain arithmetic right. No numbers are
//! computed here: a checked layout keeps the conversions and applies them to each value.

use super::convert::{Conversion, conversion};
use super::ratio::Ratio;
use super::table;
use super::unit::{Kind, Reference, Unit, difference_of};

/// A sum or difference: `left.apply(a) ± right.apply(b)`, in `unit`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sum {
    /// The unit of the result.
    pub unit: Unit,
    /// What the left operand goes through first.
    pub left: Conversion,
    /// What the right operand goes through first.
    pub right: Conversion,
}

/// A product or quotient: `scale.apply(a · b)` or `scale.apply(a / b)`, in `unit`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Product {
    /// The unit of the result.
    pub unit: Unit,
    /// What the bare product or quotient goes through.
    pub scale: Conversion,
}

/// Why two units do not go together.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum Mismatch {
    /// The two measure different things.
    #[error("{} and {} do not measure the same thing", Named(*.left), Named(*.right))]
    Different {
        /// The unit of the left operand.
        left: Unit,
        /// The unit of the right operand.
        right: Unit,
    },
    /// Two points on a scale were added.
    #[error("two points on a scale ({left} and {right}) cannot be added; take their difference or their mean")]
    SumOfPoints {
        /// The unit of the left operand.
        left: Unit,
        /// The unit of the right operand.
        right: Unit,
    },
    /// A point was taken from a difference.
    #[error("a point on a scale ({right}) cannot be taken from a difference; swap the two")]
    PointFromDifference {
        /// The unit of the right operand.
        right: Unit,
    },
    /// A point on a scale and a difference were compared.
    #[error("a point on a scale and a difference ({left} and {right}) cannot be compared")]
    PointAgainstDifference {
        /// The unit of the left operand.
        left: Unit,
        /// The unit of the right operand.
        right: Unit,
    },
    /// A point on a scale stood in a product or quotient.
    #[error(
        "a point on a scale ({unit}) cannot be multiplied or divided; take a difference, or an absolute temperature in K"
    )]
    PointInProduct {
        /// The unit of the point.
        unit: Unit,
    },
    /// A power of a base unit grew too high.
    #[error("the powers in {left} and {right} together are too high")]
    TooHigh {
        /// The unit of the left operand.
        left: Unit,
        /// The unit of the right operand.
        right: Unit,
    },
}

/// A unit as an error names it: `°C (temperature)`, `a bare number`.
struct Named(Unit);

impl std::fmt::Display for Named {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Named(unit) = self;
        if unit.is_bare() {
            return f.write_str("a bare number");
        }
        match unit.quantity() {
            Some(quantity) => write!(f, "{unit} ({quantity})"),
            None => write!(f, "{unit}"),
        }
    }
}

/// The unit of `left + right`. Amounts and differences add in the left unit; a point and a difference give a point.
pub fn add(left: Unit, right: Unit) -> Result<Sum, Mismatch> {
    match (left.is_point(), right.is_point()) {
        (true, true) if left.converts_to(right) => Err(Mismatch::SumOfPoints { left, right }),
        (false, true) => {
            let into = conversion(left, difference_of(right)).ok_or(Mismatch::Different { left, right })?;
            Ok(Sum { unit: right, left: into, right: Conversion::IDENTITY })
        }
        _ => {
            let into = conversion(right, difference_of(left)).ok_or(Mismatch::Different { left, right })?;
            Ok(Sum { unit: left, left: Conversion::IDENTITY, right: into })
        }
    }
}

/// The unit of `left - right`. Two points give a difference in the left unit; a point less a difference gives a point.
pub fn subtract(left: Unit, right: Unit) -> Result<Sum, Mismatch> {
    let different = Mismatch::Different { left, right };
    let (unit, into) = match (left.is_point(), right.is_point()) {
        (true, true) => (difference_of(left), conversion(right, left)),
        (false, true) if left.dimension == right.dimension => return Err(Mismatch::PointFromDifference { right }),
        _ => (left, conversion(right, difference_of(left))),
    };
    Ok(Sum { unit, left: Conversion::IDENTITY, right: into.ok_or(different)? })
}

/// What the right operand of `<`, `==` and their kin goes through before the numbers are compared.
pub fn compare(left: Unit, right: Unit) -> Result<Conversion, Mismatch> {
    conversion(right, left).ok_or(if left.dimension == right.dimension && left.is_point() != right.is_point() {
        Mismatch::PointAgainstDifference { left, right }
    } else {
        Mismatch::Different { left, right }
    })
}

/// The unit of `left · right`. A ratio scales the other operand and keeps its unit; otherwise the result has a name of its own
/// if there is one of the right size (kW · h gives kWh), else the coherent SI unit.
pub fn multiply(left: Unit, right: Unit) -> Result<Product, Mismatch> {
    let (left, right) = (amount(left)?, amount(right)?);
    if left.is_bare() || right.is_bare() {
        let unit = if left.is_bare() { right } else { left };
        return Ok(Product { unit, scale: Conversion::IDENTITY });
    }
    if right.is_ratio() {
        return Ok(Product { unit: left, scale: Conversion::by(right.ratio) });
    }
    if left.is_ratio() {
        return Ok(Product { unit: right, scale: Conversion::by(left.ratio) });
    }
    let dimension = left.dimension.times(right.dimension).ok_or(Mismatch::TooHigh { left, right })?;
    Ok(derived(dimension, left.ratio.times(right.ratio)))
}

/// The unit of `left / right`. Two of a kind give a bare number; a ratio below keeps the unit above; otherwise as in
/// [`multiply`].
pub fn divide(left: Unit, right: Unit) -> Result<Product, Mismatch> {
    let (left, right) = (amount(left)?, amount(right)?);
    if left.dimension == right.dimension && !right.is_bare() {
        return Ok(Product { unit: Unit::BARE, scale: Conversion::by(left.ratio.over(right.ratio)) });
    }
    if right.is_ratio() {
        return Ok(Product { unit: left, scale: Conversion::by(right.ratio.inverse()) });
    }
    let dimension = left.dimension.over(right.dimension).ok_or(Mismatch::TooHigh { left, right })?;
    Ok(derived(dimension, left.ratio.over(right.ratio)))
}

/// The unit as an amount: itself if it is plain; an absolute temperature counts from nothing and so is an amount too.
fn amount(unit: Unit) -> Result<Unit, Mismatch> {
    match unit.kind {
        Kind::Plain | Kind::Point { reference: Reference::AbsoluteZero, zero: 0 } => Ok(difference_of(unit)),
        Kind::Point { .. } => Err(Mismatch::PointInProduct { unit }),
    }
}

/// The unit for a result of `dimension` and size `ratio`: a named one of just that size, else the coherent one.
fn derived(dimension: crate::units::Dimension, ratio: Ratio) -> Product {
    let named =
        |ratio| table::units().map(difference_of).find(|unit| unit.dimension == dimension && unit.ratio == ratio);
    match named(ratio) {
        Some(unit) => Product { unit, scale: Conversion::IDENTITY },
        None => {
            let coherent = Unit { symbol: "", dimension, ratio: Ratio::ONE, kind: Kind::Plain };
            Product { unit: named(Ratio::ONE).unwrap_or(coherent), scale: Conversion::by(ratio) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::lookup;

    fn unit(text: &str) -> Unit {
        lookup(text).unwrap_or_else(|| panic!("no unit {text}"))
    }

    fn sum(sum: Sum, left: f64, right: f64, sign: f64) -> (f64, String) {
        (sum.left.apply(left) + sign * sum.right.apply(right), sum.unit.to_string())
    }

    #[test]
    fn points_and_differences_add_up() {
        let celsius = unit("°C");
        assert_eq!(add(celsius, celsius), Err(Mismatch::SumOfPoints { left: celsius, right: celsius }));
        let spread = subtract(celsius, unit("°F")).unwrap();
        assert_eq!(sum(spread, 20.0, 50.0, -1.0), (10.0, "°C".into()));
        assert_eq!(spread.unit, difference_of(celsius));
        let warmer = add(celsius, difference_of(unit("°F"))).unwrap();
        assert_eq!(sum(warmer, 12.0, 9.0, 1.0), (17.0, "°C".into()));
        assert!(warmer.unit.is_point());
        let swapped = add(difference_of(unit("°F")), celsius).unwrap();
        assert_eq!(sum(swapped, 9.0, 12.0, 1.0), (17.0, "°C".into()));
        assert_eq!(subtract(difference_of(celsius), celsius), Err(Mismatch::PointFromDifference { right: celsius }));
    }

    #[test]
    fn amounts_add_in_the_left_unit() {
        assert_eq!(sum(add(unit("kPa"), unit("hPa")).unwrap(), 100.0, 13.25, 1.0), (101.325, "kPa".into()));
        assert_eq!(sum(add(Unit::BARE, unit("%")).unwrap(), 0.5, 10.0, 1.0), (0.6, "".into()));
        assert_eq!(sum(add(unit("%"), Unit::BARE).unwrap(), 10.0, 0.5, 1.0), (60.0, "%".into()));
        let error = add(unit("°C"), unit("%")).unwrap_err();
        assert_eq!(error.to_string(), "°C (temperature) and % (ratio) do not measure the same thing");
        assert!(subtract(Unit::BARE, unit("°C")).is_err());
    }

    #[test]
    fn levels_are_points_on_a_scale_of_decibels() {
        let fade = subtract(unit("dBm"), unit("dBm")).unwrap();
        assert_eq!(sum(fade, -40.0, -70.0, -1.0), (30.0, "dB".into()));
        assert_eq!(sum(add(unit("dBm"), unit("dB")).unwrap(), -70.0, 10.0, 1.0), (-60.0, "dBm".into()));
        assert!(add(unit("dBm"), unit("dBm")).is_err());
        assert!(subtract(unit("dBm"), unit("dBA")).is_err());
    }

    #[test]
    fn comparisons_convert_the_right_side() {
        assert_eq!(compare(unit("°C"), unit("°F")).unwrap().apply(50.0), 10.0);
        let error = compare(difference_of(unit("°C")), unit("K")).unwrap_err();
        assert!(matches!(error, Mismatch::PointAgainstDifference { .. }), "{error}");
        assert!(matches!(compare(unit("hPa"), unit("m")), Err(Mismatch::Different { .. })));
    }

    #[test]
    fn products_find_their_names() {
        let named = |product: Product, value: f64| (product.scale.apply(value), product.unit.to_string());
        let of = |left: &str, right: &str| multiply(unit(left), unit(right)).unwrap();
        assert_eq!(named(of("kW", "h"), 6.0), (6.0, "kWh".into()));
        assert_eq!(named(of("W", "s"), 6.0), (6.0, "J".into()));
        assert_eq!(named(of("W", "min"), 6.0), (360.0, "J".into()));
        assert_eq!(named(of("V", "A"), 6.0), (6.0, "W".into()));
        assert_eq!(named(of("L/min", "min"), 6.0), (6.0, "L".into()));
        assert_eq!(named(of("%", "kW"), 50.0 * 4.0), (2.0, "kW".into()));
        assert_eq!(named(of("kW", "%"), 50.0 * 4.0), (2.0, "kW".into()));
        assert_eq!(named(multiply(Unit::BARE, unit("%")).unwrap(), 120.0), (120.0, "%".into()));
        assert_eq!(named(of("%", "%"), 50.0 * 50.0), (25.0, "%".into()));
        assert_eq!(multiply(unit("°C"), Unit::BARE), Err(Mismatch::PointInProduct { unit: unit("°C") }));
        assert_eq!(named(of("J/K", "K"), 6.0), (6.0, "J".into()));
    }

    #[test]
    fn quotients_find_their_names() {
        let named = |product: Product, value: f64| (product.scale.apply(value), product.unit.to_string());
        let of = |left: &str, right: &str| divide(unit(left), unit(right)).unwrap();
        assert_eq!(named(of("km", "h"), 6.0), (6.0, "km/h".into()));
        assert_eq!(named(of("kWh", "Wh"), 6.0), (6000.0, "".into()));
        assert_eq!(named(of("%", "%"), 0.5), (0.5, "".into()));
        assert_eq!(named(of("W", "%"), 0.04), (4.0, "W".into()));
        assert_eq!(named(divide(unit("W"), Unit::BARE).unwrap(), 3.0), (3.0, "W".into()));
        assert_eq!(named(divide(Unit::BARE, unit("ms")).unwrap(), 2.0), (2.0, "kHz".into()));
        assert_eq!(named(of("kg", "kPa"), 6.0), (0.006, "m·s²".into()));
        let spread = divide(difference_of(unit("°C")), unit("m")).unwrap();
        assert_eq!(named(spread, 6.0), (6.0, "K/m".into()));
    }

    #[test]
    fn powers_stay_bounded() {
        let mut power = unit("km");
        let failed = (0..200).find_map(|_| match multiply(power, unit("km")) {
            Ok(product) => {
                power = product.unit;
                None
            }
            Err(error) => Some(error),
        });
        assert!(matches!(failed, Some(Mismatch::TooHigh { .. })));
    }
}
