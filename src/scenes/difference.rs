//! Where two pictures differ, in numbers and as a picture for the person who has to judge it.
//!
//! What enters are a reference and the picture as it is now; what leaves are the places that differ, and a PNG. It writes no file.

use embedded_graphics_core::geometry::OriginDimensions;
use embedded_graphics_core::primitives::PointsIter;
use image::{ExtendedColorType, ImageEncoder, codecs::png::PngEncoder};

use crate::draw::{Frame, Ink, Point, Rectangle, Size, advance, draw_text};
use crate::faces::{Catalogue, FaceError};

/// The difference of two pictures. What one of them does not have counts as dark.
#[derive(Clone, Debug)]
pub struct Difference<'a> {
    reference: &'a Frame,
    now: &'a Frame,
    /// How many pixels differ.
    pub pixels: usize,
    /// The top left corner of the smallest rectangle with all of them.
    pub first: Point,
    /// The bottom right corner of it, which lies within.
    pub last: Point,
}

/// Why there is no picture of a difference.
#[derive(Debug, thiserror::Error)]
pub enum PictureError {
    /// The face of its captions is not there.
    #[error(transparent)]
    Face(#[from] FaceError),
    /// The PNG could not be made.
    #[error("cannot make a PNG: {0}")]
    Png(#[from] image::ImageError),
}

type Color = [u8; 3];

const PAPER: Color = [48, 48, 48];
const WORDS: Color = [230, 230, 230];
const DARK: Color = [0, 0, 0];
const LIT: Color = [255, 255, 255];
/// A lit pixel that stays as it was, beside those that do not.
const STAYS: Color = [88, 88, 88];
/// Lit now, and dark before. With its opposite it is told apart by people who see few colours, too: one is much lighter.
const COMES: Color = [80, 220, 255];
/// Dark now, and lit before.
const GOES: Color = [214, 84, 0];

/// Pixels of the PNG for each of a panel.
const SCALE: usize = 4;
/// Pixels of paper around everything and between its parts.
const MARGIN: i32 = 4;

impl<'a> Difference<'a> {
    /// How `now` differs from `reference`; `None` where both are the same to the bit.
    pub fn new(reference: &'a Frame, now: &'a Frame) -> Option<Self> {
        if reference == now {
            return None;
        }
        let Size { width, height } = reference.size().component_max(now.size());
        let everywhere = Rectangle::new(Point::zero(), Size::new(width, height)).points();
        let (mut pixels, mut first, mut last) = (0, Point::zero(), Point::zero());
        for at in everywhere.filter(|at| reference.pixel(*at) != now.pixel(*at)) {
            (first, last) = if pixels == 0 { (at, at) } else { (first.component_min(at), last.component_max(at)) };
            pixels += 1;
        }
        Some(Self { reference, now, pixels, first, last })
    }

    /// What differs, in words: `12 pixels differ, from 71,8 to 84,20`.
    pub fn words(&self) -> String {
        let (before, now) = (self.reference.size(), self.now.size());
        if before != now {
            return format!(
                "{}x{} pixels, and the reference has {}x{}",
                now.width, now.height, before.width, before.height
            );
        }
        let (first, last) = (self.first, self.last);
        match self.pixels {
            1 => format!("1 pixel differs, at {},{}", first.x, first.y),
            pixels => format!("{pixels} pixels differ, from {},{} to {},{}", first.x, first.y, last.x, last.y),
        }
    }

    /// One PNG with the reference, the picture as it is now, and where they differ, one below the other.
    pub fn png(&self) -> Result<Vec<u8>, PictureError> {
        let strike = Catalogue::new().strike("small", 7)?;
        let line = (strike.ascent() + strike.descent()) as i32;
        let panel = self.reference.size().component_max(self.now.size());
        let words = |text: &str, color| (text.to_string(), color);
        let differ = if self.pixels == 1 { "1 differs:" } else { &format!("{} differ:", self.pixels) };
        let legend = vec![words(differ, WORDS), words("lit now,", COMES), words("dark now", GOES)];
        let captions = [vec![words("reference", WORDS)], vec![words("now", WORDS)], legend];
        let space = advance(&strike, " ");
        let lengths = captions
            .iter()
            .map(|caption| caption.iter().map(|(text, _)| advance(&strike, text) + space).sum::<i32>().unsigned_abs());
        let width = lengths.max().unwrap_or(0).max(panel.width) + 2 * MARGIN as u32;
        let part = line + 1 + panel.height as i32 + MARGIN;
        let mut canvas = Canvas::new(Size::new(width, (MARGIN + 3 * part).unsigned_abs()));
        for (place, caption) in captions.iter().enumerate() {
            let top = MARGIN + place as i32 * part;
            let mut pen = Point::new(MARGIN, top + strike.ascent() as i32);
            for (text, color) in caption {
                let mut mask = Frame::new(canvas.size);
                draw_text(&mut mask.whole(), &strike, pen, text, Ink::Full);
                canvas.paint(Point::zero(), canvas.size, |at| mask.pixel(at).then_some(*color));
                pen.x += advance(&strike, text) + space;
            }
            canvas.paint(Point::new(MARGIN, top + line + 1), panel, |at| {
                Some(match (place, self.reference.pixel(at), self.now.pixel(at)) {
                    (0, true, _) | (1, _, true) => LIT,
                    (2, true, true) => STAYS,
                    (2, false, true) => COMES,
                    (2, true, false) => GOES,
                    _ => DARK,
                })
            });
        }
        Ok(canvas.png()?)
    }
}

/// A picture in colour.
struct Canvas {
    size: Size,
    pixels: Vec<Color>,
}

impl Canvas {
    fn new(size: Size) -> Self {
        Self { size, pixels: vec![PAPER; size.width as usize * size.height as usize] }
    }

    /// Gives each pixel of a rectangle the colour of its place in it, if there is one.
    fn paint(&mut self, corner: Point, size: Size, color: impl Fn(Point) -> Option<Color>) {
        for at in Rectangle::new(Point::zero(), size).points() {
            let place = (corner.y + at.y) as usize * self.size.width as usize + (corner.x + at.x) as usize;
            if let (Some(pixel), Some(color)) = (self.pixels.get_mut(place), color(at)) {
                *pixel = color;
            }
        }
    }

    fn png(&self) -> image::ImageResult<Vec<u8>> {
        let rows = self.pixels.chunks(self.size.width as usize);
        let tall = rows.flat_map(|row| std::iter::repeat_n(row, SCALE));
        let wide: Vec<u8> = tall.flatten().flat_map(|color| std::iter::repeat_n(*color, SCALE)).flatten().collect();
        let (width, height) = (self.size.width * SCALE as u32, self.size.height * SCALE as u32);
        let mut bytes = Vec::new();
        PngEncoder::new(&mut bytes).write_image(&wide, width, height, ExtendedColorType::Rgb8)?;
        Ok(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(width: u32, lit: &[(i32, i32)]) -> Frame {
        let mut frame = Frame::new(Size::new(width, 8));
        lit.iter().for_each(|(x, y)| frame.set_pixel(Point::new(*x, *y), true));
        frame
    }

    #[test]
    fn what_is_the_same_has_no_difference() {
        assert!(Difference::new(&frame(16, &[(3, 2)]), &frame(16, &[(3, 2)])).is_none());
    }

    #[test]
    fn pixels_are_counted_and_enclosed() {
        let (before, now) = (frame(16, &[(3, 2), (5, 5)]), frame(16, &[(3, 2), (9, 4)]));
        let difference = Difference::new(&before, &now).unwrap();
        assert_eq!(difference.words(), "2 pixels differ, from 5,4 to 9,5");
        let one = frame(16, &[(3, 2)]);
        assert_eq!(Difference::new(&before, &one).unwrap().words(), "1 pixel differs, at 5,5");
    }

    #[test]
    fn another_size_is_a_difference() {
        let (before, now) = (frame(16, &[]), frame(24, &[]));
        let difference = Difference::new(&before, &now).unwrap();
        assert_eq!((difference.pixels, difference.words().as_str()), (0, "24x8 pixels, and the reference has 16x8"));
        assert!(difference.png().is_ok());
    }
}
