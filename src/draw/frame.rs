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

use super::{Bitmap, Clipped, Ink, Point, Rectangle, Size};

/// A one-bit picture the size of a panel; a byte is eight rows of one column, least bit on top, page after page.
#[derive(Clone, PartialEq, Eq)]
pub struct Frame {
    picture: Bitmap,
}

impl Frame {
    /// A dark frame. The height is rounded up to whole pages of eight rows in memory, but drawing ends at `size`.
    pub fn new(size: Size) -> Self {
        Self { picture: Bitmap::new(size) }
    }

    /// All bytes, page after page, a byte a column.
    pub fn bytes(&self) -> &[u8] {
        self.picture.bytes()
    }

    /// How many pages of eight rows there are.
    pub fn pages(&self) -> u32 {
        self.picture.pages()
    }

    /// The bytes of one page, a byte a column.
    pub fn page(&self, page: u32) -> &[u8] {
        self.picture.page(page)
    }

    /// Whether the pixel is lit; outside of the frame every pixel is dark.
    pub fn pixel(&self, at: Point) -> bool {
        // What lies left of the frame or above it lies far outside of it as an unsigned number.
        self.picture.pixel(at.x as u32, at.y as u32)
    }

    /// Lights or darkens one pixel; outside of the frame nothing happens.
    pub fn set_pixel(&mut self, at: Point, lit: bool) {
        self.picture.set_pixel(at.x as u32, at.y as u32, lit);
    }

    /// Darkens every pixel.
    pub fn put_out(&mut self) {
        self.picture.clear();
    }

    /// The frame, to be drawn on within `area` alone.
    pub fn clipped(&mut self, area: Rectangle) -> Clipped<'_> {
        Clipped::new(&mut self.picture, area)
    }

    /// The frame, to be drawn on from edge to edge.
    pub fn whole(&mut self) -> Clipped<'_> {
        self.clipped(self.bounding_box())
    }

    /// Fills a rectangle.
    pub fn fill(&mut self, area: Rectangle, ink: Ink) {
        self.whole().fill(area, ink);
    }

    /// Turns lit pixels dark and dark ones lit within a rectangle.
    pub fn invert(&mut self, area: Rectangle) {
        self.whole().invert(area);
    }

    /// The same picture further to the right and down by so many pixels; what leaves the frame is gone, and what comes in is dark.
    pub fn shifted(&self, by: Point) -> Self {
        let mut shifted = Self::new(self.size());
        shifted.whole().blit(&self.picture, by, Ink::Full);
        shifted
    }

    /// A frame from rows of text, `#` for a lit pixel and any other character for a dark one.
    pub fn from_pattern(rows: &[&str]) -> Self {
        Self { picture: Bitmap::from_pattern(rows) }
    }
}

impl fmt::Debug for Frame {
    /// The picture in rows of `#` and `.`, so that a failing test shows it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Size { width, height } = self.size();
        writeln!(f, "Frame {width}x{height}")?;
        for y in 0..height as i32 {
            let row: String = (0..width as i32).map(|x| if self.pixel(Point::new(x, y)) { '#' } else { '.' }).collect();
            writeln!(f, "{row}")?;
        }
        Ok(())
    }
}

impl OriginDimensions for Frame {
    fn size(&self) -> Size {
        self.picture.size()
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
            frame.clipped(clip).blit(&bitmap, Point::new(x, y), ink);
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
