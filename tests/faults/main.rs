//! Faults on the bus and of the panel, at every byte: through the real upkeep, schedule and driver to the emulated panel, in virtual
//! time. (Promise: it stays up.)
//!
//! Two seconds after the end of a fault that can be noticed, the glass equals the frame; a fault that cannot is healed by the next
//! refresh. Nothing crashes, and nothing is retried at full speed. Each test prints how many sessions it ran.
//!
//! `SIDELIGHT_FAULTS=all` has pairs of faults tried exhaustively, `SIDELIGHT_SEED` repeats a sample of them.

mod pairs;
#[allow(dead_code, reason = "restarts are for tests/years")]
mod rig;
mod single;
