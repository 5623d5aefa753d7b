//! The frame: the whole picture of a panel, packed as the controllers want it.
//!
//! What enters are bitmaps, rectangles and pixels in panel coordinates, anything outside being cut off; what leaves are the
//! bytes that a controller takes without conversion. The frame is a `DrawTarget`, so that whatever draws through
//! embedded-graphics draws here too.

use std::convert::Infallible;
use std::fmt;

use embedded_graphics_core::draw_target::DrawTarget;
use embedded_graphics_core::geometry::OriginDimensions;
use embedded_graphics_core::pixelcolor::BinaryColor;
use embedded_graphics_core::{Pixel, geometry::Dimensions};

use super::{Bitmap, Point, Rectangle, Size};

/// How strongly something is drawn on glass that knows only on and off. The patterns are fixed to the panel, so that shapes
/// that touch share one texture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ink {
    /// Every pixel of the shape.
    Full,
    /// Half of the pixels, in bricks two wide and one tall: a straight or diagonal line of one pixel keeps half of itself in
    /// any direction, which a checkerboard does not.
    Half,
    /// Diagonal lines four pixels apart.
    Hatch,
    /// Every pixel of the shape is put out.
    Off,
}

impl Ink {
    /// Which of the eight rows in column `x` this ink may touch; both patterns repeat every four rows and columns.
    fn rows(self, x: usize) -> u8 {
        match (self, x % 4) {
            (Ink::Half, 0 | 1) => 0b0101_0101,
            (Ink::Half, _) => 0b1010_1010,
            (Ink::Hatch, column) => 0b0001_0001 << (3 - column),
            _ => 0xff,
        }
    }
}

/// A one-bit picture the size of a panel; a byte is eight rows of one column, least bit on top, page after page.
#[derive(Clone, PartialEq, Eq)]
pub struct Frame {
    size: Size,
    bytes: Box<[u8]>,
}

impl Frame {
    /// A dark frame. The height is rounded up to whole pages of eight rows in memory, but drawing ends at `size`.
    pub fn new(size: Size) -> Self {
        let pages = size.height.div_ceil(8) as usize;
        Self { size, bytes: vec![0; pages * size.width as usize].into() }
    }

    /// All bytes, page after page, a byte a column.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// How many pages of eight rows there are.
    pub fn pages(&self) -> u32 {
        self.size.height.div_ceil(8)
    }

    /// The bytes of one page, a byte a column.
    pub fn page(&self, page: u32) -> &[u8] {
        let width = self.size.width as usize;
        &self.bytes[page as usize * width..][..width]
    }

    /// Whether the pixel is lit; outside of the frame every pixel is dark.
    pub fn pixel(&self, at: Point) -> bool {
        let Some((index, bit)) = self.locate(at) else { return false };
        self.bytes[index] >> bit & 1 == 1
    }

    /// Lights or darkens one pixel; outside of the frame nothing happens.
    pub fn set_pixel(&mut self, at: Point, lit: bool) {
        let Some((index, bit)) = self.locate(at) else { return };
        if lit {
            self.bytes[index] |= 1 << bit;
        } else {
            self.bytes[index] &= !(1 << bit);
        }
    }

    fn locate(&self, at: Point) -> Option<(usize, u32)> {
        let (x, y) = (u32::try_from(at.x).ok()?, u32::try_from(at.y).ok()?);
        (x < self.size.width && y < self.size.height).then(|| ((y / 8 * self.size.width + x) as usize, y % 8))
    }

    /// Fills a rectangle.
    pub fn fill(&mut self, area: Rectangle, ink: Ink) {
        self.each_run(area, |run, mask, x| match ink {
            Ink::Full if mask == 0xff => run.fill(0xff),
            Ink::Off if mask == 0xff => run.fill(0),
            Ink::Full => run.iter_mut().for_each(|byte| *byte |= mask),
            Ink::Off => run.iter_mut().for_each(|byte| *byte &= !mask),
            Ink::Half | Ink::Hatch => {
                run.iter_mut().enumerate().for_each(|(offset, byte)| *byte |= mask & ink.rows(x + offset));
            }
        });
    }

    /// Turns lit pixels dark and dark ones lit within a rectangle.
    pub fn invert(&mut self, area: Rectangle) {
        self.each_run(area, |run, mask, _| run.iter_mut().for_each(|byte| *byte ^= mask));
    }

    /// Puts the lit pixels of `bitmap` with its top left corner at `at`, cut to `clip` and to the frame.
    pub fn blit(&mut self, bitmap: &Bitmap, at: Point, clip: Rectangle, ink: Ink) {
        self.put(|page| bitmap.page(page), Rectangle::new(at, bitmap.size()), clip, ink);
    }

    /// Puts the lit pixels of a picture, whose pages `pages` gives, at its `place`, cut to `clip` and to the frame.
    fn put<'a>(&mut self, pages: impl Fn(u32) -> &'a [u8], place: Rectangle, clip: Rectangle, ink: Ink) {
        let (at, count) = (place.top_left, place.size.height.div_ceil(8) as i32);
        let area = place.intersection(&clip).intersection(&self.bounding_box());
        let Some(last) = area.bottom_right() else { return };
        let first = area.top_left;
        let (skip, columns) = ((first.x - at.x) as usize, area.size.width as usize);
        let width = self.size.width as usize;
        for page in first.y / 8..=last.y / 8 {
            // Rows of this page that the cut leaves, and the picture's row that falls on the page's top row.
            let mask = page_mask(page, first.y, last.y);
            let row = page * 8 - at.y;
            let upper = row.div_euclid(8);
            let shift = row.rem_euclid(8) as u32;
            let line = &mut self.bytes[page as usize * width + first.x as usize..][..columns];
            let source = |page: i32| (page >= 0 && page < count).then(|| &pages(page as u32)[skip..][..columns]);
            let x = first.x as usize;
            match (source(upper), source(upper + 1).filter(|_| shift > 0)) {
                (Some(high), Some(low)) => {
                    let moved = high.iter().zip(low).map(|(high, low)| (high >> shift | low << (8 - shift)) & mask);
                    combine(line, moved, x, ink);
                }
                (Some(high), None) => combine(line, high.iter().map(|byte| byte >> shift & mask), x, ink),
                (None, Some(low)) => combine(line, low.iter().map(|byte| byte << (8 - shift) & mask), x, ink),
                (None, None) => {}
            }
        }
    }

    /// Calls `change` for each page's run of bytes that hold pixels of `area`, with the rows concerned and the first column.
    fn each_run(&mut self, area: Rectangle, change: impl Fn(&mut [u8], u8, usize)) {
        let area = area.intersection(&self.bounding_box());
        let Some(last) = area.bottom_right() else { return };
        let first = area.top_left;
        let width = self.size.width as usize;
        for page in first.y / 8..=last.y / 8 {
            let mask = page_mask(page, first.y, last.y);
            change(
                &mut self.bytes[page as usize * width..][first.x as usize..=last.x as usize],
                mask,
                first.x as usize,
            );
        }
    }

    /// The same picture further to the right and down by so many pixels; what leaves the frame is gone, and what comes in is dark.
    pub fn shifted(&self, by: Point) -> Self {
        let (mut shifted, all) = (Self::new(self.size), self.bounding_box());
        shifted.put(|page| self.page(page), Rectangle::new(by, self.size), all, Ink::Full);
        shifted
    }

    /// A frame from rows of text, `#` for a lit pixel and any other character for a dark one.
    pub fn from_pattern(rows: &[&str]) -> Self {
        let bitmap = Bitmap::from_pattern(rows);
        let mut frame = Self::new(bitmap.size());
        frame.blit(&bitmap, Point::zero(), frame.bounding_box(), Ink::Full);
        frame
    }
}

/// The rows of `page` that lie between the rows `first` and `last` of the frame.
fn page_mask(page: i32, first: i32, last: i32) -> u8 {
    let top = (first - page * 8).clamp(0, 7);
    let bottom = (last - page * 8).clamp(0, 7);
    (0xff << top) & (0xff >> (7 - bottom))
}

/// Combines source bytes, moved to the frame's rows, with a run of frame bytes that begins in column `x`.
fn combine(line: &mut [u8], moved: impl Iterator<Item = u8>, x: usize, ink: Ink) {
    let bytes = line.iter_mut().zip(moved);
    match ink {
        Ink::Full => bytes.for_each(|(byte, moved)| *byte |= moved),
        Ink::Off => bytes.for_each(|(byte, moved)| *byte &= !moved),
        Ink::Half | Ink::Hatch => {
            bytes.enumerate().for_each(|(offset, (byte, moved))| *byte |= moved & ink.rows(x + offset));
        }
    }
}

impl fmt::Debug for Frame {
    /// The picture in rows of `#` and `.`, so that a failing test shows it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Frame {}x{}", self.size.width, self.size.height)?;
        for y in 0..self.size.height as i32 {
            let row: String =
                (0..self.size.width as i32).map(|x| if self.pixel(Point::new(x, y)) { '#' } else { '.' }).collect();
            writeln!(f, "{row}")?;
        }
        Ok(())
    }
}

impl OriginDimensions for Frame {
    fn size(&self) -> Size {
        self.size
    }
}

impl DrawTarget for Frame {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(&mut self, pixels: I) -> Result<(), Infallible> {
        for Pixel(at, color) in pixels {
            self.set_pixel(at, color.is_on());
        }
        Ok(())
    }

    fn fill_solid(&mut self, area: &Rectangle, color: BinaryColor) -> Result<(), Infallible> {
        self.fill(*area, if color.is_on() { Ink::Full } else { Ink::Off });
        Ok(())
    }

    fn clear(&mut self, color: BinaryColor) -> Result<(), Infallible> {
        self.fill_solid(&self.bounding_box(), color)
    }
}

#[cfg(test)]
mod tests {
    use embedded_graphics_core::primitives::PointsIter;
    use proptest::prelude::*;

    use super::*;

    fn ink() -> impl Strategy<Value = Ink> {
        prop_oneof![Just(Ink::Full), Just(Ink::Half), Just(Ink::Hatch), Just(Ink::Off)]
    }

    /// Whether an ink touches a pixel, from its description and not from its bytes.
    fn touches(ink: Ink, at: Point) -> bool {
        match ink {
            Ink::Full | Ink::Off => true,
            Ink::Half => (at.x + 2 * at.y).rem_euclid(4) < 2,
            Ink::Hatch => (at.x + at.y).rem_euclid(4) == 3,
        }
    }

    prop_compose! {
        fn rectangle()(x in -40..100i32, y in -40..60i32, width in 0..80u32, height in 0..80u32) -> Rectangle {
            Rectangle::new(Point::new(x, y), Size::new(width, height))
        }
    }

    fn noise(seed: u64, size: Size) -> Frame {
        let mut random = fastrand::Rng::with_seed(seed);
        let mut frame = Frame::new(size);
        for y in 0..size.height as i32 {
            for x in 0..size.width as i32 {
                frame.set_pixel(Point::new(x, y), random.bool());
            }
        }
        frame
    }

    proptest! {
        /// Whole bytes at once give what pixel after pixel gives, wherever the picture lies and however it is cut.
        #[test]
        fn a_blit_is_a_copy_pixel_by_pixel(
            seed in any::<u64>(), ink in ink(), clip in rectangle(),
            (x, y) in (-40..100i32, -40..60i32), (width, height) in (0..40u32, 0..70u32),
        ) {
            let mut frame = noise(seed, Size::new(72, 40));
            let mut expected = frame.clone();
            let source = noise(!seed, Size::new(width, height));
            let bitmap = Bitmap::from_fn(Size::new(width, height), |x, y| source.pixel(Point::new(x as i32, y as i32)));
            for row in 0..height as i32 {
                for column in 0..width as i32 {
                    let at = Point::new(x + column, y + row);
                    if bitmap.pixel(column as u32, row as u32) && clip.contains(at) && touches(ink, at) {
                        expected.set_pixel(at, ink != Ink::Off);
                    }
                }
            }
            frame.blit(&bitmap, Point::new(x, y), clip, ink);
            prop_assert_eq!(frame, expected);
        }

        #[test]
        fn a_shifted_frame_keeps_what_stays_within_it(seed in any::<u64>(), (x, y) in (-5..5i32, -5..5i32)) {
            let frame = noise(seed, Size::new(72, 40));
            let shifted = frame.shifted(Point::new(x, y));
            for at in frame.bounding_box().points() {
                prop_assert_eq!(shifted.pixel(at), frame.pixel(at - Point::new(x, y)));
            }
        }

        #[test]
        fn fills_and_inversions_touch_their_rectangle_alone(seed in any::<u64>(), ink in ink(), area in rectangle()) {
            let before = noise(seed, Size::new(72, 40));
            let (mut filled, mut inverted) = (before.clone(), before.clone());
            filled.fill(area, ink);
            inverted.invert(area);
            for y in 0..40 {
                for x in 0..72 {
                    let at = Point::new(x, y);
                    let (was, within) = (before.pixel(at), area.contains(at));
                    let expected = if within && touches(ink, at) { ink != Ink::Off } else { was };
                    prop_assert_eq!(filled.pixel(at), expected);
                    prop_assert_eq!(inverted.pixel(at), was != within);
                }
            }
        }
    }
}
