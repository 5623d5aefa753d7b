//! Conversion of numbers from one unit to another.
//!
//! A [`Conversion`] is worked out once, when a layout is checked, and applied to each number: one multiplication, one addition
//! and one division. It never changes what the number stands for: a difference stays a difference.

use super::ratio::Ratio;
use super::unit::{Kind, Unit};

/// `(value · numerator + shift) / denominator`, with the three chosen so that they are exact wherever they can be: °C to °F is
/// `(value · 9 + 160) / 5`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conversion {
    numerator: f64,
    shift: f64,
    denominator: f64,
}

impl Conversion {
    /// The conversion that changes nothing.
    pub const IDENTITY: Self = Self { numerator: 1.0, shift: 0.0, denominator: 1.0 };

    pub(super) fn by(ratio: Ratio) -> Self {
        Self { numerator: ratio.numerator, shift: 0.0, denominator: ratio.denominator }
    }

    /// The converted number, to a few units in the last place; not finite where `value` is not, or where the result is beyond
    /// what a number can hold.
    pub fn apply(self, value: f64) -> f64 {
        (value * self.numerator + self.shift) / self.denominator
    }

    /// Whether every number stays as it is.
    pub fn is_identity(self) -> bool {
        self == Self::IDENTITY
    }
}

/// How numbers in `from` are given in `to`; `None` where the two do not measure the same thing.
pub fn conversion(from: Unit, to: Unit) -> Option<Conversion> {
    if !from.converts_to(to) {
        return None;
    }
    let Ratio { numerator, denominator } = from.ratio.over(to.ratio);
    let shift = match (from.kind, to.kind) {
        (Kind::Point { zero: from, .. }, Kind::Point { zero: to, .. }) => {
            // In hundredths all of it is whole, so that no digit is lost before the one division.
            (f64::from(to) * denominator - f64::from(from) * numerator) / 100.0
        }
        _ => 0.0,
    };
    Some(Conversion { numerator, shift, denominator })
}

/// `value`, given in `from`, in `to`; `None` where the two do not measure the same thing or the result is not finite.
pub fn convert(value: f64, from: Unit, to: Unit) -> Option<f64> {
    conversion(from, to).map(|conversion| conversion.apply(value)).filter(|result| result.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{difference_of, lookup};
    use proptest::prelude::*;

    fn between(value: f64, from: &str, to: &str) -> f64 {
        convert(value, lookup(from).unwrap(), lookup(to).unwrap()).unwrap()
    }

    // NIST SP 811, appendix B.9: t/°F = 1.8 t/°C + 32, T/K = t/°C + 273.15.
    #[test]
    fn temperatures() {
        assert!((between(12.4, "°C", "°F") - 54.32).abs() < 1e-12);
        assert!((between(54.32, "°F", "°C") - 12.4).abs() < 1e-12);
        assert_eq!(between(-40.0, "°C", "°F"), -40.0);
        assert_eq!(between(212.0, "°F", "°C"), 100.0);
        assert_eq!(between(0.0, "°C", "K"), 273.15);
        assert!((between(0.0, "K", "°F") + 459.67).abs() < 1e-12);
    }

    #[test]
    fn a_difference_has_no_offset() {
        let difference = |unit| difference_of(lookup(unit).unwrap());
        assert_eq!(convert(5.0, difference("°C"), difference("°F")), Some(9.0));
        assert_eq!(convert(5.0, difference("°C"), difference("K")), Some(5.0));
        assert_eq!(convert(5.0, difference("°C"), lookup("°F").unwrap()), None);
    }

    // NIST SP 811, appendix B.8, to the digits printed there.
    #[test]
    fn published_factors() {
        let near = |found: f64, wanted: f64, digits: i32| {
            assert!(
                (found / wanted - 1.0).abs() < 0.5 * libm::pow(10.0, f64::from(1 - digits)),
                "{found} is not {wanted}"
            );
        };
        near(between(1.0, "inHg", "Pa"), 3386.389, 7);
        near(between(1.0, "mmHg", "Pa"), 133.3224, 7);
        near(between(1.0, "psi", "Pa"), 6894.757, 7);
        assert_eq!(between(1.0, "mph", "m/s"), 0.44704);
        assert_eq!(between(3600.0, "kn", "m/s"), 1852.0);
        assert_eq!(between(1.0, "atm", "Pa"), 101_325.0);
    }

    // RFC 8798, section 4: 10 dBm are -20 dBW.
    #[test]
    fn power_levels_shift() {
        assert_eq!(between(10.0, "dBm", "dBW"), -20.0);
        assert_eq!(convert(1.0, lookup("dBm").unwrap(), lookup("dB").unwrap()), None);
        assert_eq!(convert(1.0, lookup("dBm").unwrap(), lookup("dBA").unwrap()), None);
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        assert_eq!(convert(1.0, lookup("°C").unwrap(), lookup("%").unwrap()), None);
        assert_eq!(convert(f64::MAX, lookup("km").unwrap(), lookup("mm").unwrap()), None);
        assert_eq!(convert(f64::NAN, lookup("km").unwrap(), lookup("mm").unwrap()), None);
    }

    proptest! {
        #[test]
        fn there_and_back(value in -1e9..1e9f64, from in 0..1000usize, to in 0..1000usize) {
            let units: Vec<Unit> = super::super::table::units().collect();
            let (from, to) = (units[from % units.len()], units[to % units.len()]);
            if from.converts_to(to) {
                let there = convert(value, from, to).unwrap();
                let back = convert(there, to, from).unwrap();
                // A point far below its scale's zero loses what the shift swallows; that is part of the measure here.
                let scale = value.abs() + from.offset().abs() / from.factor() + to.offset().abs() / from.factor();
                prop_assert!((back - value).abs() <= 4.0 * f64::EPSILON * scale, "{value} {from} -> {there} {to} -> {back}");
            } else {
                prop_assert_eq!(convert(value, from, to), None);
            }
        }
    }
}
