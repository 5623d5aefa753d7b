//! The functions that an expression may call: name, parameters, result, computation and bounds in one table.
//!
//! What enters are numbers in the units that the [parameters](Function::parameters) name; what leaves is a number in the unit of the
//! [result](Function::result), or nothing outside of the formula's validity.

use super::Bounds;
use super::{heat, moist_air, pressure, wet_bulb};

/// A function of the layout language.
#[derive(Debug)]
pub struct Function {
    /// The name in a layout file.
    pub name: &'static str,
    /// What it takes, in this order.
    pub parameters: &'static [Parameter],
    /// What the result is.
    pub result: Kind,
    /// Nothing that it gives lies outside.
    range: (f64, f64),
    compute: fn(&[f64]) -> Option<f64>,
}

/// What a function takes in one place.
#[derive(Debug)]
pub struct Parameter {
    /// What it is, in words.
    pub name: &'static str,
    /// What it must be.
    pub kind: Kind,
    /// Outside of these numbers the function gives nothing.
    valid: (f64, f64),
    effect: Effect,
}

/// What an argument must be, or what a result is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Something that converts to this unit; the number is passed in it.
    In(&'static str),
    /// A number without a unit.
    Bare,
    /// Anything with a unit that a difference can be taken of; all such arguments and the result share the first one's unit.
    SameAsFirst,
}

/// What the result does when an argument grows and the others stay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Effect {
    /// It grows, or stays.
    Raises,
    /// It falls, or stays.
    Lowers,
    /// One of the two, depending on the others.
    Either,
    /// Anything: only the function's range bounds it.
    Unruly,
}

use Effect::{Either, Lowers, Raises, Unruly};

const fn parameter(name: &'static str, unit: &'static str, valid: (f64, f64), effect: Effect) -> Parameter {
    Parameter { name, kind: Kind::In(unit), valid, effect }
}

const fn same(name: &'static str, effect: Effect) -> Parameter {
    Parameter { name, kind: Kind::SameAsFirst, valid: (f64::NEG_INFINITY, f64::INFINITY), effect }
}

/// How far a result may lie beside the true one, where an equation is solved by steps.
const SOLVED: f64 = 1e-6;
const ANY: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);
const PERCENT: (f64, f64) = (0.0, 100.0);
const PRESSURES: (f64, f64) = (500.0, 1100.0);
/// Of the Magnus form over water.
const MAGNUS: (f64, f64) = (-45.0, 60.0);
const TEMPERATURE: Parameter = parameter("temperature", "°C", MAGNUS, Raises);
const HUMIDITY: Parameter = parameter("relative humidity", "%", PERCENT, Raises);

/// Every function, in the order of the reference.
static FUNCTIONS: [Function; 18] = [
    Function {
        name: "dew_point",
        parameters: &[TEMPERATURE, HUMIDITY],
        result: Kind::In("°C"),
        range: MAGNUS,
        compute: |a| moist_air::dew_point(a[0], a[1]),
    },
    Function {
        name: "frost_point",
        parameters: &[TEMPERATURE, HUMIDITY],
        result: Kind::In("°C"),
        range: (-65.0, 0.0),
        compute: |a| moist_air::frost_point(a[0], a[1]),
    },
    Function {
        name: "wet_bulb",
        parameters: &[
            parameter("temperature", "°C", (-20.0, 60.0), Raises),
            HUMIDITY,
            parameter("pressure", "hPa", PRESSURES, Raises),
        ],
        result: Kind::In("°C"),
        range: (-65.0, 60.0),
        compute: |a| wet_bulb::wet_bulb(a[0], a[1], a[2]),
    },
    Function {
        name: "absolute_humidity",
        parameters: &[TEMPERATURE, HUMIDITY],
        result: Kind::In("g/m³"),
        range: (0.0, 200.0),
        compute: |a| moist_air::absolute_humidity(a[0], a[1]),
    },
    Function {
        name: "mixing_ratio",
        parameters: &[TEMPERATURE, HUMIDITY, parameter("pressure", "hPa", PRESSURES, Lowers)],
        result: Kind::In("g/kg"),
        range: (0.0, 500.0),
        compute: |a| wet_bulb::mixing_ratio(a[0], a[1], a[2]),
    },
    Function {
        name: "saturation_pressure",
        parameters: &[TEMPERATURE],
        result: Kind::In("hPa"),
        range: (0.0, 250.0),
        compute: |a| moist_air::saturation_pressure_over_water(a[0]),
    },
    Function {
        name: "saturation_pressure_ice",
        parameters: &[parameter("temperature", "°C", (-65.0, 0.0), Raises)],
        result: Kind::In("hPa"),
        range: (0.0, 7.0),
        compute: |a| moist_air::saturation_pressure_over_ice(a[0]),
    },
    Function {
        name: "vapour_pressure",
        parameters: &[TEMPERATURE, HUMIDITY],
        result: Kind::In("hPa"),
        range: (0.0, 250.0),
        compute: |a| moist_air::vapour_pressure(a[0], a[1]),
    },
    Function {
        name: "vapour_pressure_deficit",
        parameters: &[TEMPERATURE, parameter("relative humidity", "%", PERCENT, Lowers)],
        result: Kind::In("kPa"),
        range: (0.0, 25.0),
        compute: |a| moist_air::vapour_pressure_deficit(a[0], a[1]),
    },
    Function {
        name: "surface_temperature",
        parameters: &[
            parameter("inside", "°C", ANY, Raises),
            parameter("outside", "°C", ANY, Raises),
            Parameter { name: "temperature factor", kind: Kind::Bare, valid: (0.0, 1.0), effect: Either },
        ],
        result: Kind::In("°C"),
        range: ANY,
        compute: |a| moist_air::surface_temperature(a[0], a[1], a[2]),
    },
    Function {
        name: "surface_humidity",
        parameters: &[TEMPERATURE, HUMIDITY, parameter("surface temperature", "°C", MAGNUS, Lowers)],
        result: Kind::In("%"),
        range: PERCENT,
        compute: |a| moist_air::surface_humidity(a[0], a[1], a[2]),
    },
    Function {
        name: "heat_index",
        parameters: &[
            parameter("temperature", "°C", (10.0, 45.0), Unruly),
            parameter("relative humidity", "%", PERCENT, Unruly),
        ],
        result: Kind::In("°C"),
        range: (5.0, 60.0),
        compute: |a| heat::heat_index(a[0], a[1]),
    },
    Function {
        name: "wind_chill",
        parameters: &[
            parameter("temperature", "°C", (-60.0, 10.0), Raises),
            parameter("wind speed", "km/h", (4.8, 150.0), Lowers),
        ],
        result: Kind::In("°C"),
        range: (-130.0, 12.0),
        compute: |a| heat::wind_chill(a[0], a[1]),
    },
    Function {
        name: "humidex",
        parameters: &[parameter("temperature", "°C", (15.0, 55.0), Raises), HUMIDITY],
        result: Kind::Bare,
        range: (8.0, 150.0),
        compute: |a| heat::humidex(a[0], a[1]),
    },
    Function {
        name: "sea_level_pressure",
        parameters: &[
            parameter("pressure", "hPa", PRESSURES, Raises),
            parameter("height", "m", (-400.0, 750.0), Raises),
            parameter("temperature", "°C", MAGNUS, Either),
            parameter("relative humidity", "%", PERCENT, Either),
        ],
        result: Kind::In("hPa"),
        range: (450.0, 1300.0),
        compute: |a| pressure::sea_level_pressure(a[0], a[1], a[2], a[3]),
    },
    Function {
        name: "air_density",
        parameters: &[
            parameter("temperature", "°C", MAGNUS, Lowers),
            parameter("relative humidity", "%", PERCENT, Lowers),
            parameter("pressure", "hPa", PRESSURES, Raises),
        ],
        result: Kind::In("kg/m³"),
        range: (0.4, 1.8),
        compute: |a| pressure::air_density(a[0], a[1], a[2]),
    },
    Function {
        name: "min",
        parameters: &[same("a", Raises), same("b", Raises)],
        result: Kind::SameAsFirst,
        range: ANY,
        compute: |a| Some(a[0].min(a[1])),
    },
    Function {
        name: "max",
        parameters: &[same("a", Raises), same("b", Raises)],
        result: Kind::SameAsFirst,
        range: ANY,
        compute: |a| Some(a[0].max(a[1])),
    },
];

/// The distance from zero; apart from the others, because it turns at zero.
static MAGNITUDE: Function = Function {
    name: "abs",
    parameters: &[same("a", Unruly)],
    result: Kind::SameAsFirst,
    range: (0.0, f64::INFINITY),
    compute: |a| Some(a[0].abs()),
};

impl Function {
    /// No function takes more arguments.
    pub const MOST_ARGUMENTS: usize = 4;

    /// Every function, in the order of the reference.
    pub fn all() -> impl Iterator<Item = &'static Function> + Clone {
        FUNCTIONS.iter().chain(std::iter::once(&MAGNITUDE))
    }

    /// The function of that name.
    pub fn named(name: &str) -> Option<&'static Function> {
        Function::all().find(|function| function.name == name)
    }

    /// Computes it; nothing outside of the formula's validity. There are as many `arguments` as parameters.
    pub fn apply(&self, arguments: &[f64]) -> Option<f64> {
        (self.compute)(arguments)
    }

    /// Bounds of the result, from bounds of the arguments.
    ///
    /// A function that rises or falls with each argument has its extremes at two corners of what the arguments can be, within what it is
    /// valid for. Where a corner gives nothing, or an argument is unruly, the function's own range bounds the result.
    pub fn bounds(&self, arguments: &[Bounds]) -> Bounds {
        if std::ptr::eq(self, &MAGNITUDE) {
            let ends = Bounds::new(arguments[0].low.abs(), arguments[0].high.abs());
            return if arguments[0].contains(0.0) { Bounds { low: 0.0, ..ends } } else { ends };
        }
        let (least, most) = self.range;
        let low = self.extreme(arguments, false).map_or(least, |low| (low - SOLVED).max(least));
        let high = self.extreme(arguments, true).map_or(most, |high| (high + SOLVED).min(most));
        Bounds { low, high }
    }

    /// The greatest or the least result, if corners tell.
    fn extreme(&self, arguments: &[Bounds], greatest: bool) -> Option<f64> {
        let mut ends = [[0.0; 2]; Self::MOST_ARGUMENTS];
        for ((ends, parameter), argument) in ends.iter_mut().zip(self.parameters).zip(arguments) {
            let valid = Bounds { low: parameter.valid.0, high: parameter.valid.1 };
            let within = argument.overlap(valid)?;
            *ends = match parameter.effect {
                Raises if greatest => [within.high; 2],
                Raises => [within.low; 2],
                Lowers if greatest => [within.low; 2],
                Lowers => [within.high; 2],
                Either => [within.low, within.high],
                Unruly => return None,
            };
        }
        let corners = 1 << self.parameters.len();
        let results = (0..corners).map(|corner: usize| {
            let mut numbers = [0.0; Self::MOST_ARGUMENTS];
            numbers
                .iter_mut()
                .zip(ends)
                .enumerate()
                .for_each(|(place, (number, ends))| *number = ends[corner >> place & 1]);
            self.apply(&numbers[..self.parameters.len()])
        });
        let results: Option<Vec<f64>> = results.collect();
        results?.into_iter().reduce(if greatest { f64::max } else { f64::min })
    }
}

impl PartialEq for Function {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Numbers about what a parameter is valid for, and beyond.
    fn span(parameter: &Parameter) -> (f64, f64) {
        let (low, high) = (parameter.valid.0.max(-100.0), parameter.valid.1.min(1500.0));
        let margin = (high - low) / 10.0;
        (low - margin, high + margin)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]
        #[test]
        fn every_result_lies_within_its_bounds(
            ends in proptest::array::uniform4((0.0..=1.0f64, 0.0..=1.0f64)),
            shares in proptest::array::uniform4(0.0..=1.0f64),
        ) {
            for function in Function::all() {
                let (mut bounds, mut arguments) = (Vec::new(), Vec::new());
                for ((parameter, (from, to)), share) in function.parameters.iter().zip(ends).zip(shares) {
                    let (low, high) = span(parameter);
                    let of = |share: f64| low + (high - low) * share;
                    let within = Bounds::new(of(from), of(to));
                    bounds.push(within);
                    arguments.push((within.low + (within.high - within.low) * share).min(within.high));
                }
                let expected = function.bounds(&bounds);
                prop_assert!(expected.low <= expected.high, "{}: {expected:?}", function.name);
                if let Some(result) = function.apply(&arguments) {
                    prop_assert!(expected.contains(result), "{}{arguments:?}: {result} not in {expected:?}", function.name);
                }
            }
        }
    }

    #[test]
    fn every_name_finds_its_function_again() {
        for function in Function::all() {
            assert_eq!(Function::named(function.name), Some(function));
            assert!(function.parameters.len() <= Function::MOST_ARGUMENTS);
        }
        let mut names: Vec<&str> = Function::all().map(|function| function.name).collect();
        names.sort_unstable();
        assert!(names.windows(2).all(|pair| pair[0] != pair[1]), "{names:?}");
    }

    #[test]
    fn bounds_of_a_dew_point_are_sharp() {
        let dew = Function::named("dew_point").unwrap();
        let bounds = dew.bounds(&[Bounds::new(-10.0, 40.0), Bounds::new(0.0, 100.0)]);
        assert!((bounds.high - 40.0).abs() < 1e-5 && bounds.low == -45.0, "{bounds:?}");
    }

    #[test]
    fn units_and_results_are_known() {
        for function in Function::all() {
            let kinds = function.parameters.iter().map(|parameter| parameter.kind).chain([function.result]);
            for kind in kinds {
                if let Kind::In(unit) = kind {
                    assert!(crate::units::lookup(unit).is_some(), "{}: {unit}", function.name);
                }
            }
        }
    }
}
