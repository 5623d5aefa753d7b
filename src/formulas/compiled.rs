//! A checked expression, compiled: names are places, units are already converted, and it only has to be computed.
//!
//! What enters are the numbers and states of readings and of values computed before; what leaves is a number with a state.
//! A condition is a number too, 1 where it holds and 0 where not.

use crate::readings::State;
use crate::units::Conversion;

use super::{Bounds, Curve, Function};

/// A number and whether it can be believed. Where the state is waiting or faulty, the number means nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evaluated {
    /// The number; 1 or 0 for a condition.
    pub number: f64,
    /// As bad as the worst input.
    pub state: State,
}

impl Evaluated {
    /// Nothing heard yet.
    pub const WAITING: Evaluated = Evaluated { number: 0.0, state: State::Waiting };

    /// A result that cannot be: not finite, or outside of a formula's validity.
    pub const FAULTY: Evaluated = Evaluated { number: 0.0, state: State::Faulty };

    /// A number that is as believable as `state`; faulty where it is not finite.
    pub fn new(number: f64, state: State) -> Self {
        if number.is_finite() { Self { number, state } } else { Self::FAULTY }
    }

    /// Whether there is a number at all.
    pub fn is_known(self) -> bool {
        self.state <= State::Stale
    }

    /// Whether this is a condition that holds by what is known.
    pub fn holds(self) -> bool {
        self.is_known() && self.number != 0.0
    }
}

/// An operation on two numbers or conditions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Operator {
    /// `a + b`
    Add,
    /// `a - b`
    Subtract,
    /// `a * b`
    Multiply,
    /// `a / b`
    Divide,
    /// `a < b`
    Less,
    /// `a <= b`
    LessOrEqual,
    /// `a == b`
    Equal,
    /// `a != b`
    NotEqual,
    /// `a and b`
    And,
    /// `a or b`
    Or,
}

/// A compiled expression.
#[derive(Clone, Debug, PartialEq)]
pub enum Compiled {
    /// A number from the layout file.
    Constant(f64),
    /// The reading with this index.
    Reading(usize),
    /// The value with this index.
    Value(usize),
    /// A number given in another unit.
    Convert(Box<Compiled>, Conversion),
    /// `not inner`.
    Not(Box<Compiled>),
    /// An operation on two operands.
    Binary(Operator, Box<Compiled>, Box<Compiled>),
    /// The second where the first holds, else the third.
    If(Box<[Compiled; 3]>),
    /// A point of a curve.
    Interpolate(Box<Compiled>, Curve),
    /// A formula.
    Call(&'static Function, Box<[Compiled]>),
}

impl Compiled {
    /// Computes the expression from the readings and from the values that were computed before it.
    ///
    /// Of a conditional only the branch taken counts as an input. A result that is not finite is faulty.
    pub fn evaluate(&self, readings: &[Evaluated], values: &[Evaluated]) -> Evaluated {
        match self {
            Compiled::Constant(number) => Evaluated { number: *number, state: State::Live },
            Compiled::Reading(index) => readings[*index],
            Compiled::Value(index) => values[*index],
            Compiled::Convert(inner, conversion) => {
                let inner = inner.evaluate(readings, values);
                Evaluated::new(conversion.apply(inner.number), inner.state).or_worse(inner.state)
            }
            Compiled::Not(inner) => {
                let inner = inner.evaluate(readings, values);
                Evaluated { number: f64::from(inner.number == 0.0), state: inner.state }
            }
            Compiled::Binary(operator, left, right) => {
                let (left, right) = (left.evaluate(readings, values), right.evaluate(readings, values));
                Evaluated::new(operator.apply(left.number, right.number), left.state.max(right.state))
                    .or_worse(left.state.max(right.state))
            }
            Compiled::If(parts) => {
                let [condition, then, otherwise] = parts.as_ref();
                let condition = condition.evaluate(readings, values);
                if !condition.is_known() {
                    return condition;
                }
                let taken = if condition.holds() { then } else { otherwise }.evaluate(readings, values);
                Evaluated { state: taken.state.max(condition.state), ..taken }
            }
            Compiled::Interpolate(inner, curve) => {
                let inner = inner.evaluate(readings, values);
                Evaluated::new(curve.at(inner.number), inner.state).or_worse(inner.state)
            }
            Compiled::Call(function, arguments) => {
                let mut numbers = [0.0; Function::MOST_ARGUMENTS];
                let mut state = State::Live;
                for (number, argument) in numbers.iter_mut().zip(arguments) {
                    let argument = argument.evaluate(readings, values);
                    *number = argument.number;
                    state = state.max(argument.state);
                }
                if state > State::Stale {
                    return Evaluated { number: 0.0, state };
                }
                function.apply(&numbers[..arguments.len()]).map_or(Evaluated::FAULTY, |n| Evaluated::new(n, state))
            }
        }
    }

    /// Bounds that hold every result, from the bounds of readings and values.
    pub fn bounds(&self, readings: &[Bounds], values: &[Bounds]) -> Bounds {
        match self {
            Compiled::Constant(number) => Bounds::exactly(*number),
            Compiled::Reading(index) => readings[*index],
            Compiled::Value(index) => values[*index],
            Compiled::Convert(inner, conversion) => inner.bounds(readings, values).converted(*conversion),
            Compiled::Not(_) => Bounds::TRUTH,
            Compiled::Binary(operator, left, right) => {
                let (left, right) = (left.bounds(readings, values), right.bounds(readings, values));
                match operator {
                    Operator::Add => left.plus(right),
                    Operator::Subtract => left.minus(right),
                    Operator::Multiply => left.times(right),
                    Operator::Divide => left.over(right),
                    _ => Bounds::TRUTH,
                }
            }
            Compiled::If(parts) => parts[1].bounds(readings, values).hull(parts[2].bounds(readings, values)),
            Compiled::Interpolate(inner, curve) => curve.bounds(inner.bounds(readings, values)),
            Compiled::Call(function, arguments) => {
                let arguments: Vec<Bounds> = arguments.iter().map(|a| a.bounds(readings, values)).collect();
                function.bounds(&arguments)
            }
        }
    }

    /// Calls `found` with the index of each reading that this expression looks at itself, and `through` with each value.
    pub fn inputs(&self, found: &mut dyn FnMut(usize), through: &mut dyn FnMut(usize)) {
        match self {
            Compiled::Constant(_) => {}
            Compiled::Reading(index) => found(*index),
            Compiled::Value(index) => through(*index),
            Compiled::Convert(inner, _) | Compiled::Not(inner) | Compiled::Interpolate(inner, _) => {
                inner.inputs(found, through)
            }
            Compiled::Binary(_, left, right) => {
                left.inputs(found, through);
                right.inputs(found, through);
            }
            Compiled::If(parts) => parts.iter().for_each(|part| part.inputs(found, through)),
            Compiled::Call(_, arguments) => arguments.iter().for_each(|argument| argument.inputs(found, through)),
        }
    }
}

impl Evaluated {
    /// The same, but at least as bad as `state`: where an input is unknown, an odd result of the arithmetic must not hide it.
    fn or_worse(self, state: State) -> Self {
        if state > State::Stale { Evaluated { number: 0.0, state } } else { self }
    }
}

impl Operator {
    fn apply(self, a: f64, b: f64) -> f64 {
        match self {
            Operator::Add => a + b,
            Operator::Subtract => a - b,
            Operator::Multiply => a * b,
            Operator::Divide => a / b,
            Operator::Less => f64::from(a < b),
            Operator::LessOrEqual => f64::from(a <= b),
            Operator::Equal => f64::from(a == b),
            Operator::NotEqual => f64::from(a != b),
            Operator::And => f64::from(a != 0.0 && b != 0.0),
            Operator::Or => f64::from(a != 0.0 || b != 0.0),
        }
    }
}
