//! The layout language: text in, a checked layout or a list of findings out.
//!
//! [`parse`] turns text into a [`syntax::Document`] and goes on after each mistake, so that one pass finds them all; [`check`]
//! turns the tree into a [`model::Layout`]. Every node keeps its [`Span`], to the end: the compiled element still knows its place
//! in the file.

mod allow;
mod check;
pub mod clock;
pub(crate) mod each;
mod finding;
pub mod format;
pub mod model;
mod nearest;
pub mod pages;
mod parser;
pub mod report;
pub mod sarif;
mod source;
pub mod syntax;
pub mod tokens;
pub mod words;

pub use allow::Allowances;
pub use check::check;
pub(crate) use check::say_once;
#[cfg(feature = "editor")]
pub use check::{CURVE, Declared, Means, declared, functions};
pub use finding::{Finding, Severity, has_errors};
pub use nearest::nearest;
pub use parser::{MAX_DEPTH, MAX_FINDINGS, MAX_OPERATORS, parse, parse_format};
pub use source::{MAX_BYTES, decode};
pub use syntax::Span;
