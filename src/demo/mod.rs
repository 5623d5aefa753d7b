//! The demo: a broker and invented sensors in this process, so that everything can be tried without any hardware.
//!
//! What enters is a seed and the time; what leaves are messages over real sockets on loopback. The sensors are invented, and
//! so is the cheese cellar they stand in: none of it is measured.

mod broker;
mod cellar;
mod publisher;

pub use broker::{Broker, BrokerError, LOG_TARGET};
pub use cellar::{Cellar, Publication};
pub use publisher::Publisher;
