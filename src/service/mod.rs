//! The service: keeps the glass of one or more panels equal to what the broker publishes, for years.
//!
//! What enters are an installation (broker, panels, layout files), messages, time, file changes and signals; what leaves are
//! frames on buses, and what happened, told to a [`Witness`]. It never decides what a picture looks like: a [`Pane`] holds the
//! pure part, readings and renderer, and everything here that touches the clock, files or threads lies around it.

#[cfg(feature = "i2c")]
mod bus;
#[cfg(feature = "i2c")]
pub mod buses;
mod clock;
mod config;
mod door;
mod files;
mod health;
mod installation;
mod ledger;
mod load;
mod log;
mod notices;
mod outlet;
mod pane;
mod past;
mod place;
mod reports;
mod schedule;
mod source;
mod supervisor;
mod tally;
#[cfg(any(feature = "demo", feature = "preview", feature = "recording"))]
mod terminal;
mod throttle;
mod turns;
mod unit;
mod upkeep;
mod watch;
mod witness;
mod writer;

#[cfg(feature = "i2c")]
pub use bus::{Bus, BusError};
#[cfg(feature = "preview")]
pub(crate) use clock::Clock;
pub use config::{Config, ConfigError};
#[cfg(feature = "publish")]
pub use door::PrivateKey;
pub use door::{
    Answer, Door, DoorPlate, DoorTopics, KeyError, LARGEST_ANSWER, PublicKey, Refusal, SignatureError, Verdict,
};
pub use files::{Durability, Unreadable, read_start, replace};
pub use health::{
    Health, HealthTopics, LARGEST_DOCUMENT, LayoutHealth, LinkHealth, PanelHealth, ReadingHealth, Rejected,
    open_metrics,
};
pub use installation::{Broker, Installation, InstallationError, Panel};
pub use ledger::Ledger;
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
pub use reports::{Loopback, LoopbackError, PageError, Reporting, Reports};
pub use schedule::{Refresh, RefreshError, Schedule, Task};
pub use source::Source;
pub use supervisor::Supervisor;
pub use tally::{Standing, Tally};
#[cfg(any(feature = "demo", feature = "preview", feature = "recording"))]
pub use terminal::{LEAVE, Terminal};
pub use turns::{Ending, Service, ServiceError, Show};
pub use unit::{Unit, UnitError};
pub use upkeep::Upkeep;
#[cfg(feature = "preview")]
pub(crate) use watch::Watch;
pub use witness::{Happening, Witness};
pub use writer::{AtExit, Writer};
