//! What belongs to an installation and never to a layout: the broker, and the panels with the layouts they show.
//!
//! What enters are flags or a configuration file, already read; what leaves are settings of a session and running writers.
//! Password and certificate files are read here, and what is in them goes nowhere else.

use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use tracing::warn;

use super::door::{Door, DoorPlate, KeyError, PublicKey};
use super::files::{Unreadable, read_start};
use super::ledger::Ledger;
use super::place::Place;
use super::reports::Reporting;
use super::schedule::Refresh;
use super::writer::{AtExit, Writer};
use crate::draw::Size;
use crate::feed::{BrokerUrl, Delivery, Protocol, Secret, Settings};
use crate::panel::{Controller, Setup, SetupError};

/// More than this is read of no password file and no certificate file.
const MOST_BYTES: usize = 4 << 20;

/// The broker, and the panels.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Installation {
    /// Where the readings come from.
    pub broker: Broker,
    /// Where the pictures go.
    pub panels: Vec<Panel>,
    /// The file that keeps the past of readings while nothing runs.
    pub state: Option<PathBuf>,
    /// What it tells about itself.
    pub reporting: Reporting,
    /// The door that it is, if its layout may come from the broker.
    pub door: Option<DoorPlate>,
}

/// The broker and how to speak with it; files are named, not yet read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Broker {
    /// Where it is.
    pub url: BrokerUrl,
    /// The user name.
    pub user: Option<String>,
    /// The file with the password.
    pub password_file: Option<PathBuf>,
    /// The client id; a random one if none is given.
    pub client_id: Option<String>,
    /// The version of MQTT.
    pub protocol: Protocol,
    /// The quality of service.
    pub delivery: Delivery,
    /// The keep-alive in seconds.
    pub keep_alive: Option<u16>,
    /// The file with PEM certificates of the authorities to trust.
    pub ca_file: Option<PathBuf>,
}

/// A panel and what it shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Panel {
    /// Where it is.
    pub place: Place,
    /// The layout file.
    pub layout: PathBuf,
    /// Upside down.
    pub rotated: bool,
    /// Dark on light.
    pub inverted: bool,
    /// Current of the segments, 0…255; as after reset if not given.
    pub contrast: Option<u8>,
    /// What it shows after the end.
    pub at_exit: AtExit,
    /// How often it is sent again what it may have lost unnoticed; an emulated one loses nothing.
    pub refresh: Refresh,
    /// The file in which its wear is kept, if it is.
    pub wear: Option<PathBuf>,
}

/// Why an installation cannot work.
#[derive(Debug, thiserror::Error)]
pub enum InstallationError {
    /// A file that is named cannot be read.
    #[error("cannot read the {what} {}: {problem}", file.display())]
    Read {
        /// What the file is for.
        what: &'static str,
        /// The file.
        file: PathBuf,
        /// The system's words.
        problem: io::Error,
    },
    /// A password file without text.
    #[error("the password file {} is no text in UTF-8", file.display())]
    NoText {
        /// The file.
        file: PathBuf,
    },
    /// There is no such panel.
    #[error("{place}: {problem}")]
    Setup {
        /// The panel.
        place: Place,
        /// Why not.
        problem: SetupError,
    },
    /// This program was built without what the panel needs.
    #[error("{place}: this build has no {what}; build it with the feature `{feature}`")]
    NotBuilt {
        /// The panel.
        place: Place,
        /// What is missing.
        what: &'static str,
        /// The feature that has it.
        feature: &'static str,
    },
    /// Two panels at one place.
    #[error("{place} is given twice; each panel needs a place of its own")]
    Twice {
        /// The place.
        place: Place,
    },
    /// Several layouts, of which a message could not say which it is.
    #[error(
        "a door takes one layout from the broker, and this installation has {layouts}: give all panels the same one, or run an installation for each"
    )]
    Layouts {
        /// How many.
        layouts: usize,
    },
    /// A key file without a key.
    #[error("the key file {}: {problem}", file.display())]
    Key {
        /// The file.
        file: PathBuf,
        /// Why not.
        problem: KeyError,
    },
    /// No thread for a panel.
    #[error("{place}: the system gives no thread for it: {problem}")]
    Thread {
        /// The panel.
        place: Place,
        /// The system's words.
        problem: io::Error,
    },
}

impl Installation {
    /// Whether every panel has a place of its own, and a door has one layout.
    pub fn check(&self) -> Result<(), InstallationError> {
        for (number, panel) in self.panels.iter().enumerate() {
            if self.panels[..number].iter().any(|other| other.place.same(&panel.place)) {
                return Err(InstallationError::Twice { place: panel.place.clone() });
            }
        }
        let mut layouts: Vec<&Path> = self.panels.iter().map(|panel| panel.layout.as_path()).collect();
        layouts.sort();
        layouts.dedup();
        match layouts.len() {
            layouts if layouts > 1 && self.door.is_some() => Err(InstallationError::Layouts { layouts }),
            _ => Ok(()),
        }
    }
}

impl DoorPlate {
    /// The door; reads the key that is named.
    pub fn door(&self) -> Result<Door, InstallationError> {
        let key = self.signed_by.as_ref().map(|file| {
            let pem = read("key file", file)?;
            PublicKey::from_pem(&pem).map_err(|problem| InstallationError::Key { file: file.clone(), problem })
        });
        Ok(Door::new(self.topics.clone(), key.transpose()?))
    }
}

impl Broker {
    /// A broker with everything but its address left to the defaults.
    pub fn at(url: BrokerUrl) -> Self {
        Self {
            url,
            user: None,
            password_file: None,
            client_id: None,
            protocol: Protocol::default(),
            delivery: Delivery::default(),
            keep_alive: None,
            ca_file: None,
        }
    }

    /// The settings of a session; reads the files that are named.
    pub fn settings(&self, random: &mut fastrand::Rng) -> Result<Settings, InstallationError> {
        let mut settings = Settings::new(self.url.clone(), random);
        settings.user = self.user.clone();
        settings.protocol = self.protocol;
        settings.delivery = self.delivery;
        if let Some(id) = &self.client_id {
            settings.client_id = id.clone();
        }
        if let Some(seconds) = self.keep_alive {
            settings.keep_alive = seconds;
        }
        if let Some(file) = &self.password_file {
            let bytes = read("password file", file)?;
            let text = String::from_utf8(bytes).map_err(|_| InstallationError::NoText { file: file.clone() })?;
            settings.password = Some(Secret::new(&text));
            if std::fs::metadata(file).is_ok_and(|about| about.permissions().mode() & 0o004 != 0) {
                warn!(
                    "everybody on this machine can read the password file {0}; `chmod o-rwx {0}` ends that",
                    file.display()
                );
            }
        }
        if let Some(file) = &self.ca_file {
            settings.authorities = Some(read("certificate file", file)?);
        }
        Ok(settings)
    }
}

fn read(what: &'static str, file: &Path) -> Result<Vec<u8>, InstallationError> {
    read_start(file, MOST_BYTES).map_err(|Unreadable { path: file, problem }| InstallationError::Read {
        what,
        file,
        problem,
    })
}

impl Panel {
    /// A panel with everything but its place and its layout left to the defaults.
    pub fn new(place: Place, layout: PathBuf) -> Self {
        Self {
            place,
            layout,
            rotated: false,
            inverted: false,
            contrast: None,
            at_exit: AtExit::default(),
            refresh: Refresh::default(),
            wear: None,
        }
    }

    /// How the panel is set up for pictures of this size.
    pub fn setup(&self, size: Size) -> Result<Setup, InstallationError> {
        let controller = match &self.place {
            Place::Bus { controller, .. } => *controller,
            Place::Picture { .. } => Controller::Ssd1306,
        };
        let mut setup = Setup::new(controller, size);
        setup.rotated = self.rotated;
        setup.inverted = self.inverted;
        setup.contrast = self.contrast.unwrap_or(setup.contrast);
        setup.check().map_err(|problem| InstallationError::Setup { place: self.place.clone(), problem })?;
        Ok(setup)
    }

    /// Starts the panel's writer.
    #[cfg_attr(not(any(feature = "i2c", feature = "pictures")), expect(unused_variables))]
    pub fn start(&self, setup: Setup) -> Result<Writer, InstallationError> {
        match &self.place {
            #[cfg(feature = "i2c")]
            Place::Bus { device, address, .. } => {
                self.start_with(setup, super::Device { device: device.clone(), address: *address, setup })
            }
            #[cfg(not(feature = "i2c"))]
            Place::Bus { .. } => Err(self.not_built("I2C", "i2c")),
            #[cfg(feature = "pictures")]
            Place::Picture { file } => {
                self.start_with(setup, super::Emulated::new(setup, super::picture_file(file.clone())))
            }
            #[cfg(not(feature = "pictures"))]
            Place::Picture { .. } => Err(self.not_built("picture files", "pictures")),
        }
    }

    #[cfg(any(feature = "i2c", feature = "pictures"))]
    fn start_with(&self, setup: Setup, outlet: impl super::Outlet) -> Result<Writer, InstallationError> {
        let refresh = if matches!(self.place, Place::Picture { .. }) { Refresh::NEVER } else { self.refresh };
        Writer::start(self.place.to_string(), setup, outlet, self.at_exit, refresh, self.wear.clone().map(Ledger::new))
            .map_err(|problem| InstallationError::Thread { place: self.place.clone(), problem })
    }

    #[cfg(not(all(feature = "i2c", feature = "pictures")))]
    fn not_built(&self, what: &'static str, feature: &'static str) -> InstallationError {
        InstallationError::NotBuilt { place: self.place.clone(), what, feature }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn panel(place: &str) -> Panel {
        Panel::new(place.parse().unwrap(), "door.layout".into())
    }

    #[test]
    fn a_place_cannot_be_given_twice() {
        let broker = Broker::at("mqtt://127.0.0.1".parse().unwrap());
        let check = |places: &[&str]| {
            let panels = places.iter().map(|place| panel(place)).collect();
            Installation { broker: broker.clone(), panels, state: None, reporting: Reporting::default(), door: None }
                .check()
                .map_err(|error| error.to_string())
        };
        assert_eq!(check(&["ssd1306:/dev/i2c-1:0x3c", "ssd1306:/dev/i2c-1:0x3d", "ssd1306:/dev/i2c-0:0x3c"]), Ok(()));
        let twice = "sh1106:/dev/i2c-1:0x3c is given twice; each panel needs a place of its own";
        assert_eq!(check(&["ssd1306:/dev/i2c-1:0x3c", "sh1106:/dev/i2c-1:60"]), Err(twice.into()));
    }

    #[test]
    fn a_panel_that_there_is_not_is_refused() {
        let error = panel("sh1106:/dev/i2c-1").setup(Size::new(128, 32)).unwrap_err().to_string();
        assert_eq!(error, "sh1106:/dev/i2c-1:0x3c: SH1106 panels of 128x32 are not supported; use 128x64");
        assert!(panel("ssd1306:/dev/i2c-1").setup(Size::new(128, 32)).is_ok());
    }

    #[test]
    fn files_that_cannot_be_read_are_named() {
        let mut broker = Broker::at("mqtt://127.0.0.1".parse().unwrap());
        broker.password_file = Some("/nowhere/password".into());
        let error = broker.settings(&mut fastrand::Rng::with_seed(1)).unwrap_err().to_string();
        assert!(error.starts_with("cannot read the password file /nowhere/password: "), "{error}");
    }
}
