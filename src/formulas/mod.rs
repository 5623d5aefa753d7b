//! Formulas that derive one quantity from others: a file a field, with source and range of validity beside each.
//!
//! Numbers enter in the units that each function names, a number leaves, or `None` where the formula does not hold. All functions
//! of a curve come from `libm`, so that every machine gives the same bits.

pub mod moist_air;
