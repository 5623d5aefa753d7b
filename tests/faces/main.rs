//! The rules of `fonts/README.md`, held against every file of `fonts/`.
//!
//! What enters are the files as they lie there; what fails is named by file and character. `distances` measures how far apart
//! characters are, `figures` looks at the digits, and here stands what holds for a file and for every glyph in it.

mod distances;
mod figures;

use std::collections::BTreeSet;
use std::path::Path;

use sidelight::faces::bdf::Sheet;
use sidelight::faces::{Glyph, Strike, icons};

/// One file of `fonts/`.
struct Face {
    /// The file's name without its ending.
    stem: String,
    text: String,
    sheet: Sheet,
    strike: Strike,
}

impl Face {
    /// A property of the file's header, without quotes.
    fn property(&self, name: &str) -> &str {
        let line = self.text.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(' '));
        line.unwrap_or_else(|| panic!("{}: no property {name}", self.stem)).trim_matches('"')
    }

    fn family(&self) -> &str {
        self.property("FAMILY_NAME")
    }

    fn height(&self) -> u32 {
        self.strike.figure_height()
    }

    fn glyph(&self, character: char) -> &Glyph {
        self.strike.glyph(character).unwrap_or_else(|| panic!("{}: no {character:?}", self.stem))
    }

    /// `narrow` and `wide`, drawn for numbers.
    fn is_numeral(&self) -> bool {
        matches!(self.family(), "narrow" | "wide")
    }

    /// The lit pixels of a character: columns from the pen, rows from the baseline, `-1` being the row above it.
    fn ink(&self, character: char) -> BTreeSet<(i32, i32)> {
        let glyph = self.glyph(character);
        let size = glyph.bitmap.size();
        let pixels = (0..size.height).flat_map(|y| (0..size.width).map(move |x| (x, y)));
        let lit = pixels.filter(|(x, y)| glyph.bitmap.pixel(*x, *y));
        lit.map(|(x, y)| (x as i32 + glyph.left, y as i32 - glyph.rise)).collect()
    }
}

/// Every face of `fonts/`, by family and height.
fn faces() -> Vec<Face> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fonts");
    let mut faces: Vec<Face> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "bdf"))
        .map(|path| {
            let stem = path.file_stem().unwrap().to_str().unwrap().to_owned();
            let text = std::fs::read_to_string(&path).unwrap();
            let sheet = Sheet::parse(&text).unwrap_or_else(|error| panic!("{stem}: {error}"));
            let strike = sheet.clone().into_strike("face").unwrap_or_else(|error| panic!("{stem}: {error}"));
            Face { stem, text, sheet, strike }
        })
        .collect();
    faces.sort_by(|a, b| (a.family(), a.height()).cmp(&(b.family(), b.height())));
    assert!(faces.len() >= 32, "{} faces", faces.len());
    faces
}

/// The faces that set text and numbers: all but the icons.
fn letters() -> impl Iterator<Item = Face> {
    faces().into_iter().filter(|face| face.family() != icons::FAMILY)
}

/// The faces for numbers.
fn numerals() -> impl Iterator<Item = Face> {
    faces().into_iter().filter(Face::is_numeral)
}

#[test]
fn a_file_is_named_by_its_family_and_its_figure_height() {
    for face in faces() {
        assert_eq!(face.stem, format!("{}-{}", face.family(), face.property("FIGURE_HEIGHT")));
        assert_eq!(face.property("NOTICE"), "MIT OR Apache-2.0", "{}", face.stem);
    }
}

#[test]
fn glyphs_stand_in_the_order_of_their_code_points() {
    for face in faces() {
        let characters: Vec<char> = face.sheet.glyphs().iter().map(|named| named.character).collect();
        assert!(characters.is_sorted_by(|a, b| a < b), "{}", face.stem);
    }
}

#[test]
fn ink_stays_between_pen_and_advance() {
    for face in faces() {
        for (character, glyph) in face.strike.glyphs() {
            let width = glyph.bitmap.size().width as i32;
            let inside = glyph.left >= 0 && glyph.left + width <= glyph.advance as i32;
            assert!(inside || width == 0, "{}: {character:?}", face.stem);
        }
    }
}

/// Above the ascent stand the accents of capitals and nothing else, and below the descent nothing but the comma below a letter in the
/// smallest text faces, so that a line of plain text needs no more rows than the face says.
#[test]
fn ink_stays_between_ascent_and_descent() {
    for face in faces() {
        for (character, glyph) in face.strike.glyphs() {
            let below = glyph.bitmap.size().height as i32 - glyph.rise;
            let comma_below = "ĢĶķĻļŅņŖŗŞşŢţȘșȚțÇç".contains(character) && !face.is_numeral();
            assert!(below <= face.strike.descent() as i32 + i32::from(comma_below), "{}: {character:?}", face.stem);
            let above = glyph.rise - face.strike.ascent() as i32;
            let accents = match (character.is_ascii(), face.is_numeral()) {
                (true, _) => 0,
                (false, true) => face.height().div_ceil(4) as i32,
                (false, false) => 3,
            };
            assert!(above <= accents, "{}: {character:?} rises {above} rows above the ascent", face.stem);
        }
    }
}

/// Empty edges would be cut off when the face is read; in the file they would only mislead.
#[test]
fn the_bounding_box_of_a_glyph_is_its_ink() {
    for face in faces() {
        let boxes = face.text.lines().filter_map(|line| line.strip_prefix("BBX "));
        assert_eq!(boxes.clone().count(), face.sheet.glyphs().len(), "{}", face.stem);
        for (given, named) in boxes.zip(face.sheet.glyphs()) {
            let size = named.glyph.bitmap.size();
            let bottom = named.glyph.rise - size.height as i32;
            let ink = format!("{} {} {} {bottom}", size.width, size.height, named.glyph.left);
            assert_eq!(given, ink, "{}: {:?}", face.stem, named.character);
        }
    }
}

/// What every numeral face must have beyond ASCII and Latin-1.
const NUMERAL_SIGNS: &str = "‰−μΔΩ≤≥…–‒—€←↑→↓↖↗↘↙ŒœŠšŽžŸı\u{2007}\u{2009}\u{202f}\u{fffd}";

/// What every text face must have beyond ASCII, Latin-1, Latin Extended-A, modern Greek and Cyrillic.
const TEXT_SIGNS: &str = "‰−≤≥…–‒—€←↑→↓↖↗↘↙ȘșȚțẞҐґ‐‑‘’“”•′″₀₁₂₃₄₅₆₇₈₉℃℉Ω∆∞≈≠\u{2007}\u{2009}\u{202f}\u{fffd}";

#[test]
fn every_face_has_the_characters_of_its_family() {
    let (ascii, latin_1) = (' '..='~', '\u{a0}'..='ÿ');
    // ŉ and the marks U+0384 and U+0385 are the only ones in the ranges that stand alone or are deprecated.
    let text_scripts = ('Ā'..='ſ').chain('Ά'..='ώ').filter(|c| !"\u{38b}\u{38d}\u{3a2}".contains(*c)).chain('Ѐ'..='џ');
    for face in faces() {
        let required: BTreeSet<char> = match face.family() {
            "narrow" | "wide" => ascii.clone().chain(latin_1.clone()).chain(NUMERAL_SIGNS.chars()).collect(),
            icons::FAMILY => {
                let icon = |name: &&str| icons::character(name).unwrap();
                icons::NAMES.iter().map(icon).chain(['\u{fffd}']).collect()
            }
            _ => ascii.clone().chain(latin_1.clone()).chain(text_scripts.clone()).chain(TEXT_SIGNS.chars()).collect(),
        };
        let present: BTreeSet<char> = face.strike.glyphs().map(|(character, _)| character).collect();
        let lacking: Vec<char> = required.difference(&present).copied().collect();
        assert!(lacking.is_empty(), "{} lacks {lacking:?}", face.stem);
    }
}

#[test]
fn a_family_has_the_same_characters_in_every_size() {
    let faces = faces();
    for pair in faces.windows(2).filter(|pair| pair[0].family() == pair[1].family()) {
        let of = |face: &Face| face.sheet.glyphs().iter().map(|named| named.character).collect::<Vec<_>>();
        assert_eq!(of(&pair[0]), of(&pair[1]), "{} and {}", pair[0].stem, pair[1].stem);
    }
}

#[test]
fn icons_fit_their_square_and_differ() {
    for face in faces().into_iter().filter(|face| face.family() == icons::FAMILY) {
        let mut seen = BTreeSet::new();
        for named in face.sheet.glyphs() {
            let size = named.glyph.bitmap.size();
            assert!(size.width <= face.height() && size.height <= face.height(), "{}: {}", face.stem, named.name);
            assert!(named.glyph.rise <= face.height() as i32, "{}: {}", face.stem, named.name);
            assert!(seen.insert(face.ink(named.character)), "{}: {} looks like another one", face.stem, named.name);
        }
    }
}

#[test]
fn symmetric_characters_mirror_exactly() {
    for face in numerals() {
        for character in "08AHIMOTUVWXYovwx+−=°↑".chars() {
            let ink = face.ink(character);
            let columns = ink.iter().map(|(x, _)| *x);
            let sum = columns.clone().min().unwrap() + columns.max().unwrap();
            let mirrored: BTreeSet<(i32, i32)> = ink.iter().map(|(x, y)| (sum - x, *y)).collect();
            assert_eq!(ink, mirrored, "{}: {character:?}", face.stem);
        }
    }
}

/// A letter with an accent is the letter, and the accent above it or below it.
#[test]
fn accented_capitals_keep_the_shape_of_their_letter() {
    const FORMS: [(char, &str); 8] = [
        ('A', "ÀÁÂÃÄÅ"),
        ('C', "Ç"),
        ('E', "ÈÉÊË"),
        ('I', "ÌÍÎÏ"),
        ('N', "Ñ"),
        ('O', "ÒÓÔÕÖ"),
        ('U', "ÙÚÛÜ"),
        ('Y', "Ý"),
    ];
    for face in numerals() {
        let height = face.height() as i32;
        for (letter, accented) in FORMS {
            let whole = face.ink(letter);
            for character in accented.chars() {
                let mut body = face.ink(character);
                body.retain(|(_, y)| (-height..0).contains(y));
                let kept = (-4..=4).any(|by| whole.iter().all(|(x, y)| body.contains(&(x + by, *y))));
                assert!(kept, "{}: {character:?} is no {letter:?}", face.stem);
            }
        }
    }
}
