//! Bands of pages, and the pointer of a controller in vertical addressing.
//!
//! What enters are columns and pages; what leaves are places in the order in which bytes arrive. Nothing here chooses.

/// Most pages there are.
pub(super) const PAGES: usize = 8;
/// How many bands eight pages have.
pub(super) const BANDS: usize = PAGES * (PAGES + 1) / 2;

/// Neighbouring pages, first and last.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Band {
    pub(super) first: u8,
    pub(super) last: u8,
}

impl Band {
    pub(super) fn height(self) -> u32 {
        u32::from(self.last - self.first) + 1
    }

    /// The pages from the first to the last of those whose bits are set; there must be one.
    pub(super) fn hull(mask: u8) -> Band {
        Band { first: mask.trailing_zeros() as u8, last: (7 - mask.leading_zeros()) as u8 }
    }

    /// A bit a page.
    pub(super) fn mask(self) -> u8 {
        (0xff << self.first) & (0xff >> (7 - self.last))
    }

    pub(super) fn contains(self, other: Band) -> bool {
        self.first <= other.first && other.last <= self.last
    }

    /// The place of a byte when the band is counted column by column from the left edge of the glass.
    pub(super) fn place(self, column: u8, page: u8) -> u32 {
        u32::from(column) * self.height() + u32::from(page - self.first)
    }

    /// How many bytes come before `place` when the pointer stands at `page` and its column can be chosen, or `None` if no column
    /// is far enough to the left.
    pub(super) fn lead(self, page: u8, place: u32) -> Option<u32> {
        let (height, row) = (self.height(), u32::from(page - self.first));
        let lead = (place % height + height - row) % height;
        (lead <= place).then_some(lead)
    }
}

/// The controller's window and where in it the next byte goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pointer {
    pub(super) first_column: u8,
    pub(super) last_column: u8,
    pub(super) band: Band,
    pub(super) column: u8,
    pub(super) page: u8,
}

impl Pointer {
    pub(super) fn advance(&mut self) {
        if self.page < self.band.last {
            self.page += 1;
        } else {
            self.page = self.band.first;
            self.column = if self.column < self.last_column { self.column + 1 } else { self.first_column };
        }
    }
}
