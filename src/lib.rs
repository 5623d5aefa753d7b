//! sidelight turns a small layout file into the picture on a one-bit panel beside a door, fed by MQTT readings.
//!
//! The crate is laid out in the order in which a reading travels, and data moves one way only:
//!
//! 1. [`feed`] holds the session with the broker and hands over each published message.
//! 2. [`readings`] picks a number out of the payload and knows whether it can be believed: waiting, live, stale or faulty.
//! 3. [`units`] and [`formulas`] convert numbers and derive further ones.
//! 4. [`language`] reads a layout file: text to syntax tree to checked meaning, with every mistake named by line and column.
//! 5. [`layout`] gives each element its pixels, proves that what it may show fits, and compiles the whole into a program that
//!    knows which element needs redrawing after which reading.
//! 6. [`faces`] supplies glyphs, and [`draw`] puts glyphs, bars and lines into a one-bit frame.
//! 7. [`panel`] sends the fewest bytes that make the glass equal to the frame, to a real controller or to the emulated one.
//!
//! Everything from `readings` to `panel` is pure: bytes and time come in as arguments, and nothing there touches a clock, a
//! file or a socket. The outer ring does: [`feed`], [`service`] (the event loop), [`scenes`] (pictures under review) and [`commands`]
//! (one file a verb).

// Whatever comes from outside is met with an error, never with a panic. Tests may panic; clippy.toml exempts them.
#![warn(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo, clippy::unimplemented)]

pub mod commands;
#[cfg(feature = "demo")]
pub mod demo;
mod digest;
pub mod draw;
#[cfg(feature = "editor")]
pub mod editor;
pub mod faces;
pub mod feed;
pub mod formulas;
pub mod language;
pub mod layout;
pub mod panel;
#[cfg(feature = "preview")]
pub mod preview;
pub mod readings;
#[cfg(feature = "recording")]
pub mod recording;
pub mod scenes;
mod seal;
pub mod service;
#[cfg(feature = "recording")]
pub mod survey;
pub mod units;
