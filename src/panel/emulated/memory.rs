//! The RAM of the emulated controller and its pointers.
//!
//! What enters are pointer commands and data bytes; what leaves are the bits that the outputs show, and what is wrong with a
//! pointer. Source: SSD1306 datasheet rev. 1.1, sections 10.1.1 to 10.1.5 and 10.1.12.

use super::Complaint;
use crate::panel::{Addressing, Controller};

/// First and last, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Window {
    first: u8,
    last: u8,
}

/// RAM by segment: what the remap does, it does when data is written, and old data stays where it is.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    controller: Controller,
    cells: Vec<u8>,
    pub(super) order: Addressing,
    pub(super) remapped: bool,
    columns: Window,
    pages: Window,
    column: u8,
    page: u8,
    /// Where page addressing goes back to at the end of a page.
    start_column: u8,
}

impl Memory {
    /// RAM full of noise, pointers as after reset.
    pub(super) fn new(controller: Controller, noise: &mut fastrand::Rng) -> Self {
        let columns = controller.ram_columns();
        Self {
            controller,
            cells: (0..columns * Controller::RAM_PAGES).map(|_| noise.u8(..)).collect(),
            order: Addressing::Page,
            remapped: false,
            columns: Window { first: 0, last: (columns - 1) as u8 },
            pages: Window { first: 0, last: (Controller::RAM_PAGES - 1) as u8 },
            column: 0,
            page: 0,
            start_column: 0,
        }
    }

    fn last_column(&self) -> u8 {
        (self.controller.ram_columns() - 1) as u8
    }

    /// Whether the bit behind a segment and a row of the RAM is one.
    pub(super) fn bit(&self, segment: u32, row: u32) -> bool {
        let index = row / 8 * self.controller.ram_columns() + segment;
        self.cells.get(index as usize).is_some_and(|byte| byte >> (row % 8) & 1 == 1)
    }

    /// Stores a byte and moves the pointers.
    pub(super) fn write(&mut self, byte: u8) -> Result<(), Complaint> {
        let last = self.last_column();
        if self.column > last {
            return Err(Complaint::PageFull);
        }
        let segment = if self.remapped { last - self.column } else { self.column };
        let index = usize::from(self.page) * usize::from(last + 1) + usize::from(segment);
        if let Some(cell) = self.cells.get_mut(index) {
            *cell = byte;
        }
        match self.order {
            Addressing::Page => {
                // The SH1106's pointer stops behind its last column (from memory).
                let wraps = self.controller == Controller::Ssd1306 && self.column == last;
                self.column = if wraps { self.start_column } else { self.column + 1 };
            }
            Addressing::Horizontal => {
                if step(&mut self.column, self.columns, last) {
                    step(&mut self.page, self.pages, Controller::RAM_PAGES as u8 - 1);
                }
            }
            Addressing::Vertical => {
                if step(&mut self.page, self.pages, Controller::RAM_PAGES as u8 - 1) {
                    step(&mut self.column, self.columns, last);
                }
            }
        }
        Ok(())
    }

    /// Sets one nibble of the column for page addressing. The datasheet leaves open whether the pointer keeps its other nibble
    /// or takes that of the start column; here the pointer takes the start column whole.
    pub(super) fn set_column_nibble(&mut self, code: u8, nibble: u8, shift: u32) -> Result<(), Complaint> {
        if self.order != Addressing::Page {
            return Err(Complaint::WrongMode(code));
        }
        self.start_column = self.start_column & !(0x0f << shift) | nibble << shift;
        self.column = self.start_column;
        // The low nibble comes first as a rule, so that only the high one completes a column.
        if shift > 0 && self.column > self.last_column() {
            return Err(Complaint::Column(self.column));
        }
        Ok(())
    }

    pub(super) fn set_page(&mut self, code: u8, page: u8) -> Result<(), Complaint> {
        if self.order != Addressing::Page {
            return Err(Complaint::WrongMode(code));
        }
        self.page = page;
        Ok(())
    }

    pub(super) fn set_columns(&mut self, code: u8, first: u8, last: u8) -> Result<(), Complaint> {
        let limit = self.last_column();
        let judged = self.judge_window(code, first, last, limit);
        // The unused high bit is not looked at.
        self.columns = Window { first: first & 0x7f, last: last & 0x7f };
        if self.order != Addressing::Page {
            self.column = self.columns.first;
        }
        judged
    }

    pub(super) fn set_pages(&mut self, code: u8, first: u8, last: u8) -> Result<(), Complaint> {
        let judged = self.judge_window(code, first, last, Controller::RAM_PAGES as u8 - 1);
        self.pages = Window { first: first & 7, last: last & 7 };
        if self.order != Addressing::Page {
            self.page = self.pages.first;
        }
        judged
    }

    fn judge_window(&self, code: u8, first: u8, last: u8, limit: u8) -> Result<(), Complaint> {
        if first > last || last > limit {
            Err(Complaint::Window { first, last, limit })
        } else if self.order == Addressing::Page {
            Err(Complaint::WrongMode(code))
        } else {
            Ok(())
        }
    }
}

/// Moves a pointer on in its window and tells whether it went back to the beginning. A pointer outside of its window runs to
/// the end of the RAM first.
fn step(pointer: &mut u8, window: Window, limit: u8) -> bool {
    if *pointer == window.last || *pointer >= limit {
        *pointer = window.first;
        true
    } else {
        *pointer += 1;
        false
    }
}
