//! The functions that an expression may call: name, parameters, result and computation in one table.
//!
//! What enters are numbers in the units that [`Function::parameters`] names; what leaves is a number in the unit that
//! [`Function::result`] names, or nothing outside of the formula's validity.

use super::{Bounds, moist_air};

/// A function of the layout language.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Function {
    /// Dew point over water.
    DewPoint,
    /// Frost point: the dew point over ice.
    FrostPoint,
    /// Mass of water vapour in a volume of air.
    AbsoluteHumidity,
    /// The lesser of two.
    Lesser,
    /// The greater of two.
    Greater,
    /// The distance from zero.
    Magnitude,
}

/// What an argument must be, or what a result is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Something that converts to this unit; the number is passed in it.
    In(&'static str),
    /// Anything with a unit that a difference can be taken of; all such arguments and the result share the first one's unit.
    SameAsFirst,
}

impl Function {
    /// No function takes more arguments.
    pub const MOST_ARGUMENTS: usize = 2;

    /// Every function, in the order of the reference.
    pub const ALL: [Function; 6] = [
        Function::DewPoint,
        Function::FrostPoint,
        Function::AbsoluteHumidity,
        Function::Lesser,
        Function::Greater,
        Function::Magnitude,
    ];

    /// The name in a layout file.
    pub fn name(self) -> &'static str {
        match self {
            Function::DewPoint => "dew_point",
            Function::FrostPoint => "frost_point",
            Function::AbsoluteHumidity => "absolute_humidity",
            Function::Lesser => "min",
            Function::Greater => "max",
            Function::Magnitude => "abs",
        }
    }

    /// The function of that name.
    pub fn named(name: &str) -> Option<Function> {
        Function::ALL.into_iter().find(|function| function.name() == name)
    }

    /// Each parameter's name and what it must be.
    pub fn parameters(self) -> &'static [(&'static str, Kind)] {
        match self {
            Function::DewPoint | Function::FrostPoint | Function::AbsoluteHumidity => {
                &[("temperature", Kind::In("°C")), ("relative humidity", Kind::In("%"))]
            }
            Function::Lesser | Function::Greater => &[("a", Kind::SameAsFirst), ("b", Kind::SameAsFirst)],
            Function::Magnitude => &[("a", Kind::SameAsFirst)],
        }
    }

    /// What the result is.
    pub fn result(self) -> Kind {
        match self {
            Function::DewPoint | Function::FrostPoint => Kind::In("°C"),
            Function::AbsoluteHumidity => Kind::In("g/m³"),
            Function::Lesser | Function::Greater | Function::Magnitude => Kind::SameAsFirst,
        }
    }

    /// Computes it; nothing outside of the formula's validity. There are as many `arguments` as parameters.
    pub fn apply(self, arguments: &[f64]) -> Option<f64> {
        match (self, arguments) {
            (Function::DewPoint, &[temperature, humidity]) => moist_air::dew_point(temperature, humidity),
            (Function::FrostPoint, &[temperature, humidity]) => moist_air::frost_point(temperature, humidity),
            (Function::AbsoluteHumidity, &[temperature, humidity]) => {
                moist_air::absolute_humidity(temperature, humidity)
            }
            (Function::Lesser, &[a, b]) => Some(a.min(b)),
            (Function::Greater, &[a, b]) => Some(a.max(b)),
            (Function::Magnitude, &[a]) => Some(a.abs()),
            _ => None,
        }
    }

    /// Bounds of the result, from bounds of the arguments.
    ///
    /// Every two-argument function here is monotonic in each of its arguments, so its extremes lie at the corners.
    pub fn bounds(self, arguments: &[Bounds]) -> Bounds {
        match arguments {
            &[a] if self == Function::Magnitude => {
                let ends = Bounds::new(a.low.abs(), a.high.abs());
                if a.contains(0.0) { Bounds { low: 0.0, ..ends } } else { ends }
            }
            &[a, b] => Bounds::monotonic(
                [(a.low, b.low), (a.low, b.high), (a.high, b.low), (a.high, b.high)]
                    .map(|(a, b)| self.apply(&[a, b])),
            ),
            _ => Bounds::ANY,
        }
    }
}
