//! The real program and what may happen between it and its readings: brokers that die, change their mind or flood, networks that cut,
//! split, delay and go silent, names that come late. (Promise: it stays up.)
//!
//! Longer than in a plain `cargo test`: `SIDELIGHT_RESTARTS=500`, `SIDELIGHT_FLOOD_SECONDS=60`; `SIDELIGHT_SEED` repeats what was left
//! to chance.
#![cfg(feature = "demo")]

mod brokers;
mod floods;
mod hosts;
#[allow(dead_code)]
#[path = "../run/kit.rs"]
mod kit;
mod proxy;
mod restarts;
mod scripted;
mod second;
