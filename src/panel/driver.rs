//! The driver: makes the glass of one panel equal to a frame.
//!
//! What enters are frames and settings; what leaves are writes on a bus. It knows what the glass holds and sends only what
//! changed. After any failure on the bus it trusts nothing that it knew; it never retries and never waits by itself.

use embedded_hal::i2c::{Error as _, ErrorKind, I2c};
use thiserror::Error;

use super::{Command, Planner, Script, Setup, SetupError, Traffic};
use crate::draw::{Frame, Size};
use embedded_graphics_core::geometry::OriginDimensions;

/// Why a panel does not show what it was given.
#[derive(Debug, Error)]
pub enum Error {
    /// The bus reported a failure; the panel has to be initialised again.
    #[error(
        "panel at address {address:#04x} cannot be reached ({detail}); check its wiring, its supply and the address"
    )]
    Bus {
        /// Address of the panel.
        address: u8,
        /// The kind of failure, common to all buses.
        kind: ErrorKind,
        /// What the bus itself said.
        detail: String,
    },
    /// The panel was never initialised, or something failed since.
    #[error("panel at address {address:#04x} is not initialised; initialise it first")]
    NotInitialised {
        /// Address of the panel.
        address: u8,
    },
    /// The frame is for another panel.
    #[error(
        "frame of {}x{} pixels does not fit the panel of {}x{}; draw it in the size of the panel",
        given.width, given.height, wanted.width, wanted.height
    )]
    FrameSize {
        /// Size of the frame.
        given: Size,
        /// Size of the panel.
        wanted: Size,
    },
}

/// What is known of the panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Trust {
    /// Nothing: never initialised, or a failure since.
    Nothing,
    /// The registers are set, the RAM holds anything, the display is off.
    Registers,
    /// Registers and RAM.
    Everything,
}

/// A panel at an address of a bus.
#[derive(Debug)]
pub struct Driver<B> {
    bus: B,
    address: u8,
    setup: Setup,
    on: bool,
    trust: Trust,
    glass: Vec<u8>,
    planner: Planner,
    script: Script,
    buffer: Vec<u8>,
}

impl<B: I2c> Driver<B> {
    /// A driver for the panel at the 7-bit `address` (usually 0x3c, else 0x3d); sends nothing yet.
    pub fn new(bus: B, address: u8, setup: Setup) -> Result<Self, SetupError> {
        setup.check()?;
        let Size { width, height } = setup.size;
        let pages = height.div_ceil(8);
        let bytes = (width * pages) as usize;
        Ok(Self {
            bus,
            address,
            setup,
            on: true,
            trust: Trust::Nothing,
            glass: vec![0; bytes],
            planner: Planner::new(setup.controller, width, pages),
            script: Script::default(),
            buffer: Vec::new(),
        })
    }

    /// Whether the panel has to be initialised before it can show anything.
    pub fn needs_initialising(&self) -> bool {
        self.trust == Trust::Nothing
    }

    /// The setup, with contrast and inversion as last set.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// The bus, for a look at an emulated one.
    pub fn bus(&self) -> &B {
        &self.bus
    }

    /// The bus, to change its state in tests and simulation.
    pub fn bus_mut(&mut self) -> &mut B {
        &mut self.bus
    }

    /// Trusts nothing any more, so that the panel will be initialised and drawn from scratch.
    pub fn forget(&mut self) {
        self.trust = Trust::Nothing;
        self.planner.forget();
    }

    /// Sets up the controller, whatever state it is in. The display goes off until the first frame is in its RAM.
    pub fn initialise(&mut self) -> Result<Traffic, Error> {
        self.set_up(|_| true)
    }

    /// Makes the glass equal to the frame and sends all that the panel may have lost unnoticed: its registers, the whole frame and
    /// whether it is on. What can be seen stays to be seen meanwhile.
    ///
    /// A panel whose supply was interrupted, or that missed a byte, still acknowledges every byte.
    pub fn refresh(&mut self, frame: &Frame) -> Result<Traffic, Error> {
        if self.trust != Trust::Everything || frame.size() != self.setup.size {
            return self.show(frame);
        }
        let on = self.on;
        let mut traffic = self.set_up(|command| !(on && command == Command::Display(false)))?;
        traffic.add(self.show(frame)?);
        Ok(traffic)
    }

    /// Sends the commands of the initialisation that are `wanted`.
    fn set_up(&mut self, wanted: impl Fn(Command) -> bool) -> Result<Traffic, Error> {
        self.forget();
        let mut traffic = Traffic::default();
        let longest = self.longest_write();
        let commands = self.setup.initialisation();
        self.script.clear();
        for command in commands.filter(|command| wanted(*command)) {
            // A write that holds commands begins with a control byte.
            if 1 + self.script.len() + command.encode().len() > longest {
                traffic.add(self.send()?);
                self.script.clear();
            }
            self.script.command(command);
        }
        traffic.add(self.send()?);
        self.trust = Trust::Registers;
        Ok(traffic)
    }

    /// Makes the glass equal to the frame. Sends only what differs; the first frame after [`Driver::initialise`] is sent whole
    /// and the display is switched on after it (unless [`Driver::set_on`] said otherwise).
    pub fn show(&mut self, frame: &Frame) -> Result<Traffic, Error> {
        if frame.size() != self.setup.size {
            return Err(Error::FrameSize { given: frame.size(), wanted: self.setup.size });
        }
        let known = match self.trust {
            Trust::Nothing => return Err(Error::NotInitialised { address: self.address }),
            Trust::Registers => None,
            Trust::Everything => Some(&self.glass[..]),
        };
        self.planner.plan(known, frame.bytes(), &mut self.script);
        let mut traffic = self.send()?;
        if self.trust == Trust::Registers && self.on {
            traffic.add(self.send_command(Command::Display(true))?);
        }
        self.glass.copy_from_slice(frame.bytes());
        self.trust = Trust::Everything;
        Ok(traffic)
    }

    /// Shows a dark frame. The panel itself stays on; [`Driver::set_on`] puts it to sleep.
    pub fn blank(&mut self) -> Result<Traffic, Error> {
        self.show(&Frame::new(self.setup.size))
    }

    /// Sets the current of the segments, 0…255; kept for the next initialisation if the panel has to be initialised.
    pub fn set_contrast(&mut self, contrast: u8) -> Result<Traffic, Error> {
        if contrast == self.setup.contrast {
            return Ok(Traffic::default());
        }
        self.setup.contrast = contrast;
        self.send_setting(Command::Contrast(contrast))
    }

    /// Shows dark on light; kept for the next initialisation if the panel has to be initialised.
    pub fn set_inverted(&mut self, inverted: bool) -> Result<Traffic, Error> {
        if inverted == self.setup.inverted {
            return Ok(Traffic::default());
        }
        self.setup.inverted = inverted;
        self.send_setting(Command::Inverted(inverted))
    }

    /// Switches the display on, or off, which saves it from wear; frames may still be sent. Before the first frame after an
    /// initialisation this is kept until that frame is in.
    pub fn set_on(&mut self, on: bool) -> Result<Traffic, Error> {
        if on == self.on {
            return Ok(Traffic::default());
        }
        self.on = on;
        if self.trust == Trust::Everything { self.send_command(Command::Display(on)) } else { Ok(Traffic::default()) }
    }

    fn send_setting(&mut self, command: Command) -> Result<Traffic, Error> {
        if self.needs_initialising() { Ok(Traffic::default()) } else { self.send_command(command) }
    }

    fn send_command(&mut self, command: Command) -> Result<Traffic, Error> {
        self.script.clear();
        self.script.command(command);
        self.send()
    }

    fn longest_write(&self) -> usize {
        self.setup.longest_write.max(Setup::SHORTEST_WRITE)
    }

    fn send(&mut self) -> Result<Traffic, Error> {
        let (longest, address, bus) = (self.longest_write(), self.address, &mut self.bus);
        let sent = self.script.transmit(longest, &mut self.buffer, |bytes| bus.write(address, bytes));
        sent.map_err(|error| {
            self.forget();
            Error::Bus { address, kind: error.kind(), detail: format!("{error:?}") }
        })
    }
}
