//! What is computed from readings: compiled expressions and the formulas that they may call.
//!
//! What enters are numbers with their states; what leaves is a number that is as bad as its worst input. One file a field of
//! knowledge, the source beside each formula; outside of its validity a formula gives nothing, and the result is faulty. All
//! functions of a curve come from `libm`, so that every machine gives the same bits.

mod bounds;
mod compiled;
mod curve;
mod function;
pub mod heat;
pub mod moist_air;
pub mod moon;
mod observed;
pub mod pressure;
#[cfg(test)]
mod reference;
pub mod sun;
pub mod tendency;
pub mod wet_bulb;

pub use bounds::Bounds;
pub use compiled::{Compiled, Evaluated, Given, Input, Known, Limits, Operator};
pub use curve::Curve;
pub use function::{Function, Kind, Parameter};
pub use observed::{
    Deadline, LONGEST, Look, MOST_REJECTS, MOST_UNTIL, Observed, Source, SunEvent, TimeStyle, rounded, step,
};
