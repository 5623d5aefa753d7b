//! A panel without the panel: takes I2C writes as the datasheets say and tells what the glass would show.
//!
//! What enters are writes on the bus; what leaves is the picture on the glass, and complaints about bytes that a real
//! controller would not take. It shares the command set with the driver and nothing else: neither its planner nor its idea of
//! pointers. It never fails because of what it is sent, and keeps a bounded number of complaints.
//!
//! Sources: SSD1306 datasheet rev. 1.1 (Solomon Systech), sections 8 and 10; where that leaves a question open, what is done
//! is said at the place. SH1106 datasheet (Sino Wealth), from memory.

mod glass;
mod memory;

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use thiserror::Error;

use self::glass::Outputs;
use self::memory::Memory;
use super::wire::{DATA, PAIR};
use super::{Command, Controller, DecodeError, Traffic};
use crate::draw::{Frame, Point, Size};

/// What a real controller would not take, or would take otherwise than it was meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum Complaint {
    /// Nobody has this address.
    #[error("nobody answers at address {0:#04x}")]
    Address(u8),
    /// Bytes that are no command.
    #[error("{0}")]
    Decode(#[from] DecodeError),
    /// Data came where arguments were due.
    #[error("command {0:#04x} is cut off by data")]
    CutOff(u8),
    /// Control bytes have six zeros.
    #[error("control byte {0:#04x} is not 0x00, 0x40, 0x80 or 0xc0")]
    ControlByte(u8),
    /// A write ended after a control byte.
    #[error("a write ends after its control byte {0:#04x}")]
    NothingFollows(u8),
    /// A window that begins after its end or lies outside of the RAM.
    #[error("window {first} to {last} is not within 0 to {limit}")]
    Window {
        /// First column or page as sent.
        first: u8,
        /// Last column or page as sent.
        last: u8,
        /// Last column or page of the RAM.
        limit: u8,
    },
    /// A column or page pointer for page addressing outside of the RAM.
    #[error("column {0} is outside of the RAM")]
    Column(u8),
    /// A command for page addressing in another mode, or for a window in page addressing.
    #[error("command {0:#04x} has no effect in this addressing mode")]
    WrongMode(u8),
    /// More data than the page has columns, where the pointer stops.
    #[error("data after the last column is lost")]
    PageFull,
    /// The ratio is not that of the glass, or below the least of 16 rows.
    #[error("multiplex {rows} rows on a glass of {glass}")]
    Multiplex {
        /// Rows set.
        rows: u32,
        /// Rows of the glass.
        glass: u32,
    },
    /// The row outputs are set otherwise than the glass is wired: rows appear in the wrong place or not at all.
    #[error("row outputs are set otherwise than a glass of {0} rows is wired")]
    ComPins(u32),
    /// RAM written while it scrolls.
    #[error("data was written while scrolling")]
    Scrolling,
    /// Read: only a status byte can be read over I2C.
    #[error("{0} bytes were read; there is one status byte")]
    Read(usize),
}

/// A controller with its glass, at an address of a bus.
#[derive(Clone, Debug)]
pub struct EmulatedPanel {
    controller: Controller,
    size: Size,
    address: u8,
    noise: fastrand::Rng,
    memory: Memory,
    outputs: Outputs,
    on: bool,
    supply: bool,
    scrolling: bool,
    contrast: u8,
    /// First bytes of a command whose arguments are still to come; never longer than the longest command.
    pending: Vec<u8>,
    complaints: Vec<Complaint>,
    dropped: u64,
    traffic: Traffic,
}

impl EmulatedPanel {
    /// How many complaints are kept.
    pub const COMPLAINTS: usize = 64;

    /// A panel just powered up: dark, its RAM full of noise from `seed`. The glass has `size`, at most 128x64.
    pub fn new(controller: Controller, size: Size, address: u8, seed: u64) -> Self {
        let size = Size::new(size.width.min(128), size.height.min(64));
        let mut noise = fastrand::Rng::with_seed(seed);
        Self {
            controller,
            size,
            address,
            memory: Memory::new(controller, &mut noise),
            noise,
            outputs: Outputs::default(),
            on: false,
            // The SSD1306's pump is off after reset; the SH1106's is on (from memory).
            supply: controller == Controller::Sh1106,
            scrolling: false,
            contrast: contrast_after_reset(controller),
            pending: Vec::new(),
            complaints: Vec::new(),
            dropped: 0,
            traffic: Traffic::default(),
        }
    }

    /// Takes the supply away and gives it back: registers as after reset, new noise in the RAM. Counters go on.
    pub fn power_cycle(&mut self) {
        let fresh = Self::new(self.controller, self.size, self.address, self.noise.u64(..));
        let worn = std::mem::replace(self, fresh);
        (self.complaints, self.dropped, self.traffic) = (worn.complaints, worn.dropped, worn.traffic);
    }

    /// Lets the supply sag: registers hold anything that commands can set, the RAM holds new noise, and a command may be half heard.
    /// Counters go on.
    pub fn brown_out(&mut self) {
        self.power_cycle();
        let (complaints, dropped) = (self.complaints.clone(), self.dropped);
        for _ in 0..1024 {
            let byte = self.noise.u8(..);
            self.command_byte(byte);
        }
        (self.complaints, self.dropped) = (complaints, dropped);
    }

    /// What is to be seen. Dark while the display is off or the panel has no supply.
    pub fn glass(&self) -> Frame {
        let mut frame = Frame::new(self.size);
        if !self.is_lit() {
            return frame;
        }
        for y in 0..self.size.height {
            let Some(row) = self.outputs.ram_row(y, self.size.height) else { continue };
            for x in 0..self.size.width {
                // Modules are wired so that the upright picture needs the remap: the last segment is on the left.
                let segment = self.controller.ram_columns() - 1 - self.controller.column_offset() - x;
                let lit = self.outputs.all_on || self.memory.bit(segment, row) != self.outputs.inverted;
                frame.set_pixel(Point::new(x as i32, y as i32), lit);
            }
        }
        frame
    }

    /// Whether the glass gives light at all: display on and supplied.
    pub fn is_lit(&self) -> bool {
        self.on && self.supply
    }

    /// Current of the segments, 0…255.
    pub fn contrast(&self) -> u8 {
        self.contrast
    }

    /// What a real controller would not have taken, oldest first, at most [`EmulatedPanel::COMPLAINTS`].
    pub fn complaints(&self) -> &[Complaint] {
        &self.complaints
    }

    /// How many complaints there were beyond those kept.
    pub fn complaints_dropped(&self) -> u64 {
        self.dropped
    }

    /// Forgets the complaints.
    pub fn clear_complaints(&mut self) {
        self.complaints.clear();
        self.dropped = 0;
    }

    /// What came over the bus so far, writes to other addresses not counted.
    pub fn traffic(&self) -> Traffic {
        self.traffic
    }

    fn complain(&mut self, complaint: Complaint) {
        if self.complaints.len() < Self::COMPLAINTS {
            self.complaints.push(complaint);
        } else {
            self.dropped += 1;
        }
    }

    fn command_byte(&mut self, byte: u8) {
        self.pending.push(byte);
        match Command::decode(self.controller, &self.pending) {
            Ok((command, _)) => {
                let code = self.pending[0];
                self.pending.clear();
                self.execute(code, command);
            }
            // Arguments may come in a later write: a start condition does not reset the command (common practice).
            Err(DecodeError::Truncated { .. }) => {}
            Err(error) => {
                self.pending.clear();
                self.complain(error.into());
            }
        }
    }

    fn data_byte(&mut self, byte: u8) {
        if let Some(&code) = self.pending.first() {
            self.pending.clear();
            self.complain(Complaint::CutOff(code));
        }
        if self.scrolling {
            self.complain(Complaint::Scrolling);
        }
        if let Err(complaint) = self.memory.write(byte) {
            self.complain(complaint);
        }
    }

    fn execute(&mut self, code: u8, command: Command) {
        let outcome = match command {
            Command::ColumnLow(nibble) => self.memory.set_column_nibble(code, nibble, 0),
            Command::ColumnHigh(nibble) => self.memory.set_column_nibble(code, nibble, 4),
            Command::Page(page) => self.memory.set_page(code, page),
            Command::Addressing(order) => {
                self.memory.order = order;
                Ok(())
            }
            Command::ColumnWindow { first, last } => self.memory.set_columns(code, first, last),
            Command::PageWindow { first, last } => self.memory.set_pages(code, first, last),
            Command::SegmentRemap(on) => {
                self.memory.remapped = on;
                Ok(())
            }
            Command::Scrolling(on) => {
                self.scrolling = on;
                Ok(())
            }
            Command::Contrast(level) => {
                self.contrast = level;
                Ok(())
            }
            Command::ChargePump(on) | Command::Converter(on) => {
                self.supply = on;
                Ok(())
            }
            Command::Display(on) => {
                self.on = on;
                if on { self.check_outputs() } else { Ok(()) }
            }
            other => {
                self.outputs.set(other);
                Ok(())
            }
        };
        if let Err(complaint) = outcome {
            self.complain(complaint);
        }
    }

    /// Judged when the display goes on: before that the registers may be set in any order.
    fn check_outputs(&mut self) -> Result<(), Complaint> {
        if self.outputs.rows() != self.size.height {
            self.complain(Complaint::Multiplex { rows: self.outputs.rows(), glass: self.size.height });
        }
        if self.outputs.fits(self.size.height) { Ok(()) } else { Err(Complaint::ComPins(self.size.height)) }
    }

    /// One write, a byte at a time: control bytes, commands and data.
    fn take_write(&mut self, bytes: impl Iterator<Item = u8>) {
        let mut control: Option<u8> = None;
        let mut followed = true;
        for byte in bytes {
            self.traffic.bytes += 1;
            match control {
                None => {
                    if byte & !(DATA | PAIR) != 0 {
                        self.complain(Complaint::ControlByte(byte));
                    }
                    control = Some(byte);
                    followed = false;
                }
                Some(current) => {
                    if current & DATA == 0 {
                        self.command_byte(byte);
                    } else {
                        self.data_byte(byte);
                    }
                    followed = true;
                    if current & PAIR != 0 {
                        control = None;
                    }
                }
            }
        }
        if let (Some(control), false) = (control, followed) {
            self.complain(Complaint::NothingFollows(control));
        }
    }
}

fn contrast_after_reset(controller: Controller) -> u8 {
    match controller {
        Controller::Ssd1306 => 0x7f,
        // From memory.
        Controller::Sh1106 => 0x80,
    }
}

impl ErrorType for EmulatedPanel {
    type Error = ErrorKind;
}

impl I2c for EmulatedPanel {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        if address != self.address {
            self.complain(Complaint::Address(address));
            return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        }
        self.traffic.transactions += 1;
        let mut rest = operations;
        while let Some(first) = rest.first() {
            // Neighbouring operations of one kind are one write or one read on the bus.
            let writes = matches!(first, Operation::Write(_));
            let count = rest.iter().take_while(|next| matches!(next, Operation::Write(_)) == writes).count();
            let (now, later) = rest.split_at_mut(count);
            rest = later;
            self.traffic.bytes += 1;
            if writes {
                let bytes = now.iter().flat_map(|operation| match operation {
                    Operation::Write(bytes) => bytes,
                    Operation::Read(_) => &[][..],
                });
                self.take_write(bytes.copied());
                continue;
            }
            // Status: bit 6 tells that the display is off (SSD1306 datasheet, table 9-2, from memory).
            let status = if self.on { 0x00 } else { 0x40 };
            for operation in now {
                if let Operation::Read(bytes) = operation {
                    bytes.fill(status);
                    self.traffic.bytes += bytes.len() as u64;
                    if bytes.len() != 1 {
                        self.complain(Complaint::Read(bytes.len()));
                    }
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
