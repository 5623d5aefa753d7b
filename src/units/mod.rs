//! Units of measure: what a written unit means, which units go together, and exact conversion between them.
//!
//! What enters are units as people write them, SenML names (RFC 8428, RFC 8798) and UCUM codes; what leaves are [`Unit`]s,
//! [`Conversion`]s and the unit of a sum, difference, product or quotient. A number is never relabelled: where two units do not
//! measure the same thing there is no conversion, and the caller gets a [`Mismatch`] that says why.

mod algebra;
mod convert;
mod dimension;
mod lookup;
mod ratio;
#[cfg(test)]
mod reference;
pub mod span;
mod table;
mod unit;

pub use algebra::{Mismatch, Product, Sum, add, compare, divide, multiply, subtract};
pub use convert::{Conversion, conversion, convert};
pub use dimension::Dimension;
#[cfg(feature = "editor")]
pub use lookup::written;
pub use lookup::{lookup, lookup_senml, nearest};
pub use unit::{Unit, difference_of};
