//! A run of characters in one strike: where each glyph goes, and what the run measures.
//!
//! What enters is a strike and a text; what leaves are glyphs with their places, one after the other, and an [`Extent`]. There
//! is no kerning and no line breaking, and nothing here allocates.

use std::str::Chars;

use super::{Glyph, Strike};

/// What a run of characters measures, in pixels from the pen's start on the baseline; y grows downwards.
///
/// The ink is what is lit: from `left` to just before `right`, and from `top` to just before `bottom`. Without any lit pixel
/// all four are zero.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Extent {
    /// How far the pen moves.
    pub advance: u32,
    /// The first lit column; negative where ink begins before the pen.
    pub left: i32,
    /// The column after the last lit one.
    pub right: i32,
    /// The first lit row; `-7` is seven rows above the baseline.
    pub top: i32,
    /// The row after the last lit one; `0` where nothing hangs below the baseline.
    pub bottom: i32,
}

impl Extent {
    /// Columns from the first lit one to the last lit one.
    pub fn width(&self) -> u32 {
        self.right.abs_diff(self.left)
    }

    /// Rows from the first lit one to the last lit one.
    pub fn height(&self) -> u32 {
        self.bottom.abs_diff(self.top)
    }

    /// Whether no pixel is lit.
    pub fn is_blank(&self) -> bool {
        self.left == self.right
    }
}

/// The glyphs of a text, each with the place of the pen; made by [`Strike::run`].
#[derive(Clone, Debug)]
pub struct Run<'a> {
    strike: &'a Strike,
    characters: Chars<'a>,
    pen: i32,
}

impl<'a> Iterator for Run<'a> {
    /// A glyph, and the pen's x in pixels from the start of the run. The left edge of the bitmap is at `x + glyph.left`, its
    /// top row at the baseline minus `glyph.rise`.
    type Item = (&'a Glyph, i32);

    fn next(&mut self) -> Option<Self::Item> {
        let character = self.characters.next()?;
        let glyph = self.strike.glyph(character).unwrap_or(self.strike.missing());
        let x = self.pen;
        self.pen = x.saturating_add_unsigned(glyph.advance);
        Some((glyph, x))
    }
}

impl Strike {
    /// The glyphs of `text` from left to right; a character that the face lacks gives the box of [`Strike::missing`].
    pub fn run<'a>(&'a self, text: &'a str) -> Run<'a> {
        Run { strike: self, characters: text.chars(), pen: 0 }
    }

    /// What `text` measures when it is drawn with this strike.
    pub fn measure(&self, text: &str) -> Extent {
        let mut extent = Extent::default();
        let mut run = self.run(text);
        for (glyph, x) in run.by_ref() {
            let size = glyph.bitmap.size();
            if size.width == 0 || size.height == 0 {
                continue;
            }
            let left = x.saturating_add(glyph.left);
            let right = left.saturating_add_unsigned(size.width);
            let bottom = size.height as i32 - glyph.rise;
            if extent.is_blank() {
                (extent.left, extent.right) = (left, right);
                (extent.top, extent.bottom) = (-glyph.rise, bottom);
            } else {
                (extent.left, extent.right) = (extent.left.min(left), extent.right.max(right));
                (extent.top, extent.bottom) = (extent.top.min(-glyph.rise), extent.bottom.max(bottom));
            }
        }
        extent.advance = run.pen.unsigned_abs();
        extent
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::Bitmap;

    fn glyph(rows: &[&str], left: i32, rise: i32, advance: u32) -> Glyph {
        Glyph { bitmap: Bitmap::from_pattern(rows), left, rise, advance }
    }

    fn strike() -> Strike {
        let glyphs = vec![
            ('1', glyph(&[".#", "##", ".#", ".#"], 1, 4, 4)),
            (' ', glyph(&[], 0, 0, 3)),
            ('j', glyph(&["..#", "...", "..#", "..#", "##."], -1, 3, 2)),
            ('-', glyph(&["###"], 1, 2, 5)),
        ];
        Strike::new("tiny 4", 4, 4, 2, glyphs, glyph(&["###", "#.#", "###"], 0, 3, 4))
    }

    #[test]
    fn places_each_glyph_where_the_pen_stands() {
        let strike = strike();
        let places: Vec<(u32, i32)> = strike.run("1 -j?").map(|(glyph, x)| (glyph.advance, x)).collect();
        assert_eq!(places, [(4, 0), (3, 4), (5, 7), (2, 12), (4, 14)]);
    }

    #[test]
    fn ink_goes_from_the_first_lit_column_to_the_last() {
        let strike = strike();
        let of = |text: &str| strike.measure(text);
        assert_eq!(of("1"), Extent { advance: 4, left: 1, right: 3, top: -4, bottom: 0 });
        assert_eq!(of("-"), Extent { advance: 5, left: 1, right: 4, top: -2, bottom: -1 });
        assert_eq!(of("11"), Extent { advance: 8, left: 1, right: 7, top: -4, bottom: 0 });
        assert_eq!((of("11").width(), of("11").height()), (6, 4));
    }

    #[test]
    fn ink_may_begin_before_the_pen_and_hang_below_the_baseline() {
        assert_eq!(strike().measure("j"), Extent { advance: 2, left: -1, right: 2, top: -3, bottom: 2 });
    }

    #[test]
    fn blanks_move_the_pen_and_have_no_ink() {
        let strike = strike();
        assert_eq!(strike.measure(""), Extent::default());
        assert_eq!(strike.measure("  "), Extent { advance: 6, ..Extent::default() });
        assert!(strike.measure("  ").is_blank());
        assert_eq!(strike.measure(" 1 "), Extent { advance: 10, left: 4, right: 6, top: -4, bottom: 0 });
    }

    #[test]
    fn a_character_that_the_face_lacks_takes_the_room_of_the_box() {
        assert_eq!(strike().measure("é"), Extent { advance: 4, left: 0, right: 3, top: -3, bottom: 0 });
    }
}
