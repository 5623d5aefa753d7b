//! Bitmap faces in BDF 2.2, the Glyph Bitmap Distribution Format.
//!
//! What enters is the text of one BDF file; what leaves is a [`Sheet`] of named glyphs, which becomes a [`Strike`] or a set of
//! icons. The text is not trusted: every size and count is capped, and a mistake is an error with its line. Nothing here opens a
//! file.
//!
//! Source: Adobe Systems, Glyph Bitmap Distribution Format (BDF) Specification, version 2.2, technical note 5005. The property
//! `FIGURE_HEIGHT`, the height of the digits in pixels, is this project's own.

use std::collections::HashSet;
use std::ops::RangeInclusive;

use super::{Glyph, Strike};
use crate::draw::{Bitmap, Size};

/// The longest text that is read, in bytes.
pub const MAX_BYTES: usize = 4 << 20;
/// The most glyphs that are read.
pub const MAX_GLYPHS: usize = 16_384;
/// The widest and tallest glyph, and the furthest from its origin, in pixels.
pub const MAX_SIDE: u32 = 256;

const BYTES_A_ROW: usize = MAX_SIDE as usize / 8;

/// What is wrong with a BDF text, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line} of the bitmap face: {problem}")]
pub struct BdfError {
    /// The line, counted from 1.
    pub line: usize,
    /// What is wrong there.
    pub problem: BdfProblem,
}

/// What can be wrong with a line of a BDF text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BdfProblem {
    /// The text is longer than [`MAX_BYTES`].
    #[error("the text has {0} bytes; at most {MAX_BYTES} are read")]
    TooLong(usize),
    /// The text does not begin with `STARTFONT 2.1` or `2.2`.
    #[error("expected `STARTFONT 2.1` or `STARTFONT 2.2` at the beginning")]
    NotBdf,
    /// The text ends before `ENDFONT`.
    #[error("the text ends here; expected {0}")]
    Cut(&'static str),
    /// A keyword where it has no place.
    #[error("`{found}` has no place here; expected {expected}")]
    Unexpected {
        /// The keyword, cut to a few characters.
        found: String,
        /// What could stand here.
        expected: &'static str,
    },
    /// A number that is missing, no number, or outside what is read.
    #[error("{what} needs a number from {least} to {most}, found `{found}`")]
    Number {
        /// Which number.
        what: &'static str,
        /// The least that is read.
        least: i32,
        /// The most that is read.
        most: i32,
        /// What stood there, cut to a few characters.
        found: String,
    },
    /// A bitmap row that is no hexadecimal number of the right length.
    #[error("expected a bitmap row of {digits} hexadecimal digits, found `{found}`")]
    Row {
        /// How many digits the width of the glyph asks for.
        digits: usize,
        /// What stood there, cut to a few characters.
        found: String,
    },
    /// Something that every face or glyph needs is missing.
    #[error("`{0}` is missing")]
    Missing(&'static str),
    /// A second glyph for the same character.
    #[error("a second glyph for U+{0:04X}")]
    Twice(u32),
    /// The number after `CHARS` is not the number of glyphs.
    #[error("`CHARS` promises {promised} glyphs, found {found}")]
    Count {
        /// What the line said.
        promised: usize,
        /// How many came.
        found: usize,
    },
    /// A face that is written from top to bottom.
    #[error("the face is for vertical writing only (`METRICSSET 1`)")]
    Vertical,
    /// A face without a digit zero and without `FIGURE_HEIGHT`.
    #[error("neither `FIGURE_HEIGHT` nor a glyph for the digit 0")]
    NoFigures,
}

/// A glyph with its character and its name in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// What `STARTCHAR` says.
    pub name: String,
    /// The character whose code point `ENCODING` gives.
    pub character: char,
    /// The picture and its measures.
    pub glyph: Glyph,
}

/// Everything of a BDF text that is used here.
#[derive(Clone, Debug)]
pub struct Sheet {
    ascent: u32,
    descent: u32,
    figure_height: Option<u32>,
    default: Option<char>,
    glyphs: Vec<Named>,
    lines: usize,
}

impl Sheet {
    /// Reads a BDF text. Glyphs without a Unicode code point (`ENCODING -1`) are left out.
    pub fn parse(text: &str) -> Result<Self, BdfError> {
        if text.len() > MAX_BYTES {
            return Err(BdfError { line: 1, problem: BdfProblem::TooLong(text.len()) });
        }
        let mut reader = Reader { lines: text.lines(), line: 0 };
        reader.sheet().map_err(|problem| BdfError { line: reader.line.max(1), problem })
    }

    /// The glyphs in the order of the file.
    pub fn glyphs(&self) -> &[Named] {
        &self.glyphs
    }

    /// The height of the digits in pixels: the property `FIGURE_HEIGHT`, or else the height of the digit 0.
    pub fn figure_height(&self) -> Option<u32> {
        self.figure_height.or_else(|| Some(self.glyph('0')?.bitmap.size().height).filter(|height| *height > 0))
    }

    fn glyph(&self, character: char) -> Option<&Glyph> {
        Some(&self.glyphs.iter().find(|named| named.character == character)?.glyph)
    }

    /// Makes a strike, called by the family's name and the figure height.
    pub fn into_strike(self, family: &str) -> Result<Strike, BdfError> {
        let error = |problem| BdfError { line: self.lines, problem };
        let figure_height = self.figure_height().ok_or(error(BdfProblem::NoFigures))?;
        let missing = match self.default.and_then(|character| self.glyph(character)) {
            Some(glyph) => glyph.clone(),
            None => Glyph::hollow_box(figure_height, self.glyph('0').map(|zero| zero.advance)),
        };
        let figures = self.glyph('0').is_some();
        let mut glyphs: Vec<_> = self.glyphs.into_iter().map(|named| (named.character, named.glyph)).collect();
        if !figures {
            // Where a face has no digits, such as the icons, its cell stands in: for the looks of what is not known.
            let size = Size::new(missing.advance, figure_height);
            let bitmap = Bitmap::from_fn(size, |_, _| true);
            glyphs.push(('0', Glyph { bitmap, left: 0, rise: figure_height as i32, advance: missing.advance }));
        }
        let name = format!("{family} {figure_height}");
        Ok(Strike::new(name, figure_height, self.ascent, self.descent, glyphs, missing))
    }
}

impl Glyph {
    /// The box that stands for a character that a face lacks: as tall as a digit, and as wide as `advance` allows.
    pub(super) fn hollow_box(figure_height: u32, advance: Option<u32>) -> Self {
        let advance = advance.unwrap_or(figure_height * 3 / 4 + 1).max(4);
        let size = Size::new(advance - 1, figure_height.max(3));
        let edge = |x, y| x == 0 || y == 0 || x + 1 == size.width || y + 1 == size.height;
        Self { bitmap: Bitmap::from_fn(size, edge), left: 0, rise: size.height as i32, advance }
    }
}

/// Reads the text a line at a time; `line` is the number of the line that was read last.
struct Reader<'a> {
    lines: std::str::Lines<'a>,
    line: usize,
}

/// What the lines between `STARTFONT` and `CHARS` say.
#[derive(Default)]
struct Header {
    ascent: Option<u32>,
    descent: Option<u32>,
    figure_height: Option<u32>,
    default: Option<char>,
    /// `FONTBOUNDINGBOX`: width, height, left edge, lowest row.
    bounds: Option<Bounds>,
    /// A `DWIDTH` for all glyphs that have none of their own.
    advance: Option<u32>,
    chars: usize,
}

#[derive(Clone, Copy)]
struct Bounds {
    width: u32,
    height: u32,
    left: i32,
    bottom: i32,
}

impl<'a> Reader<'a> {
    /// The next line that is neither empty nor a comment, as a keyword and the rest.
    fn next(&mut self, expected: &'static str) -> Result<(&'a str, &'a str), BdfProblem> {
        loop {
            let line = self.lines.next().ok_or(BdfProblem::Cut(expected))?;
            self.line += 1;
            let line = line.trim();
            let (word, rest) = line.split_once([' ', '\t']).unwrap_or((line, ""));
            if !line.is_empty() && word != "COMMENT" {
                return Ok((word, rest.trim_start()));
            }
        }
    }

    fn sheet(&mut self) -> Result<Sheet, BdfProblem> {
        match self.next("`STARTFONT`") {
            Ok(("STARTFONT", "2.1" | "2.2")) => {}
            _ => return Err(BdfProblem::NotBdf),
        }
        let header = self.header()?;
        let mut glyphs = Vec::with_capacity(header.chars);
        let mut seen = HashSet::with_capacity(header.chars);
        let mut found = 0;
        loop {
            match self.next("`STARTCHAR` or `ENDFONT`")? {
                ("ENDFONT", _) => break,
                ("STARTCHAR", name) => {
                    if found == header.chars {
                        return Err(BdfProblem::Count { promised: header.chars, found: found + 1 });
                    }
                    found += 1;
                    if let Some(named) = self.glyph(name, &header)? {
                        if !seen.insert(named.character) {
                            return Err(BdfProblem::Twice(named.character.into()));
                        }
                        glyphs.push(named);
                    }
                }
                (word, _) => return Err(unexpected(word, "`STARTCHAR` or `ENDFONT`")),
            }
        }
        if found != header.chars {
            return Err(BdfProblem::Count { promised: header.chars, found });
        }
        Ok(Sheet {
            ascent: header.ascent.ok_or(BdfProblem::Missing("FONT_ASCENT"))?,
            descent: header.descent.ok_or(BdfProblem::Missing("FONT_DESCENT"))?,
            figure_height: header.figure_height,
            default: header.default,
            glyphs,
            lines: self.line,
        })
    }

    fn header(&mut self) -> Result<Header, BdfProblem> {
        let mut header = Header::default();
        loop {
            match self.next("`CHARS`")? {
                ("STARTPROPERTIES", _) => self.properties(&mut header)?,
                ("FONTBOUNDINGBOX", rest) => header.bounds = Some(bounds("FONTBOUNDINGBOX", rest)?),
                ("DWIDTH", rest) => header.advance = Some(advance(rest)?),
                ("METRICSSET", "1") => return Err(BdfProblem::Vertical),
                ("CHARS", rest) => {
                    header.chars = number("CHARS", rest, 0..=MAX_GLYPHS as i32)? as usize;
                    return Ok(header);
                }
                (
                    "FONT" | "SIZE" | "CONTENTVERSION" | "METRICSSET" | "SWIDTH" | "SWIDTH1" | "DWIDTH1" | "VVECTOR",
                    _,
                ) => {}
                (word, _) => return Err(unexpected(word, "a line of the header, or `CHARS`")),
            }
        }
    }

    fn properties(&mut self, header: &mut Header) -> Result<(), BdfProblem> {
        let rows = 0..=MAX_SIDE as i32;
        loop {
            match self.next("`ENDPROPERTIES`")? {
                ("ENDPROPERTIES", _) => return Ok(()),
                ("FONT_ASCENT", rest) => header.ascent = Some(number("FONT_ASCENT", rest, rows.clone())? as u32),
                ("FONT_DESCENT", rest) => header.descent = Some(number("FONT_DESCENT", rest, rows.clone())? as u32),
                ("FIGURE_HEIGHT", rest) => {
                    header.figure_height = Some(number("FIGURE_HEIGHT", rest, 1..=MAX_SIDE as i32)? as u32);
                }
                ("DEFAULT_CHAR", rest) => {
                    header.default = char::from_u32(number("DEFAULT_CHAR", rest, 0..=char::MAX as i32)? as u32);
                }
                ("STARTCHAR" | "CHARS" | "ENDFONT", _) => return Err(BdfProblem::Missing("ENDPROPERTIES")),
                _ => {}
            }
        }
    }

    /// Reads up to `ENDCHAR`; a glyph without a code point is read and dropped.
    fn glyph(&mut self, name: &str, header: &Header) -> Result<Option<Named>, BdfProblem> {
        let (mut encoding, mut advance_width, mut area) = (None, header.advance, header.bounds);
        loop {
            match self.next("`BITMAP`")? {
                ("ENCODING", rest) => encoding = Some(number("ENCODING", rest, -1..=char::MAX as i32)?),
                ("DWIDTH", rest) => advance_width = Some(advance(rest)?),
                ("BBX", rest) => area = Some(bounds("BBX", rest)?),
                ("SWIDTH" | "SWIDTH1" | "DWIDTH1" | "VVECTOR", _) => {}
                ("BITMAP", _) => break,
                (word, _) => return Err(unexpected(word, "a measure of the glyph, or `BITMAP`")),
            }
        }
        let encoding = encoding.ok_or(BdfProblem::Missing("ENCODING"))?;
        let advance = advance_width.ok_or(BdfProblem::Missing("DWIDTH"))?;
        let area = area.ok_or(BdfProblem::Missing("BBX"))?;
        let glyph = self.bitmap(area, advance)?;
        let character = u32::try_from(encoding).ok().and_then(char::from_u32);
        Ok(character.map(|character| Named { name: name.to_owned(), character, glyph }))
    }

    /// Reads the rows of a bitmap and `ENDCHAR`, and cuts the empty edges off.
    fn bitmap(&mut self, area: Bounds, advance: u32) -> Result<Glyph, BdfProblem> {
        let bytes = area.width.div_ceil(8) as usize;
        // The last byte of a row may be used in part; whatever stands in the rest is no ink.
        let last_mask = 0xff_u8 << (bytes as u32 * 8 - area.width);
        let mut rows = [[0_u8; BYTES_A_ROW]; MAX_SIDE as usize];
        // Without columns there is nothing to read: such rows are empty lines, and those are passed over.
        let height = if bytes == 0 { 0 } else { area.height as usize };
        for row in rows.iter_mut().take(height) {
            let (digits, _) = self.next("a bitmap row")?;
            read_row(digits, &mut row[..bytes])?;
            if let Some(last) = row[..bytes].last_mut() {
                *last &= last_mask;
            }
        }
        match self.next("`ENDCHAR`")? {
            ("ENDCHAR", _) => {}
            (word, _) => return Err(unexpected(word, "`ENDCHAR` after the last bitmap row")),
        }
        Ok(trim(&rows[..height], area, advance))
    }
}

/// A glyph from rows of bits, without the empty rows and columns around its ink.
fn trim(rows: &[[u8; BYTES_A_ROW]], area: Bounds, advance: u32) -> Glyph {
    let inked = |row: &[u8; BYTES_A_ROW]| row.iter().any(|byte| *byte != 0);
    let (Some(top), Some(bottom)) = (rows.iter().position(inked), rows.iter().rposition(inked)) else {
        return Glyph { bitmap: Bitmap::new(Size::zero()), left: 0, rise: 0, advance };
    };
    let rows_of_ink = &rows[top..=bottom];
    let mut columns = [0_u8; BYTES_A_ROW];
    for row in rows_of_ink {
        columns.iter_mut().zip(row).for_each(|(all, byte)| *all |= byte);
    }
    let lit = |row: &[u8; BYTES_A_ROW], x: u32| row[(x / 8) as usize] << (x % 8) & 0x80 != 0;
    let left = (0..area.width).find(|x| lit(&columns, *x)).unwrap_or(0);
    let right = (0..area.width).rfind(|x| lit(&columns, *x)).unwrap_or(0);
    let size = Size::new(right - left + 1, rows_of_ink.len() as u32);
    let bitmap = Bitmap::from_fn(size, |x, y| lit(&rows_of_ink[y as usize], left + x));
    let rise = area.bottom + area.height as i32 - top as i32;
    Glyph { bitmap, left: area.left + left as i32, rise, advance }
}

fn read_row(digits: &str, row: &mut [u8]) -> Result<(), BdfProblem> {
    let expected = row.len() * 2;
    let wrong = || BdfProblem::Row { digits: expected, found: cut(digits) };
    if digits.len() != expected {
        return Err(wrong());
    }
    let value = |digit: u8| char::from(digit).to_digit(16);
    for (byte, pair) in row.iter_mut().zip(digits.as_bytes().chunks_exact(2)) {
        let (Some(high), Some(low)) = (value(pair[0]), value(pair[1])) else { return Err(wrong()) };
        *byte = (high * 16 + low) as u8;
    }
    Ok(())
}

fn bounds(what: &'static str, rest: &str) -> Result<Bounds, BdfProblem> {
    let mut words = rest.split_ascii_whitespace();
    let (side, place) = (0..=MAX_SIDE as i32, -(MAX_SIDE as i32)..=MAX_SIDE as i32);
    let mut next = |range: RangeInclusive<i32>| number(what, words.next().unwrap_or(""), range);
    let (width, height) = (next(side.clone())? as u32, next(side)? as u32);
    Ok(Bounds { width, height, left: next(place.clone())?, bottom: next(place)? })
}

fn advance(rest: &str) -> Result<u32, BdfProblem> {
    Ok(number("DWIDTH", rest, 0..=MAX_SIDE as i32)? as u32)
}

/// The first word of `text` as a number in `range`.
fn number(what: &'static str, text: &str, range: RangeInclusive<i32>) -> Result<i32, BdfProblem> {
    let word = text.split_ascii_whitespace().next().unwrap_or("");
    word.parse().ok().filter(|value| range.contains(value)).ok_or_else(|| BdfProblem::Number {
        what,
        least: *range.start(),
        most: *range.end(),
        found: cut(word),
    })
}

fn unexpected(word: &str, expected: &'static str) -> BdfProblem {
    BdfProblem::Unexpected { found: cut(word), expected }
}

/// The beginning of a word, so that an error stays short whatever the file holds.
fn cut(word: &str) -> String {
    word.chars().take(24).collect()
}

#[cfg(test)]
mod tests;
