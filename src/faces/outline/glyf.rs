//! A look at TrueType outlines before they are drawn: how far they reach and how many parts they have.
//!
//! What enters are the tables `glyf` and `loca` and a glyph's number; what leaves is a refusal or none. A glyph may be composed of
//! others, those of others again; without a bound a few hundred bytes ask for years of drawing. Nothing here draws.
//!
//! Source: ISO/IEC 14496-22 (Open Font Format), section `glyf`.

use super::sfnt::{u16_at, u32_at};

/// The longest description of a glyph that is read, parts included, in bytes.
const MAX_BYTES: usize = 32 << 10;
/// The most parts of a composed glyph.
const MAX_PARTS: usize = 64;
/// How deep parts may be composed of parts.
const MAX_DEPTH: u32 = 5;
/// How far from the origin an outline may reach, in ems.
const MAX_REACH: f32 = 8.0;

// Flags of a part of a composed glyph.
const WORDS: u16 = 0x1;
const ONE_FACTOR: u16 = 0x8;
const MORE: u16 = 0x20;
const TWO_FACTORS: u16 = 0x40;
const MATRIX: u16 = 0x80;

/// The outlines of a TrueType face.
pub(super) struct Outlines<'a> {
    pub glyf: &'a [u8],
    pub loca: &'a [u8],
    /// Whether `loca` holds 32-bit offsets.
    pub long: bool,
}

/// What is still allowed while a glyph and its parts are looked at.
struct Budget {
    bytes: usize,
    parts: usize,
}

impl Outlines<'_> {
    /// Refuses a glyph that is larger than any letter has reason to be. A glyph that is cut short passes: the reader
    /// of outlines knows what to do with it.
    pub fn check(&self, glyph: u16, units_per_em: u16) -> Result<(), &'static str> {
        let mut budget = Budget { bytes: MAX_BYTES, parts: MAX_PARTS };
        let reach = self.reach(glyph, 0, &mut budget)?;
        if reach > MAX_REACH * f32::from(units_per_em) { Err("reaches too far") } else { Ok(()) }
    }

    /// The largest coordinate of a glyph and its parts, in font units.
    fn reach(&self, glyph: u16, depth: u32, budget: &mut Budget) -> Result<f32, &'static str> {
        let Some(data) = self.data(glyph).filter(|data| !data.is_empty()) else { return Ok(0.0) };
        budget.bytes = budget.bytes.checked_sub(data.len()).ok_or("has too long a description")?;
        match u16_at(data, 0).map(u16::cast_signed) {
            Some(contours @ 0..) => Ok(simple_reach(data, contours as usize).unwrap_or(0.0)),
            Some(_) if depth == MAX_DEPTH => Err("is composed too deeply"),
            Some(_) => self.composed_reach(data, depth, budget),
            None => Ok(0.0),
        }
    }

    fn composed_reach(&self, data: &[u8], depth: u32, budget: &mut Budget) -> Result<f32, &'static str> {
        let (mut place, mut most) = (10, 0.0_f32);
        while let (Some(flags), Some(glyph)) = (u16_at(data, place), u16_at(data, place + 2)) {
            budget.parts = budget.parts.checked_sub(1).ok_or("has too many parts")?;
            place += 4;
            let offset = if flags & WORDS != 0 {
                place += 4;
                let word = |at| u16_at(data, at).map_or(0, |word| word.cast_signed().unsigned_abs());
                word(place - 4).max(word(place - 2))
            } else {
                place += 2;
                // The largest that a signed byte can say.
                128
            };
            let factors = match flags {
                _ if flags & ONE_FACTOR != 0 => 1,
                _ if flags & TWO_FACTORS != 0 => 2,
                _ if flags & MATRIX != 0 => 4,
                _ => 0,
            };
            place += factors * 2;
            // Each factor is below two, and a row of the matrix has two of them.
            let factor = [1.0, 2.0, 2.0, 4.0, 4.0][factors];
            most = most.max(self.reach(glyph, depth + 1, budget)? * factor + f32::from(offset));
            if flags & MORE == 0 {
                break;
            }
        }
        Ok(most)
    }

    fn data(&self, glyph: u16) -> Option<&[u8]> {
        let index = usize::from(glyph);
        let offset = |index: usize| {
            if self.long {
                u32_at(self.loca, index * 4)
            } else {
                u16_at(self.loca, index * 2).map(|half| u32::from(half) * 2)
            }
        };
        self.glyf.get(offset(index)? as usize..offset(index + 1)? as usize)
    }
}

/// The largest coordinate of a glyph that is not composed; none if its description is cut short.
fn simple_reach(data: &[u8], contours: usize) -> Option<f32> {
    let ends = 10;
    let points = usize::from(u16_at(data, ends + contours.checked_sub(1)? * 2)?) + 1;
    let mut place = ends + contours * 2;
    place += 2 + usize::from(u16_at(data, place)?);

    // A flag may stand for up to 256 points.
    let mut flags = Vec::with_capacity(points);
    while flags.len() < points {
        let flag = *data.get(place)?;
        let repeats = if flag & 0x8 != 0 { usize::from(*data.get(place + 1)?) } else { 0 };
        place += if flag & 0x8 != 0 { 2 } else { 1 };
        flags.extend(std::iter::repeat_n(flag, repeats + 1));
    }

    let mut most = 0;
    // An axis has two flags: whether a step is one byte, and its sign, or whether there is no step at all.
    for (short, positive_or_same) in [(0x2, 0x10), (0x4, 0x20)] {
        let mut at = 0_i32;
        for flag in flags.iter().take(points) {
            at += match (flag & short != 0, flag & positive_or_same != 0) {
                (false, true) => 0,
                (false, false) => {
                    place += 2;
                    i32::from(u16_at(data, place - 2)?.cast_signed())
                }
                (true, positive) => {
                    place += 1;
                    i32::from(*data.get(place - 1)?) * if positive { 1 } else { -1 }
                }
            };
            most = most.max(at.abs());
        }
    }
    Some(most as f32)
}
