//! Bounds of what an expression can give: interval arithmetic, sound and never too narrow.
//!
//! What enters are the ranges of readings; what leaves is a range that holds every possible result. Rounding is taken outwards
//! by one unit in the last place, so that the bound of a computed end is never a hair too small.

use crate::units::Conversion;

/// From the least to the greatest number that something can be; both ends belong to it and may be infinite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// The least number.
    pub low: f64,
    /// The greatest number.
    pub high: f64,
}

impl Bounds {
    /// Nothing is known.
    pub const ANY: Bounds = Bounds { low: f64::NEG_INFINITY, high: f64::INFINITY };

    /// A condition: 0 or 1.
    pub const TRUTH: Bounds = Bounds { low: 0.0, high: 1.0 };

    /// From `low` to `high`, in either order.
    pub fn new(low: f64, high: f64) -> Self {
        Self { low: low.min(high), high: low.max(high) }
    }

    /// One number.
    pub fn exactly(number: f64) -> Self {
        Self { low: number, high: number }
    }

    /// Whether both ends are finite.
    pub fn is_finite(self) -> bool {
        self.low.is_finite() && self.high.is_finite()
    }

    /// Whether `number` lies within.
    pub fn contains(self, number: f64) -> bool {
        self.low <= number && number <= self.high
    }

    /// The least bounds that hold both.
    pub fn hull(self, other: Bounds) -> Bounds {
        Bounds { low: self.low.min(other.low), high: self.high.max(other.high) }
    }

    /// What both have in common, if anything.
    pub fn overlap(self, other: Bounds) -> Option<Bounds> {
        let (low, high) = (self.low.max(other.low), self.high.min(other.high));
        (low <= high).then_some(Bounds { low, high })
    }

    /// The hull of results at corners, one unit in the last place wider on either side; anything undefined leaves no bound.
    fn outward(corners: &[f64]) -> Bounds {
        if corners.iter().any(|corner| corner.is_nan()) {
            return Bounds::ANY;
        }
        let low = corners.iter().copied().fold(f64::INFINITY, f64::min);
        let high = corners.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Bounds { low: low.next_down(), high: high.next_up() }
    }

    /// The bounds of `a + b`.
    pub fn plus(self, other: Bounds) -> Bounds {
        Bounds::outward(&[self.low + other.low, self.high + other.high])
    }

    /// The bounds of `a - b`.
    pub fn minus(self, other: Bounds) -> Bounds {
        Bounds::outward(&[self.low - other.high, self.high - other.low])
    }

    /// The bounds of `a * b`.
    pub fn times(self, other: Bounds) -> Bounds {
        // Nothing times anything is nothing: an infinite end stands for "any finite number".
        let product = |a: f64, b: f64| if a == 0.0 || b == 0.0 { 0.0 } else { a * b };
        Bounds::outward(&[
            product(self.low, other.low),
            product(self.low, other.high),
            product(self.high, other.low),
            product(self.high, other.high),
        ])
    }

    /// The bounds of `a / b`; without bound where the divisor can be zero.
    pub fn over(self, other: Bounds) -> Bounds {
        if other.contains(0.0) || !other.is_finite() {
            return Bounds::ANY;
        }
        Bounds::outward(&[self.low / other.low, self.low / other.high, self.high / other.low, self.high / other.high])
    }

    /// The bounds of `-a`.
    pub fn negated(self) -> Bounds {
        Bounds { low: -self.high, high: -self.low }
    }

    /// The bounds of `a` given in another unit.
    pub fn converted(self, conversion: Conversion) -> Bounds {
        Bounds::outward(&[conversion.apply(self.low), conversion.apply(self.high)])
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::units;

    fn bounds() -> impl Strategy<Value = (Bounds, f64)> {
        (-1e6..1e6f64, -1e6..1e6f64, 0.0..=1.0f64).prop_map(|(a, b, share)| {
            let bounds = Bounds::new(a, b);
            let within = bounds.low + (bounds.high - bounds.low) * share;
            (bounds, within.clamp(bounds.low, bounds.high))
        })
    }

    proptest! {
        #[test]
        fn every_result_lies_within_its_bounds((a, x) in bounds(), (b, y) in bounds()) {
            prop_assert!(a.plus(b).contains(x + y));
            prop_assert!(a.minus(b).contains(x - y));
            prop_assert!(a.times(b).contains(x * y));
            prop_assert!(a.negated().contains(-x));
            let to_fahrenheit = units::conversion(units::lookup("°C").unwrap(), units::lookup("°F").unwrap()).unwrap();
            prop_assert!(a.converted(to_fahrenheit).contains(to_fahrenheit.apply(x)));
            if y != 0.0 {
                prop_assert!(a.over(b).contains(x / y));
            }
        }
    }

    #[test]
    fn a_divisor_that_can_be_zero_leaves_no_bound() {
        assert_eq!(Bounds::new(1.0, 2.0).over(Bounds::new(-1.0, 1.0)), Bounds::ANY);
    }
}
