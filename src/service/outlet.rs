//! Ways to a glass: a panel on a Linux I2C bus, and the emulated panel.
//!
//! What enters is a size, and a bus after each update; what leaves are drivers, and what the emulated glass shows. A way is
//! opened again after trouble. Nothing here waits or retries.

use std::io;
use std::path::PathBuf;

use embedded_hal::i2c::I2c;

use crate::draw::Size;
use crate::panel::{Driver, Error, SetupError};

#[cfg(feature = "i2c")]
pub use device::Device;
#[cfg(feature = "pictures")]
pub use emulated::{Emulated, picture_file};

/// Why a frame did not reach a glass.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    /// The bus's device file cannot be opened.
    #[error(
        "cannot open {}: {problem}; check that the I2C bus is switched on and that this user may use it", device.display()
    )]
    Open {
        /// The device file.
        device: PathBuf,
        /// The system's words.
        problem: io::Error,
    },
    /// There is no such panel.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// The bus, or the panel on it.
    #[error(transparent)]
    Panel(#[from] Error),
    /// The emulated panel's picture cannot be kept.
    #[error("cannot write {}: {problem}; check that the folder exists and that this user may write in it", file.display())]
    Picture {
        /// The file.
        file: PathBuf,
        /// The system's words.
        problem: io::Error,
    },
}

/// A way to one glass, which can be opened again and again.
pub trait Outlet: Send + 'static {
    /// The bus that leads there.
    type Bus: I2c;

    /// Opens the way to a panel of this size, of which nothing is known.
    fn open(&mut self, size: Size) -> Result<Driver<Self::Bus>, Trouble>;

    /// Called after each update that went well.
    fn updated(&mut self, bus: &Self::Bus) -> Result<(), Trouble>;
}

#[cfg(feature = "i2c")]
mod device {
    use std::path::PathBuf;

    use super::{Driver, Outlet, Size, Trouble};
    use crate::panel::Setup;
    use crate::service::Bus;

    /// A panel on an I2C bus of this machine.
    #[derive(Debug)]
    pub struct Device {
        /// The bus's device file.
        pub device: PathBuf,
        /// The panel's 7-bit address.
        pub address: u8,
        /// What the panel is; the size is that of the frames.
        pub setup: Setup,
    }

    impl Outlet for Device {
        type Bus = Bus;

        fn open(&mut self, size: Size) -> Result<Driver<Bus>, Trouble> {
            let setup = Setup { size, ..self.setup };
            setup.check()?;
            let bus =
                Bus::open(&self.device).map_err(|problem| Trouble::Open { device: self.device.clone(), problem })?;
            Ok(Driver::new(bus, self.address, setup)?)
        }

        fn updated(&mut self, _bus: &Bus) -> Result<(), Trouble> {
            Ok(())
        }
    }
}

#[cfg(feature = "pictures")]
mod emulated {
    use std::path::{Path, PathBuf};

    use super::{Driver, Outlet, Size, Trouble, io};
    use crate::draw::{Frame, picture};
    use crate::panel::{EmulatedPanel, Setup};
    use crate::service::files::{Durability, replace, sweep};

    /// The address of an emulated panel, and the seed of the noise in its RAM: neither is to be seen from outside.
    const ADDRESS: u8 = 0x3c;
    const NOISE: u64 = 1;

    /// An emulated panel, whose glass is shown to `keep` each time it changes.
    #[derive(Debug)]
    pub struct Emulated<F> {
        /// What the panel is; the size is that of the frames.
        setup: Setup,
        keep: F,
        kept: Option<Frame>,
    }

    impl<F: FnMut(&Frame) -> Result<(), Trouble> + Send + 'static> Emulated<F> {
        /// A panel set up so. `keep` is called again with the same glass if it failed.
        pub fn new(setup: Setup, keep: F) -> Self {
            Self { setup, keep, kept: None }
        }
    }

    impl<F: FnMut(&Frame) -> Result<(), Trouble> + Send + 'static> Outlet for Emulated<F> {
        type Bus = EmulatedPanel;

        fn open(&mut self, size: Size) -> Result<Driver<EmulatedPanel>, Trouble> {
            let setup = Setup { size, ..self.setup };
            let panel = EmulatedPanel::new(setup.controller, size, ADDRESS, NOISE);
            Ok(Driver::new(panel, ADDRESS, setup)?)
        }

        fn updated(&mut self, bus: &EmulatedPanel) -> Result<(), Trouble> {
            let glass = bus.glass();
            if self.kept.as_ref() != Some(&glass) {
                (self.keep)(&glass)?;
                self.kept = Some(glass);
            }
            Ok(())
        }
    }

    /// Keeps a glass as PNG in `file`, a pixel for a pixel. Whoever reads the file finds the old picture or the new one,
    /// never half of one. What a killed writer of this file left beside it goes at once.
    pub fn picture_file(file: PathBuf) -> impl FnMut(&Frame) -> Result<(), Trouble> + Send + 'static {
        sweep(&file);
        move |glass| write(&file, glass).map_err(|problem| Trouble::Picture { file: file.clone(), problem })
    }

    fn write(file: &Path, glass: &Frame) -> io::Result<()> {
        let png = picture::png(glass, 1).map_err(io::Error::other)?;
        // The usual permissions of a new file.
        replace(file, &png, 0o666, Durability::Cached)
    }
}
