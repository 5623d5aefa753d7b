//! The outputs of the emulated controller: which row of the RAM a row of the glass shows.
//!
//! What enters are commands about rows and about what lights a pixel; what leaves is the row of the RAM behind each row of the
//! glass, if it is driven at all. Source: SSD1306 datasheet rev. 1.1, sections 8.8, 10.1.6, 10.1.11, 10.1.14, 10.1.15 and
//! 10.1.18 with its tables 10-1 to 10-3, from memory.

use crate::panel::Command;

/// Row outputs of the chip.
const ROWS: u32 = 64;

/// Registers that stand between RAM and glass, as after reset by default.
#[derive(Clone, Debug)]
pub(super) struct Outputs {
    start_line: u32,
    offset: u32,
    multiplex: u32,
    reversed: bool,
    alternative: bool,
    swapped: bool,
    pub(super) inverted: bool,
    pub(super) all_on: bool,
}

impl Default for Outputs {
    fn default() -> Self {
        Self {
            start_line: 0,
            offset: 0,
            multiplex: ROWS - 1,
            reversed: false,
            alternative: true,
            swapped: false,
            inverted: false,
            all_on: false,
        }
    }
}

impl Outputs {
    /// Takes a command about rows or lighting; any other changes nothing that is to be seen.
    pub(super) fn set(&mut self, command: Command) {
        match command {
            Command::StartLine(row) => self.start_line = row.into(),
            Command::Offset(rows) => self.offset = rows.into(),
            // Below 16 rows the datasheet calls the values invalid.
            Command::Multiplex(rows) if rows >= 15 => self.multiplex = rows.into(),
            Command::ScanReversed(on) => self.reversed = on,
            Command::ComPins { alternative, swapped } => (self.alternative, self.swapped) = (alternative, swapped),
            Command::Inverted(on) => self.inverted = on,
            Command::AllOn(on) => self.all_on = on,
            _ => {}
        }
    }

    /// How many rows are driven.
    pub(super) fn rows(&self) -> u32 {
        self.multiplex + 1
    }

    /// Whether the outputs are set as a glass of this many rows is wired.
    pub(super) fn fits(&self, glass_rows: u32) -> bool {
        self.alternative == is_alternating(glass_rows) && !self.swapped
    }

    /// The row of the RAM that row `y` of the glass shows, counted from the top of the upright module.
    pub(super) fn ram_row(&self, y: u32, glass_rows: u32) -> Option<u32> {
        // Modules are wired so that the upright picture needs the reversed scan: the last output is on top.
        let wired = pad(glass_rows - 1 - y, is_alternating(glass_rows), false);
        let output = output(wired, self.alternative, self.swapped);
        let scanned = if self.reversed { self.rows() + ROWS - 1 - output } else { output };
        let row = (scanned + self.offset) % ROWS;
        (row < self.rows()).then_some((row + self.start_line) % ROWS)
    }
}

/// Glasses with more than 32 rows take rows from both sides of the chip in turn.
fn is_alternating(glass_rows: u32) -> bool {
    glass_rows > 32
}

/// The pin of the chip on which row output `output` comes out.
fn pad(output: u32, alternative: bool, swapped: bool) -> u32 {
    let half = ROWS / 2;
    let pad = if alternative { output / 2 + output % 2 * half } else { output };
    if swapped { (pad + half) % ROWS } else { pad }
}

/// The row output that comes out at pin `pad`.
fn output(pad: u32, alternative: bool, swapped: bool) -> u32 {
    let half = ROWS / 2;
    let pad = if swapped { (pad + half) % ROWS } else { pad };
    if alternative { pad % half * 2 + pad / half } else { pad }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_pin_has_the_output_that_comes_out_there() {
        for (alternative, swapped) in [(false, false), (false, true), (true, false), (true, true)] {
            for pin in 0..ROWS {
                assert_eq!(pad(output(pin, alternative, swapped), alternative, swapped), pin);
            }
        }
    }
}
