//! The service: keeps the glass of one or more panels equal to what the broker publishes, for years.
//!
//! What enters are an installation (broker, panels, layout files), messages, time, file changes and signals; what leaves are
//! frames on buses, and what happened, told to a [`Witness`]. It never decides what a picture looks like: a [`Pane`] holds the
//! pure part, readings and renderer, and everything here that touches the clock, files or threads lies around it.

mod clock;
mod config;
mod files;
mod installation;
mod load;
mod log;
mod notices;
mod outlet;
mod pane;
mod past;
mod place;
mod source;
mod throttle;
mod turns;
mod watch;
mod witness;
mod writer;

pub use config::{Config, ConfigError};
pub use files::{Durability, Unreadable, read_start, replace};
pub use installation::{Broker, Installation, InstallationError, Panel};

pub use load::{Loaded, Understood, compile, load, read_font, understand};
pub use log::Log;
pub use notices::{Notice, Notices};
#[cfg(feature = "i2c")]
pub use outlet::Device;
#[cfg(feature = "pictures")]
pub use outlet::{Emulated, picture_file};
pub use outlet::{Outlet, Trouble};
pub use pane::Pane;
pub use past::PastError;
pub use place::{Place, PlaceError};
pub use source::Source;
pub use turns::{Ending, Service, ServiceError, Show};
pub use witness::{Happening, Witness};
pub use writer::{AtExit, Writer};
