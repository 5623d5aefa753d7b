//! A small picture packed as the controllers want it: a byte is eight rows of one column, least bit on top.
//!
//! Glyphs and icons are bitmaps; a [`Frame`](super::Frame) takes them a byte at a time.

use super::Size;

/// A one-bit picture of fixed size in page order: page after page, in each page one byte a column, least bit on top.
///
/// Bits below the last row are always zero, so that whole bytes can be combined without masking.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Bitmap {
    size: Size,
    bytes: Box<[u8]>,
}

impl Bitmap {
    /// A picture of `size` with every pixel off.
    pub fn new(size: Size) -> Self {
        let pages = size.height.div_ceil(8) as usize;
        Self { size, bytes: vec![0; pages * size.width as usize].into() }
    }

    /// A picture of `size` in which `lit(x, y)` tells which pixels are on.
    pub fn from_fn(size: Size, lit: impl Fn(u32, u32) -> bool) -> Self {
        let mut bitmap = Self::new(size);
        for y in 0..size.height {
            for x in 0..size.width {
                if lit(x, y) {
                    bitmap.bytes[(y / 8 * size.width + x) as usize] |= 1 << (y % 8);
                }
            }
        }
        bitmap
    }

    /// A picture from rows of text, `#` for a lit pixel and any other character for a dark one.
    ///
    /// Rows may differ in length; the longest gives the width.
    pub fn from_pattern(rows: &[&str]) -> Self {
        let width = rows.iter().map(|row| row.chars().count()).max().unwrap_or(0);
        let cells: Vec<Vec<bool>> = rows.iter().map(|row| row.chars().map(|c| c == '#').collect()).collect();
        Self::from_fn(Size::new(width as u32, rows.len() as u32), |x, y| {
            cells[y as usize].get(x as usize).copied().unwrap_or(false)
        })
    }

    /// Width and height in pixels.
    pub fn size(&self) -> Size {
        self.size
    }

    /// The bytes of one page (eight rows), a byte a column.
    pub fn page(&self, page: u32) -> &[u8] {
        let width = self.size.width as usize;
        &self.bytes[page as usize * width..][..width]
    }

    /// How many pages of eight rows the picture spans; the last may be used in part.
    pub fn pages(&self) -> u32 {
        self.size.height.div_ceil(8)
    }

    /// Whether the pixel is on; outside of the picture every pixel is off.
    pub fn pixel(&self, x: u32, y: u32) -> bool {
        x < self.size.width && y < self.size.height && self.page(y / 8)[x as usize] >> (y % 8) & 1 == 1
    }
}
