//! An exact scale factor, kept as numerator and denominator.
//!
//! Conversion factors are fractions of whole numbers (a knot is 1852/3600 m/s). Kept so and reduced when they are combined, they
//! cost a conversion one multiplication and one division, instead of the error of a rounded factor on each side.

/// A positive factor `numerator / denominator`, reduced where both are whole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ratio {
    pub(super) numerator: f64,
    pub(super) denominator: f64,
}

impl Ratio {
    pub(super) const ONE: Self = Self { numerator: 1.0, denominator: 1.0 };

    /// The reduced fraction; both must be finite and above zero.
    pub(super) const fn new(numerator: f64, denominator: f64) -> Self {
        let common = common_divisor(numerator, denominator);
        Self { numerator: numerator / common, denominator: denominator / common }
    }

    pub(super) fn inverse(self) -> Self {
        Self { numerator: self.denominator, denominator: self.numerator }
    }

    pub(super) fn times(self, other: Self) -> Self {
        // Cancelling crosswise first keeps the products below 2^53, and so exact, for as long as can be.
        let one = Self::new(self.numerator, other.denominator);
        let two = Self::new(other.numerator, self.denominator);
        Self { numerator: one.numerator * two.numerator, denominator: one.denominator * two.denominator }
    }

    pub(super) fn over(self, other: Self) -> Self {
        self.times(other.inverse())
    }
}

/// The greatest common divisor of two whole numbers; of others, the number itself if they are equal, else 1.
const fn common_divisor(first: f64, second: f64) -> f64 {
    if first == second {
        return first;
    }
    if first % 1.0 != 0.0 || second % 1.0 != 0.0 {
        return 1.0;
    }
    let (mut larger, mut smaller) = (first, second);
    while smaller > 0.0 {
        (larger, smaller) = (smaller, larger % smaller);
    }
    larger
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_are_reduced() {
        assert_eq!(Ratio::new(1000.0, 3600.0), Ratio { numerator: 5.0, denominator: 18.0 });
        assert_eq!(Ratio::new(1852.0, 3600.0).over(Ratio::new(1000.0, 3600.0)), Ratio::new(1852.0, 1000.0));
        assert_eq!(Ratio::new(1.0, 1e9).times(Ratio::new(1e9, 1.0)), Ratio::ONE);
    }

    #[test]
    fn equal_factors_cancel_even_where_they_are_not_whole() {
        let degree = Ratio::new(std::f64::consts::PI, 180.0);
        assert_eq!(degree.over(degree), Ratio::ONE);
    }
}
