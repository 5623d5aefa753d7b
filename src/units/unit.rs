//! One unit of measure: its dimension, its exact size in coherent SI units, and where its scale begins.
//!
//! Two kinds are kept apart. A plain unit measures amounts and differences, and its zero is nothing. A point unit reads off a
//! scale with a zero of its own: 5 °C on a thermometer. Points and differences convert differently (a point of 5 °C is 41 °F, a
//! difference of 5 °C is 9 °F) and never become one another in silence.

use std::fmt;

use super::dimension::Dimension;
use super::ratio::Ratio;
use super::table;

/// A unit of measure: small, copied freely, and compared field by field. Two names of the same size, such as `mbar` and `hPa`,
/// are not equal, but convert to each other with the number unchanged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    pub(super) symbol: &'static str,
    pub(super) dimension: Dimension,
    pub(super) ratio: Ratio,
    pub(super) kind: Kind,
}

/// What a number in a unit stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// An amount or a difference.
    Plain,
    /// A place on the scale of `reference`.
    Point {
        /// Which scale; points of different scales never convert.
        reference: Reference,
        /// The number that this unit gives to the zero of the reference, in hundredths: -27315 for °C.
        zero: i32,
    },
}

/// What the points of a scale are measured from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reference {
    /// Absolute zero temperature.
    AbsoluteZero,
    /// A power of one watt.
    Watt,
    /// A sound pressure of 20 µPa.
    SoundPressure,
    /// A sound pressure of 20 µPa, heard through the frequency weighting A.
    WeightedSoundPressure,
    /// The pH scale.
    Acidity,
}

impl Unit {
    /// No unit: a bare number or ratio.
    pub const BARE: Unit = Unit { symbol: "", dimension: Dimension::RATIO, ratio: Ratio::ONE, kind: Kind::Plain };

    /// The written symbol, such as `°C`; empty for a bare number and for a derived unit without a name of its own (its
    /// [`Display`](fmt::Display) writes the product of base units).
    pub fn symbol(self) -> &'static str {
        self.symbol
    }

    /// The dimension.
    pub fn dimension(self) -> Dimension {
        self.dimension
    }

    /// The size of one unit in the coherent SI unit: 1000 for `kW`.
    pub fn factor(self) -> f64 {
        self.ratio.numerator / self.ratio.denominator
    }

    /// What is added, after the factor, to reach the coherent SI unit: 273.15 for `°C`; zero for units that are no points.
    pub fn offset(self) -> f64 {
        match self.kind {
            Kind::Plain => 0.0,
            Kind::Point { zero, .. } => -f64::from(zero) / 100.0 * self.ratio.numerator / self.ratio.denominator,
        }
    }

    /// The quantity in words, such as `pressure`, where the table knows one.
    pub fn quantity(self) -> Option<&'static str> {
        table::quantity(self.dimension)
    }

    /// Whether numbers in this unit are places on a scale, such as a temperature, and not amounts or differences.
    pub fn is_point(self) -> bool {
        matches!(self.kind, Kind::Point { .. })
    }

    /// Whether this is a bare number.
    pub fn is_bare(self) -> bool {
        self == Self::BARE
    }

    /// Whether this is a ratio of any size: a bare number, `%`, `ppm`.
    pub fn is_ratio(self) -> bool {
        self.dimension.is_ratio() && self.kind == Kind::Plain
    }

    /// Whether a number in this unit can be given in `other`.
    pub fn converts_to(self, other: Unit) -> bool {
        let same_scale = match (self.kind, other.kind) {
            (Kind::Plain, Kind::Plain) => true,
            (Kind::Point { reference: one, .. }, Kind::Point { reference: two, .. }) => one == two,
            _ => false,
        };
        same_scale && self.dimension == other.dimension
    }

    /// This unit, taken as a difference where `other` is a difference on the same scale: what `K` means in
    /// `temp - dew < 2K` and in `(temp - dew) as K`. Unchanged in every other case.
    pub fn in_the_sense_of(self, other: Unit) -> Unit {
        let difference = difference_of(self);
        if self.is_point() && !other.is_point() && difference.dimension == other.dimension { difference } else { self }
    }
}

/// The unit in which differences between points of `unit` are given: for `°C` a difference in `°C`, for `dBm` `dB`, for `pH` a
/// bare number. A unit that measures no points is its own.
pub fn difference_of(unit: Unit) -> Unit {
    let symbol = match unit.kind {
        Kind::Plain | Kind::Point { reference: Reference::AbsoluteZero, .. } => unit.symbol,
        Kind::Point { reference: Reference::Acidity, .. } => "",
        // Bels keep their name: a difference of one is ten decibels.
        Kind::Point { .. } if unit.ratio != Ratio::ONE => "B",
        Kind::Point { .. } => "dB",
    };
    Unit { symbol, kind: Kind::Plain, ..unit }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.symbol.is_empty() { self.dimension.write_coherent(f) } else { f.write_str(self.symbol) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::lookup;

    #[test]
    fn difference_units() {
        let celsius = lookup("°C").unwrap();
        assert!(celsius.is_point());
        assert_eq!(celsius.offset(), 273.15);
        let difference = difference_of(celsius);
        assert!(!difference.is_point());
        assert_eq!((difference.symbol(), difference.offset()), ("°C", 0.0));
        assert_eq!(difference_of(lookup("dBm").unwrap()), lookup("dB").unwrap());
        assert_eq!(difference_of(lookup("pH").unwrap()), Unit::BARE);
        assert_eq!(difference_of(lookup("hPa").unwrap()), lookup("hPa").unwrap());
    }

    #[test]
    fn a_unit_takes_the_sense_of_what_it_stands_beside() {
        let (celsius, kelvin) = (lookup("°C").unwrap(), lookup("K").unwrap());
        assert_eq!(kelvin.in_the_sense_of(difference_of(celsius)), difference_of(kelvin));
        assert_eq!(kelvin.in_the_sense_of(celsius), kelvin);
        assert_eq!(lookup("hPa").unwrap().in_the_sense_of(difference_of(celsius)), lookup("hPa").unwrap());
    }

    #[test]
    fn unnamed_units_are_written_as_products() {
        let unit = |above: &[Dimension], below: &[Dimension]| {
            let above = above.iter().fold(Dimension::RATIO, |all, one| all.times(*one).unwrap());
            let dimension = below.iter().fold(above, |all, one| all.over(*one).unwrap());
            Unit { symbol: "", dimension, ratio: Ratio::ONE, kind: Kind::Plain }.to_string()
        };
        use Dimension as D;
        assert_eq!(unit(&[], &[]), "");
        assert_eq!(unit(&[D::MASS, D::LENGTH, D::LENGTH], &[D::TIME, D::TIME, D::TIME]), "kg·m²/s³");
        assert_eq!(unit(&[], &[D::TIME]), "1/s");
        assert_eq!(unit(&[D::MASS], &[D::TIME, D::TEMPERATURE]), "kg/(s·K)");
    }
}
