//! A strike: one face at one pixel size, its glyphs packed for the frame.

use crate::draw::{Bitmap, Size};

/// One character's picture and measures.
#[derive(Clone, Debug, PartialEq)]
pub struct Glyph {
    /// The lit pixels, without empty rows or columns around them.
    pub bitmap: Bitmap,
    /// Pixels from the pen to the left edge of the bitmap.
    pub left: i32,
    /// Rows from the baseline up to the top row of the bitmap; a glyph that stands on the baseline and is seven rows tall
    /// has a `rise` of seven.
    pub rise: i32,
    /// How far the pen moves.
    pub advance: u32,
}

/// A face at one size. All digits share one advance.
#[derive(Clone, Debug)]
pub struct Strike {
    name: String,
    figure_height: u32,
    ascent: u32,
    descent: u32,
    /// Sorted by character.
    glyphs: Vec<(char, Glyph)>,
    missing: Glyph,
    figure_ink: (i32, i32),
    /// For each character of Latin-1 the place of its glyph, for speed: readings are made of them.
    latin: Box<[Option<u16>; 256]>,
}

impl Strike {
    /// A strike from its glyphs.
    ///
    /// `figure_height` is the height of its digits in pixels, which decides from how far it can be read; `ascent` and
    /// `descent` are the rows that a line needs above and below the baseline; `missing` is drawn for a character that the
    /// face lacks.
    pub fn new(
        name: impl Into<String>,
        figure_height: u32,
        ascent: u32,
        descent: u32,
        mut glyphs: Vec<(char, Glyph)>,
        missing: Glyph,
    ) -> Self {
        if let Some((_, zero)) = glyphs.iter().find(|(c, _)| *c == '0') {
            // A space as wide as a digit, for numbers that are filled up to a width; a face's own comes first.
            let space = Glyph { bitmap: Bitmap::new(Size::zero()), left: 0, rise: 0, advance: zero.advance };
            glyphs.push(('\u{2007}', space));
        }
        glyphs.sort_by_key(|(c, _)| *c);
        glyphs.dedup_by_key(|(c, _)| *c);
        let digits = || glyphs.iter().filter(|(c, _)| c.is_ascii_digit()).map(|(_, glyph)| glyph);
        let left = digits().map(|glyph| glyph.left).min().unwrap_or(0);
        let right = digits().map(|glyph| glyph.left + glyph.bitmap.size().width as i32).max().unwrap_or(0);
        let mut latin = Box::new([None; 256]);
        for (place, (character, _)) in glyphs.iter().enumerate() {
            if let Some(slot) = latin.get_mut(*character as usize) {
                *slot = u16::try_from(place).ok();
            }
        }
        Self { name: name.into(), figure_height, ascent, descent, glyphs, missing, figure_ink: (left, right), latin }
    }

    /// The face's name and the strike's size, such as `wide 24`.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The height of the digits in pixels.
    pub fn figure_height(&self) -> u32 {
        self.figure_height
    }

    /// Rows that a line needs above the baseline.
    pub fn ascent(&self) -> u32 {
        self.ascent
    }

    /// Rows that a line needs below the baseline.
    pub fn descent(&self) -> u32 {
        self.descent
    }

    /// The glyph of a character, if the face has it.
    pub fn glyph(&self, character: char) -> Option<&Glyph> {
        let place = match self.latin.get(character as usize) {
            Some(place) => usize::from((*place)?),
            None => self.glyphs.binary_search_by_key(&character, |(c, _)| *c).ok()?,
        };
        Some(&self.glyphs[place].1)
    }

    /// The glyph of a character, or the box that stands for one that the face lacks.
    pub fn glyph_or_missing(&self, character: char) -> &Glyph {
        self.glyph(character).unwrap_or(&self.missing)
    }

    /// The ink of any digit within its cell: from the leftmost left edge to the rightmost right edge. Numbers are aligned by
    /// this, so that they do not shift sideways when a digit changes.
    pub fn figure_ink(&self) -> (i32, i32) {
        self.figure_ink
    }

    /// Dark columns between the digits of the widest neighbours.
    pub fn figure_gap(&self) -> u32 {
        let (left, right) = self.figure_ink;
        (self.glyph_or_missing('0').advance as i32 - (right - left)).max(0) as u32
    }

    /// The box that stands for a character that the face lacks.
    pub fn missing(&self) -> &Glyph {
        &self.missing
    }

    /// Every glyph with its character, in the order of the characters.
    pub fn glyphs(&self) -> impl Iterator<Item = (char, &Glyph)> {
        self.glyphs.iter().map(|(c, glyph)| (*c, glyph))
    }
}
