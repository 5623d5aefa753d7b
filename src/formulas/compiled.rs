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

/// What an expression looks at: of readings, of what is observed of them, and of values computed before.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a, T> {
    /// By [`Compiled::Reading`].
    pub readings: &'a [T],
    /// By [`Compiled::Observed`].
    pub observed: &'a [T],
    /// By [`Compiled::Value`].
    pub values: &'a [T],
}

/// Numbers with their states, to compute with.
pub type Given<'a> = Known<'a, Evaluated>;
/// Bounds, to prove with.
pub type Limits<'a> = Known<'a, Bounds>;

/// One thing that an expression looks at itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input {
    /// The reading with this index.
    Reading(usize),
    /// The observation with this index.
    Observed(usize),
    /// The value with this index.
    Value(usize),
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
    /// The observation with this index.
    Observed(usize),
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
    pub fn evaluate(&self, given: &Given<'_>) -> Evaluated {
        match self {
            Compiled::Constant(number) => Evaluated { number: *number, state: State::Live },
            Compiled::Reading(index) => given.readings[*index],
            Compiled::Observed(index) => given.observed[*index],
            Compiled::Value(index) => given.values[*index],
            Compiled::Convert(inner, conversion) => {
                let inner = inner.evaluate(given);
                Evaluated::new(conversion.apply(inner.number), inner.state).or_worse(inner.state)
            }
            Compiled::Not(inner) => {
                let inner = inner.evaluate(given);
                Evaluated { number: f64::from(inner.number == 0.0), state: inner.state }
            }
            Compiled::Binary(operator, left, right) => {
                let (left, right) = (left.evaluate(given), right.evaluate(given));
                Evaluated::new(operator.apply(left.number, right.number), left.state.max(right.state))
                    .or_worse(left.state.max(right.state))
            }
            Compiled::If(parts) => {
                let [condition, then, otherwise] = parts.as_ref();
                let condition = condition.evaluate(given);
                if !condition.is_known() {
                    return condition;
                }
                let taken = if condition.holds() { then } else { otherwise }.evaluate(given);
                Evaluated { state: taken.state.max(condition.state), ..taken }
            }
            Compiled::Interpolate(inner, curve) => {
                let inner = inner.evaluate(given);
                Evaluated::new(curve.at(inner.number), inner.state).or_worse(inner.state)
            }
            Compiled::Call(function, arguments) => {
                let mut numbers = [0.0; Function::MOST_ARGUMENTS];
                let mut state = State::Live;
                for (number, argument) in numbers.iter_mut().zip(arguments) {
                    let argument = argument.evaluate(given);
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

    /// Bounds that hold every result, from the bounds of what it looks at.
    pub fn bounds(&self, limits: &Limits<'_>) -> Bounds {
        match self {
            Compiled::Constant(number) => Bounds::exactly(*number),
            Compiled::Reading(index) => limits.readings[*index],
            Compiled::Observed(index) => limits.observed[*index],
            Compiled::Value(index) => limits.values[*index],
            Compiled::Convert(inner, conversion) => inner.bounds(limits).converted(*conversion),
            Compiled::Not(_) => Bounds::TRUTH,
            Compiled::Binary(operator, left, right) => {
                let (left, right) = (left.bounds(limits), right.bounds(limits));
                match operator {
                    Operator::Add => left.plus(right),
                    Operator::Subtract => left.minus(right),
                    Operator::Multiply => left.times(right),
                    Operator::Divide => left.over(right),
                    _ => Bounds::TRUTH,
                }
            }
            Compiled::If(parts) => parts[1].bounds(limits).hull(parts[2].bounds(limits)),
            Compiled::Interpolate(inner, curve) => curve.bounds(inner.bounds(limits)),
            Compiled::Call(function, arguments) => {
                let arguments: Vec<Bounds> = arguments.iter().map(|a| a.bounds(limits)).collect();
                function.bounds(&arguments)
            }
        }
    }

    /// Calls `found` with each thing that this expression looks at itself.
    pub fn inputs(&self, found: &mut dyn FnMut(Input)) {
        match self {
            Compiled::Constant(_) => {}
            Compiled::Reading(index) => found(Input::Reading(*index)),
            Compiled::Observed(index) => found(Input::Observed(*index)),
            Compiled::Value(index) => found(Input::Value(*index)),
            Compiled::Convert(inner, _) | Compiled::Not(inner) | Compiled::Interpolate(inner, _) => inner.inputs(found),
            Compiled::Binary(_, left, right) => {
                left.inputs(found);
                right.inputs(found);
            }
            Compiled::If(parts) => parts.iter().for_each(|part| part.inputs(found)),
            Compiled::Call(_, arguments) => arguments.iter().for_each(|argument| argument.inputs(found)),
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
