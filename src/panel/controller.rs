//! The controllers this program drives, and how a panel with one of them is set up.
//!
//! What enters is the choice of controller, size, orientation and brightness; what leaves is the list of commands that
//! brings a panel from any state to a known one. Nothing here touches a bus.

use std::fmt;

use thiserror::Error;

use super::{Addressing, Command};
use crate::draw::Size;

/// The chip on the panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Controller {
    /// Solomon Systech SSD1306: 128 columns of RAM, windows.
    Ssd1306,
    /// Sino Wealth SH1106: 132 columns of RAM, page addressing only; a glass of 128 columns begins at column 2 (from memory).
    Sh1106,
}

impl Controller {
    /// Columns of RAM.
    pub const fn ram_columns(self) -> u32 {
        match self {
            Controller::Ssd1306 => 128,
            Controller::Sh1106 => 132,
        }
    }

    /// The 7-bit addresses that a panel can be wired to, the usual one first.
    pub const ADDRESSES: [u8; 2] = [0x3c, 0x3d];

    /// Pages of RAM, eight rows each.
    pub const RAM_PAGES: u32 = 8;

    /// The column of RAM that the left edge of the glass shows.
    pub const fn column_offset(self) -> u32 {
        match self {
            Controller::Ssd1306 => 0,
            Controller::Sh1106 => 2,
        }
    }
}

impl fmt::Display for Controller {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Controller::Ssd1306 => "SSD1306",
            Controller::Sh1106 => "SH1106",
        })
    }
}

/// What a panel is and how it shall look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setup {
    /// The chip on the panel.
    pub controller: Controller,
    /// Width and height of the glass in pixels: 128x32 or 128x64, and only 128x64 with an SH1106.
    pub size: Size,
    /// Upside down, done by the controller (segment remap and scan direction).
    pub rotated: bool,
    /// Current of the segments, 0…255.
    pub contrast: u8,
    /// Dark on light.
    pub inverted: bool,
    /// Most bytes in one write, not counting the address; at least [`Setup::SHORTEST_WRITE`] is used.
    ///
    /// Linux takes 8192 bytes a message; small adapters take less. An update that is cut costs two bytes more for each cut.
    pub longest_write: usize,
}

/// Why a setup cannot be driven.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum SetupError {
    /// No panel of this size with this controller.
    #[error("{controller} panels of {width}x{height} are not supported; use {supported}")]
    Size {
        /// The controller asked for.
        controller: Controller,
        /// Width asked for in pixels.
        width: u32,
        /// Height asked for in pixels.
        height: u32,
        /// What there is instead.
        supported: &'static str,
    },
}

impl Setup {
    /// A write may always hold this many bytes.
    pub const SHORTEST_WRITE: usize = 16;

    /// A panel of this size with everything else as after reset: upright, contrast 0x7f, light on dark.
    pub const fn new(controller: Controller, size: Size) -> Self {
        Self { controller, size, rotated: false, contrast: 0x7f, inverted: false, longest_write: 8192 }
    }

    /// Whether there is such a panel.
    pub fn check(&self) -> Result<(), SetupError> {
        let Size { width, height } = self.size;
        let supported = match self.controller {
            Controller::Ssd1306 if width == 128 && (height == 32 || height == 64) => return Ok(()),
            Controller::Sh1106 if width == 128 && height == 64 => return Ok(()),
            Controller::Ssd1306 => "128x32 or 128x64",
            Controller::Sh1106 => "128x64",
        };
        Err(SetupError::Size { controller: self.controller, width, height, supported })
    }

    /// The commands that bring the controller from any state to a known one, display still off.
    ///
    /// They begin with no-ops, because a controller that lost a byte may still wait for the arguments of a command.
    /// The values that the datasheets leave to the module (precharge 0xF1 with the SSD1306's own pump) are common practice.
    pub fn initialisation(&self) -> impl Iterator<Item = Command> + use<> {
        let rows = self.size.height.clamp(16, 64) as u8;
        let supply: &'static [Command] = match self.controller {
            Controller::Ssd1306 => &[
                Command::ChargePump(true),
                Command::Addressing(Addressing::Vertical),
                Command::Scrolling(false),
                Command::Precharge { discharge: 1, charge: 15 },
                Command::Deselect(0x20),
            ],
            // Reset values, from memory.
            Controller::Sh1106 => &[
                Command::Converter(true),
                Command::PumpVoltage(2),
                Command::Precharge { discharge: 2, charge: 2 },
                Command::Deselect(0x35),
            ],
        };
        let dialect = [
            Command::Display(false),
            Command::Clock { oscillator: 8, divider: 0 },
            Command::Multiplex(rows - 1),
            Command::Offset(0),
            Command::StartLine(0),
            Command::SegmentRemap(!self.rotated),
            Command::ScanReversed(!self.rotated),
            Command::ComPins { alternative: rows > 32, swapped: false },
            Command::Contrast(self.contrast),
            Command::Inverted(self.inverted),
            Command::AllOn(false),
        ];
        let settle = [Command::NoOp; Command::LONGEST - 1];
        settle.into_iter().chain(dialect).chain(supply.iter().copied())
    }
}

impl Default for Setup {
    /// The usual panel: SSD1306, 128x32.
    fn default() -> Self {
        Self::new(Controller::Ssd1306, Size::new(128, 32))
    }
}
