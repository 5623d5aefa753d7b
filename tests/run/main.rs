//! The real program under the hands of its users and of everything that goes wrong: `sidelight run` against a real broker, real
//! files and real signals. (Promises: one picture everywhere; the file is the screen; it stays up.)
#![cfg(feature = "demo")]

mod door;
mod ending;
mod flood;
mod health;
mod kit;
mod past;
mod pictures;
mod power;
#[cfg(feature = "recording")]
mod recording;
mod refusals;
mod supervisor;
mod swap;
mod writer;
