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
    pub fn bounds(self, arguments: &[Bounds]) -> Bounds {
        match (self, arguments) {
            (Function::Magnitude, &[a]) => {
                let ends = Bounds::new(a.low.abs(), a.high.abs());
                if a.contains(0.0) { Bounds { low: 0.0, ..ends } } else { ends }
            }
            (Function::Lesser, &[a, b]) => Bounds { low: a.low.min(b.low), high: a.high.min(b.high) },
            (Function::Greater, &[a, b]) => Bounds { low: a.low.max(b.low), high: a.high.max(b.high) },
            (_, &[temperature, humidity]) => self.moist_air_bounds(temperature, humidity),
            _ => Bounds::ANY,
        }
    }

    /// A formula of moist air rises with temperature and with humidity, so its extremes lie at the corners of what it is valid
    /// for. Where a corner gives nothing, the result is bounded by the formula's own range.
    fn moist_air_bounds(self, temperature: Bounds, humidity: Bounds) -> Bounds {
        let (low, high) = match self {
            Function::DewPoint => (-45.0, 60.0),
            Function::FrostPoint => (-65.0, 0.0),
            _ => (0.0, f64::INFINITY),
        };
        let corner =
            |temperature: f64, humidity: f64| self.apply(&[temperature.clamp(-45.0, 60.0), humidity.clamp(0.0, 100.0)]);
        let low = corner(temperature.low, humidity.low).map_or(low, f64::next_down);
        let high = corner(temperature.high, humidity.high).map_or(high, f64::next_up);
        Bounds { low, high }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn every_result_lies_within_its_bounds(
            (t1, t2) in (-60.0..90.0f64, -60.0..90.0f64),
            (h1, h2) in (0.0..=100.0f64, 0.0..=100.0f64),
            (across, up) in (0.0..=1.0f64, 0.0..=1.0f64),
        ) {
            let (temperature, humidity) = (Bounds::new(t1, t2), Bounds::new(h1, h2));
            let within = |bounds: Bounds, share: f64| (bounds.low + (bounds.high - bounds.low) * share).min(bounds.high);
            let arguments = [within(temperature, across), within(humidity, up)];
            for function in Function::ALL.into_iter().filter(|function| function.parameters().len() == 2) {
                if let Some(result) = function.apply(&arguments) {
                    let bounds = function.bounds(&[temperature, humidity]);
                    prop_assert!(bounds.contains(result), "{}: {result} not in {bounds:?}", function.name());
                }
            }
        }
    }

    #[test]
    fn every_name_finds_its_function_again() {
        for function in Function::ALL {
            assert_eq!(Function::named(function.name()), Some(function));
            assert!(function.parameters().len() <= Function::MOST_ARGUMENTS);
        }
    }
}
