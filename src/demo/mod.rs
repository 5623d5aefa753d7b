//! The demo: a broker and invented sensors in this process, so that everything can be tried without any hardware.
//!
//! What enters is a seed and the time; what leaves are messages over real sockets on loopback, and a panel's glass in the
//! terminal. The sensors are invented, and so is the cheese cellar they stand in: none of it is measured.

mod broker;
mod cellar;
mod publisher;
mod stage;

pub use broker::{Broker, BrokerError, LOG_TARGET};
pub use cellar::{Cellar, Publication};
pub use publisher::Publisher;
pub use stage::{Stage, Story};

/// The layout that the demo shows unless it is given another.
pub const LAYOUT: &str = include_str!("../../layouts/demo.layout");
