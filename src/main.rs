//! The `sidelight` program.

fn main() {}
