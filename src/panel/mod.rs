//! The panel: fewest bytes that make the glass equal to a frame, on a real controller or on the emulated one.
//!
//! What enters are frames; what leaves are I2C writes through the `embedded-hal` traits. A frame goes through the [`Planner`],
//! which decides what to send, the [`Script`], which packs commands and data into writes, and the [`Driver`], which sends them
//! and knows what the glass holds. The [`EmulatedPanel`] reads those writes as the datasheets say, independent of the driver,
//! and [`FaultyBus`] puts every kind of bus trouble between the two. Nothing here draws, and nothing knows the time.

mod command;
mod controller;
mod driver;
mod emulated;
mod fault;
mod glass;
pub mod orbit;
pub mod plan;
pub mod wear;
mod wire;

pub use command::{Addressing, Command, DecodeError, Encoded};
pub use controller::{Controller, Setup, SetupError};
pub use driver::{Driver, Error};
pub use emulated::{Complaint, EmulatedPanel};
pub use fault::{Failure, FaultyBus, FaultyBusError};
pub use glass::{Glass, LEAST_ANGLE, PREFERRED_ANGLE};
pub use plan::{Pages, Planner, Windows};
pub use wire::{Script, Traffic};
