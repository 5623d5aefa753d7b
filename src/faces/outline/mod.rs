//! Outline faces: TrueType and OpenType files as one-bit strikes of any size.
//!
//! What enters are the untrusted bytes of a font file and a figure height; what leaves is a [`Strike`]. [`Outline::load`] keeps a
//! large mask of every wanted character and nothing of the file. At each size the masks are fitted to the pixel grid: stems,
//! bars, the x-height and the height of the digits become whole pixels, so that no stroke is lost and equal ones stay equal.
//! Nothing here opens a file.

mod fit;
mod glyf;
mod load;
mod mask;
mod picture;
mod sfnt;
mod shape;
#[cfg(test)]
pub(super) mod specimen;
mod strokes;
#[cfg(test)]
mod tests;

use std::ops::RangeInclusive;

use super::{Glyph, Strike};
use crate::draw::{Bitmap, Size};
pub use load::OutlineError;
use shape::{Fitting, Shapes};

/// The figure heights in pixels that an outline face comes in. Below them only a face that was drawn by hand can be read.
pub const FIGURE_HEIGHTS: RangeInclusive<u32> = 9..=64;

/// An outline face, ready to be drawn at any size.
#[derive(Debug)]
pub(super) struct Outline {
    shapes: Shapes,
}

impl Outline {
    /// Loads a font file with the usual characters (see [`load::USUAL`]) and those of `more`.
    ///
    /// Takes up to [`load::PATIENCE`], on a thread of its own.
    pub fn load(bytes: &[u8], more: &str) -> Result<Self, OutlineError> {
        Ok(Self { shapes: Shapes::new(load::masters(bytes, more)?)? })
    }

    /// Whether the face has a glyph for the character.
    pub fn has(&self, character: char) -> bool {
        self.shapes.get(character).is_some()
    }

    /// Draws every character with digits of `figure_height` pixels.
    pub fn strike(&self, name: &str, figure_height: u32) -> Strike {
        let fitting = Fitting::new(&self.shapes, figure_height);
        let mut glyphs: Vec<(char, Glyph)> =
            self.shapes.iter().map(|(character, shape)| (character, fitting.glyph(character, shape))).collect();
        let figure = fitting.figure_advance();
        let blank = |advance| Glyph { bitmap: Bitmap::new(Size::zero()), left: 0, rise: 0, advance };
        let space = fitting.space_advance();
        glyphs.extend([(' ', blank(space)), ('\u{a0}', blank(space)), ('\u{2007}', blank(figure))]);

        let plain = || glyphs.iter().filter(|(character, _)| character.is_ascii());
        let ascent = plain().map(|(_, glyph)| glyph.rise).max().unwrap_or(0).max(figure_height as i32);
        let descent =
            plain().map(|(_, glyph)| glyph.bitmap.size().height as i32 - glyph.rise).max().unwrap_or(0).max(0);
        let missing = Glyph::hollow_box(figure_height, Some(figure));
        let name = format!("{name} {figure_height}");
        Strike::new(name, figure_height, ascent.unsigned_abs(), descent.unsigned_abs(), glyphs, missing)
    }
}
