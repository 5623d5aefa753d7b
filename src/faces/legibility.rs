//! What tells digits apart: how wide their strokes are, and in how many pixels two of them differ.
//!
//! What enters is a [`Strike`]; what leaves are figures by which a face that somebody brings can be judged before it is read from afar.

use std::collections::BTreeMap;

use super::{Glyph, Strike};

/// An outline keeps the shape of its digits from this height on; in fewer pixels a digit may lose a feature (measured: `fonts/README.md`).
pub const LEAST_OUTLINE: u32 = 12;

/// Light strokes on a dark ground are to be from 1/8 to 1/7 of the height of a digit: DOD-HDBK-791(AM), 6-5.3.2.3. No stroke of
/// whole pixels keeps to that at every size, so that one of half as much up to twice as much is let pass.
const STROKES: (f64, f64) = (1.0 / 16.0, 2.0 / 7.0);

/// Digits that differ in a smaller share of their pixels are taken for one another: no built-in face has two that are so near, and those
/// are read (`tests/legibility`). The 0 and the 8 of seven segments are.
const ALIKE: f64 = 0.06;

/// How wide a stroke is beside what a digit of its height needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// It is lost before the shape of the digit is.
    Thin,
    /// As it is to be.
    Good,
    /// It fills what tells digits apart.
    Thick,
}

impl Strike {
    /// The width of an upright stroke: the length that most runs of lit pixels have along the rows of the digits. None where the digits
    /// have no ink.
    pub fn stroke(&self) -> Option<u32> {
        let mut counts: BTreeMap<u32, u32> = BTreeMap::new();
        for (_, glyph) in self.glyphs().filter(|(character, _)| character.is_ascii_digit()) {
            let size = glyph.bitmap.size();
            for y in 0..size.height {
                let mut run = 0;
                // One column more than there are, so that the last run ends as well.
                for x in 0..=size.width {
                    if glyph.bitmap.pixel(x, y) {
                        run += 1;
                    } else if run > 0 {
                        *counts.entry(run).or_default() += 1;
                        run = 0;
                    }
                }
            }
        }
        counts.into_iter().max_by_key(|(_, count)| *count).map(|(run, _)| run)
    }

    /// How wide its strokes are for their height.
    pub fn weight(&self) -> Weight {
        let Some(stroke) = self.stroke() else { return Weight::Good };
        let share = f64::from(stroke) / f64::from(self.figure_height());
        match share {
            _ if share < STROKES.0 => Weight::Thin,
            _ if share > STROKES.1 => Weight::Thick,
            _ => Weight::Good,
        }
    }

    /// Two digits that are taken for one another, with the share of their pixels in which they differ: the nearest two, where that is too
    /// few.
    pub fn alike(&self) -> Option<(char, char, f64)> {
        let digits: Vec<(char, &Glyph)> = self.glyphs().filter(|(character, _)| character.is_ascii_digit()).collect();
        let pairs =
            digits.iter().enumerate().flat_map(|(place, one)| digits[..place].iter().map(move |other| (other, one)));
        let shares = pairs.map(|((a, one), (b, other))| {
            let all = one.lit() + other.lit();
            (*a, *b, one.difference(other) as f64 / all.max(1) as f64)
        });
        shares.min_by(|(.., one), (.., other)| one.total_cmp(other)).filter(|(.., share)| *share < ALIKE)
    }
}

impl Glyph {
    /// How many of its pixels are lit.
    fn lit(&self) -> usize {
        let bytes = (0..self.bitmap.pages()).flat_map(|page| self.bitmap.page(page));
        bytes.map(|byte| byte.count_ones() as usize).sum()
    }

    /// In how many pixels two glyphs differ where they lie on each other best: the other one may be moved by a pixel in either direction,
    /// since nobody compares by the pixel grid.
    pub fn difference(&self, other: &Glyph) -> usize {
        let lit = |glyph: &Glyph, x: i32, y: i32| match (u32::try_from(x - glyph.left), u32::try_from(y + glyph.rise)) {
            (Ok(x), Ok(y)) => glyph.bitmap.pixel(x, y),
            _ => false,
        };
        let size = other.bitmap.size();
        let places = (0..size.height as i32).flat_map(|y| (0..size.width as i32).map(move |x| (x, y)));
        let places = places.map(|(x, y)| (x + other.left, y - other.rise));
        let pixels: Vec<(i32, i32)> = places.filter(|(x, y)| lit(other, *x, *y)).collect();
        let all = self.lit() + pixels.len();
        let moves = (-1..=1).flat_map(|x| (-1..=1).map(move |y| (x, y)));
        let differing = moves.map(|(dx, dy)| {
            let shared = pixels.iter().filter(|(x, y)| lit(self, x + dx, y + dy)).count();
            all - 2 * shared
        });
        differing.min().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::{Bitmap, Size};

    /// Digits of which each has the segments that are named, as upright and level bars around two fields of so many pixels.
    fn segments(side: u32, stroke: u32) -> Strike {
        // From the top clockwise, then the one in the middle.
        const LIT: [&str; 10] =
            ["abcdef", "bc", "abged", "abgcd", "fgbc", "afgcd", "afgedc", "abc", "abcdefg", "gfabcd"];
        let (width, height) = (side + 2 * stroke, 2 * side + 3 * stroke);
        let glyph = |lit: &str| {
            let bitmap = Bitmap::from_fn(Size::new(width, height), |x, y| {
                lit.chars().any(|segment| {
                    let (left, top, wide, tall) = match segment {
                        'a' => (0, 0, width, stroke),
                        'b' => (width - stroke, 0, stroke, side + 2 * stroke),
                        'c' => (width - stroke, side + stroke, stroke, side + 2 * stroke),
                        'd' => (0, height - stroke, width, stroke),
                        'e' => (0, side + stroke, stroke, side + 2 * stroke),
                        'f' => (0, 0, stroke, side + 2 * stroke),
                        _ => (0, side + stroke, width, stroke),
                    };
                    (left..left + wide).contains(&x) && (top..top + tall).contains(&y)
                })
            });
            Glyph { bitmap, left: 0, rise: height as i32, advance: width + 1 }
        };
        let digits = ('0'..='9').zip(LIT).map(|(digit, lit)| (digit, glyph(lit)));
        Strike::new("segments", height, height, 0, digits.collect(), glyph(""))
    }

    #[test]
    fn the_stroke_is_what_most_rows_show() {
        for (side, stroke, weight) in [(6, 2, Weight::Good), (10, 1, Weight::Thin)] {
            let strike = segments(side, stroke);
            assert_eq!((strike.stroke(), strike.weight()), (Some(stroke), weight), "{side} {stroke}");
        }
    }

    #[test]
    fn a_segment_is_not_enough_and_two_are() {
        let strike = segments(6, 2);
        let (one, other, share) = strike.alike().unwrap();
        assert_eq!((one, other), ('0', '8'));
        // The pixels of the one in the middle that belong to no other, of all of both.
        assert_eq!(share, 12.0 / 204.0);
        let rest =
            strike.glyphs().filter(|(character, _)| "258".contains(*character)).map(|(c, glyph)| (c, glyph.clone()));
        let (rest, height) = (rest.collect(), strike.figure_height());
        assert_eq!(Strike::new("few", height, height, 0, rest, strike.missing().clone()).alike(), None);
    }

    #[test]
    fn what_is_moved_by_a_pixel_is_the_same() {
        let glyph = segments(6, 2).glyph('5').unwrap().clone();
        let moved = Glyph { left: glyph.left + 1, rise: glyph.rise - 1, ..glyph.clone() };
        assert_eq!(glyph.difference(&moved), 0);
        let further = Glyph { left: glyph.left + 2, ..glyph.clone() };
        assert!(glyph.difference(&further) > 0 && further.difference(&glyph) == glyph.difference(&further));
    }
}
