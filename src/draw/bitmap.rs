//! A small picture packed as the controllers want it: a byte is eight rows of one column, least bit on top.
//!
//! Glyphs and icons are bitmaps; a [`Frame`](super::Frame) takes them a byte at a time.

use super::Size;

/// Dark bytes behind the last page, so that eight bytes can be taken at once from any column on.
const SPARE: usize = 7;

/// A one-bit picture of fixed size in page order: page after page, in each page one byte a column, least bit on top.
///
/// Bits below the last row are always zero, so that whole bytes can be combined without masking.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Bitmap {
    size: Size,
    /// The pages, and the spare bytes.
    bytes: Box<[u8]>,
}

impl Bitmap {
    /// A picture of `size` with every pixel off.
    pub fn new(size: Size) -> Self {
        let pages = size.height.div_ceil(8) as usize;
        Self { size, bytes: vec![0; pages * size.width as usize + SPARE].into() }
    }

    /// A picture of `size` in which `lit(x, y)` tells which pixels are on.
    pub fn from_fn(size: Size, lit: impl Fn(u32, u32) -> bool) -> Self {
        let mut bitmap = Self::new(size);
        for y in 0..size.height {
            for x in 0..size.width {
                if lit(x, y) {
                    bitmap.set_pixel(x, y, true);
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

    /// All bytes, page after page, a byte a column.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes[..self.bytes.len() - SPARE]
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
        self.locate(x, y).is_some_and(|(index, bit)| self.bytes[index] & bit != 0)
    }

    /// Turns a pixel on or off; outside of the picture nothing happens.
    pub fn set_pixel(&mut self, x: u32, y: u32, lit: bool) {
        let Some((index, bit)) = self.locate(x, y) else { return };
        if lit {
            self.bytes[index] |= bit;
        } else {
            self.bytes[index] &= !bit;
        }
    }

    /// Turns every pixel off.
    pub fn clear(&mut self) {
        self.bytes.fill(0);
    }

    /// The byte that holds a pixel, and which of its bits does.
    fn locate(&self, x: u32, y: u32) -> Option<(usize, u8)> {
        (x < self.size.width && y < self.size.height).then(|| ((y / 8 * self.size.width + x) as usize, 1 << (y % 8)))
    }

    /// The bytes from a column of a page on, eight by eight, with what follows the page's last column; none where there is no such page.
    pub(super) fn eights(&self, page: i32, column: usize) -> &[[u8; 8]] {
        match u32::try_from(page) {
            Ok(page) if page < self.pages() => {
                self.bytes[page as usize * self.size.width as usize + column..].as_chunks().0
            }
            _ => &[],
        }
    }

    /// Eight columns at a time, from the column `left` of a page up to but not including `right`, become what `change` makes of them: it is
    /// given how many eights lie to the left, the bytes, and a mask of those that belong to the columns.
    pub(super) fn change_eights(
        &mut self,
        page: i32,
        (left, right): (i32, i32),
        change: impl Fn(usize, u64, u64) -> u64,
    ) {
        let columns = (right - left) as usize;
        let first = page as usize * self.size.width as usize + left as usize;
        let eights = self.bytes[first..].as_chunks_mut().0;
        for (index, eight) in eights[..columns.div_ceil(8)].iter_mut().enumerate() {
            let within = u64::MAX >> (8 * 8usize.saturating_sub(columns - 8 * index));
            *eight = change(index, u64::from_le_bytes(*eight), within).to_le_bytes();
        }
    }
}
