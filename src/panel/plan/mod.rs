//! From the picture that is on the glass and the picture that shall be there to the script with the fewest bus bytes.
//!
//! What enters are two pictures in page order (page after page, a byte a column); what leaves is a [`Script`]. A planner
//! remembers where it left the controller's pointers, which is why it must be told when they are lost. It allocates nothing
//! once its buffers have grown, and never sends a byte that is not in the new picture.
//!
//! # What is minimised
//!
//! Bytes on the bus: address bytes, control bytes, commands and data, as [`Script`] packs them. A block of `n` bytes of one kind
//! costs `2 + n`, and a block of one byte that is not the last costs one less ([`Script`] shows why).
//!
//! # Which plans are compared
//!
//! For commands in any order and any mode we know of no way to the least but to try everything, so the plans among which it is
//! taken are these, one kind for each controller:
//!
//! * [`Windows`], SSD1306: vertical addressing, the commands 0x21 and 0x22, and data. A plan is one of
//!   1. *on in the band*: one sweep (below) of the pages of the window as it was left, which begins with 0x21 alone;
//!   2. *afresh*: the pages are cut into groups of neighbours, served from the top. Within a group, sweeps follow one another
//!      from left to right, each over its own columns and over a band of pages of its own within the group; a sweep begins with
//!      0x21 and 0x22;
//!   3. *on from the pointer*: one run of data without any command, in the window as it was left and round its end if need be, up
//!      to the last changed byte in the window; then what changed elsewhere by 1 or 2.
//!
//!   A *sweep* writes the bytes of its band column by column, in each column from the top page of the band to the bottom page, and
//!   may skip whole columns of clean bytes by 0x21 alone. That leaves the page pointer where it is, so what is skipped is a
//!   multiple of the band's height, and it may begin in mid-column.
//! * [`Pages`], SH1106: page addressing, the commands 0x00-0x1F and 0xB0-0xB7, and data. Changed bytes are served in reading
//!   order, page after page, from left to right, beginning at the top, or at the pointer and then at the top. A column is always
//!   set by both its nibbles: the datasheet does not say what a nibble alone does to a pointer that has moved since.
//!
//! Among these the least is exact: a dynamic programme over the changed columns (bytes, with the SH1106) compares each way to go
//! on. Sending the box around all changes is one of the plans (with page addressing, the box page by page), so no plan is dearer
//! than that.
//!
//! # How that is tested
//!
//! Against a search that builds each plan of the kind: equal in every case tried. Against a search through every sequence of
//! commands and data in the addressing mode, on small glasses, because more is out of reach: never below it; equal where one box
//! changes and the pointers are unknown; and where single bytes are scattered, which is the hardest case, equal for 90 of 100
//! samples of 6x2 bytes and at most 4 bytes above (0x21 and 0x22), 75 of 100 and at most 5 above (page addressing).

mod band;
mod page;
#[cfg(test)]
mod search;
mod window;

pub use page::Pages;
pub use window::Windows;

use super::{Controller, Script};

/// More than any update costs.
const FAR: u32 = u32::MAX / 2;

/// The planner for a controller and its glass.
#[derive(Debug)]
pub enum Planner {
    /// For controllers with windows.
    Windows(Windows),
    /// For controllers that know page addressing only.
    Pages(Pages),
}

impl Planner {
    /// A planner for a glass of `columns` (at most 128) by `pages` (at most 8), whose pointers are unknown.
    pub fn new(controller: Controller, columns: u32, pages: u32) -> Self {
        match controller {
            Controller::Ssd1306 => Planner::Windows(Windows::new(columns)),
            Controller::Sh1106 => Planner::Pages(Pages::new(columns, pages, controller.column_offset())),
        }
    }

    /// The pointers are no longer known.
    pub fn forget(&mut self) {
        match self {
            Planner::Windows(planner) => planner.forget(),
            Planner::Pages(planner) => planner.forget(),
        }
    }

    /// Writes into `script` what makes a glass that holds `old` hold `new`; `None` is a RAM of unknown content.
    ///
    /// Afterwards the planner takes it that the script was sent; if it was not, call [`Planner::forget`].
    ///
    /// # Panics
    ///
    /// If `new` is smaller than the glass.
    pub fn plan(&mut self, old: Option<&[u8]>, new: &[u8], script: &mut Script) {
        match self {
            Planner::Windows(planner) => planner.plan(old, new, script),
            Planner::Pages(planner) => planner.plan(old, new, script),
        }
    }
}

/// Calls `changed(page, column)` for each byte that differs, in reading order.
fn differences(columns: usize, old: Option<&[u8]>, new: &[u8], mut changed: impl FnMut(usize, usize)) {
    // A word is compared at once: most of a picture does not change.
    const WORD: usize = 8;
    for (page, new) in new.chunks_exact(columns).enumerate() {
        let Some(old) = old.and_then(|old| old.get(page * columns..(page + 1) * columns)) else {
            (0..columns).for_each(|column| changed(page, column));
            continue;
        };
        for (word, (new, old)) in new.chunks(WORD).zip(old.chunks(WORD)).enumerate() {
            if new != old {
                for (offset, _) in new.iter().zip(old).enumerate().filter(|(_, (new, old))| new != old) {
                    changed(page, word * WORD + offset);
                }
            }
        }
    }
}
