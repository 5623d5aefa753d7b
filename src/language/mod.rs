//! The layout language: text in, a checked layout or a list of findings out.
//!
//! [`parse`] turns text into a [`syntax::Document`] and goes on after each mistake, so that one pass finds them all. Every node
//! keeps its [`Span`], to the end: the compiled element still knows its place in the file.

mod finding;
pub mod syntax;

pub use finding::{Finding, Severity};
pub use syntax::Span;
