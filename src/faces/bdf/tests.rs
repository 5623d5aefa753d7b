//! Faces in and out of BDF text: what is read, what is refused and where, and what damage may do.

use proptest::prelude::*;

use super::*;

/// A face with a digit, a comma below the baseline, a blank, and a glyph without a code point.
const FACE: &str = "\
STARTFONT 2.2
COMMENT a face for tests
FONT -sidelight-test-medium-r-normal--9-90-75-75-P-50-ISO10646-1
SIZE 9 75 75
FONTBOUNDINGBOX 10 9 -1 -2
STARTPROPERTIES 4
FONT_ASCENT 7
FONT_DESCENT 2
FIGURE_HEIGHT 7
DEFAULT_CHAR 65533
ENDPROPERTIES
CHARS 5
STARTCHAR zero
ENCODING 48
SWIDTH 500 0
DWIDTH 6 0
BBX 10 9 -1 -2
BITMAP
0000
1C00
2200
2200
2200
2200
1C3F
0000
0000
ENDCHAR
STARTCHAR comma
ENCODING 44
SWIDTH 500 0
DWIDTH 3 0
BBX 2 3 0 -2
BITMAP
40
40
80
ENDCHAR
STARTCHAR space
ENCODING 32
SWIDTH 500 0
DWIDTH 4 0
BBX 0 0 0 0
BITMAP
ENDCHAR
STARTCHAR alternate
ENCODING -1 7
SWIDTH 500 0
DWIDTH 4 0
BBX 1 1 0 0
BITMAP
80
ENDCHAR
STARTCHAR replacement
ENCODING 65533
SWIDTH 500 0
DWIDTH 4 0
BBX 3 3 0 0
BITMAP
E0
A0
E0
ENDCHAR
ENDFONT
";

fn strike(text: &str) -> Strike {
    Sheet::parse(text).unwrap().into_strike("test").unwrap()
}

fn problem(text: &str) -> (usize, String) {
    let error = Sheet::parse(text).map(|_| ()).unwrap_err();
    (error.line, error.problem.to_string())
}

#[test]
fn reads_measures_and_cuts_empty_edges_and_padding_off() {
    let strike = strike(FACE);
    assert_eq!((strike.name(), strike.figure_height()), ("test 7", 7));
    assert_eq!((strike.ascent(), strike.descent()), (7, 2));
    // The box is ten columns wide: the last six bits of `1C3F` are padding and no ink, whatever they hold.
    let zero = Bitmap::from_pattern(&[".###.", "#...#", "#...#", "#...#", "#...#", ".###."]);
    let zero = Glyph { bitmap: zero, left: 1, rise: 6, advance: 6 };
    assert_eq!(strike.glyph('0'), Some(&zero));
    let comma = Glyph { bitmap: Bitmap::from_pattern(&[".#", ".#", "#."]), left: 0, rise: 1, advance: 3 };
    assert_eq!(strike.glyph(','), Some(&comma));
    let space = Glyph { bitmap: Bitmap::new(Size::zero()), left: 0, rise: 0, advance: 4 };
    assert_eq!(strike.glyph(' '), Some(&space));
    assert_eq!(strike.missing().bitmap, Bitmap::from_pattern(&["###", "#.#", "###"]));
}

#[test]
fn keeps_names_and_leaves_out_glyphs_without_a_character() {
    let sheet = Sheet::parse(FACE).unwrap();
    let names: Vec<(&str, char)> = sheet.glyphs().iter().map(|named| (&named.name[..], named.character)).collect();
    assert_eq!(names, [("zero", '0'), ("comma", ','), ("space", ' '), ("replacement", '\u{fffd}')]);
}

#[test]
fn takes_the_figure_height_from_zero_where_the_property_is_missing() {
    assert_eq!(strike(&FACE.replace("FIGURE_HEIGHT 7\n", "")).figure_height(), 6);
    let without_zero = FACE.replace("FIGURE_HEIGHT 7\n", "").replace("ENCODING 48", "ENCODING 79");
    let error = Sheet::parse(&without_zero).unwrap().into_strike("test").unwrap_err();
    assert_eq!(error.problem, BdfProblem::NoFigures);
}

#[test]
fn draws_a_box_where_there_is_no_default_character() {
    let strike = strike(&FACE.replace("DEFAULT_CHAR 65533\n", ""));
    let rows = ["#####", "#...#", "#...#", "#...#", "#...#", "#...#", "#####"];
    let expected = Glyph { bitmap: Bitmap::from_pattern(&rows), left: 0, rise: 7, advance: 6 };
    assert_eq!(strike.missing(), &expected);
}

#[test]
fn an_advance_for_all_glyphs_holds_where_a_glyph_has_none() {
    let text = FACE.replace("SWIDTH 500 0\nDWIDTH 6 0\n", "").replace("SIZE 9 75 75\n", "SIZE 9 75 75\nDWIDTH 9 0\n");
    assert_eq!(strike(&text).glyph('0').unwrap().advance, 9);
    assert_eq!(strike(&text).glyph(',').unwrap().advance, 3);
}

#[test]
fn line_ends_of_other_systems_are_read_the_same() {
    assert_eq!(Sheet::parse(&FACE.replace('\n', "\r\n")).unwrap().glyphs(), Sheet::parse(FACE).unwrap().glyphs());
}

#[test]
fn names_the_line_and_what_is_wrong_there() {
    let cases: [(&str, &str, usize, &str); 13] = [
        ("STARTFONT 2.2", "STARTFONT 3.0", 1, "expected `STARTFONT 2.1` or `STARTFONT 2.2` at the beginning"),
        ("FONT_ASCENT 7", "FONT_ASCENT x", 7, "FONT_ASCENT needs a number from 0 to 256, found `x`"),
        ("FONT_DESCENT 2\n", "", 63, "`FONT_DESCENT` is missing"),
        ("ENDPROPERTIES\n", "", 11, "`ENDPROPERTIES` is missing"),
        ("CHARS 5", "CHARS 6", 64, "`CHARS` promises 6 glyphs, found 5"),
        ("CHARS 5", "CHARS 4", 54, "`CHARS` promises 4 glyphs, found 5"),
        ("CHARS 5", "CHARS 99999", 12, "CHARS needs a number from 0 to 16384, found `99999`"),
        ("BBX 2 3 0 -2", "BBX 2 300 0 -2", 33, "BBX needs a number from 0 to 256, found `300`"),
        ("\n40\n40\n", "\n40\n4G\n", 36, "expected a bitmap row of 2 hexadecimal digits, found `4G`"),
        ("\n40\n40\n", "\n40\n", 37, "expected a bitmap row of 2 hexadecimal digits, found `ENDCHAR`"),
        ("\n40\n40\n", "\n40\n40\n40\n", 38, "`80` has no place here; expected `ENDCHAR` after the last bitmap row"),
        ("ENCODING 44", "ENCODING 48", 38, "a second glyph for U+0030"),
        ("DWIDTH 3 0", "DWIDTH -3 0", 32, "DWIDTH needs a number from 0 to 256, found `-3`"),
    ];
    for (from, to, line, message) in cases {
        let text = FACE.replacen(from, to, 1);
        assert_ne!(text, FACE, "{from}");
        assert_eq!(problem(&text), (line, message.to_owned()), "{from} -> {to}");
    }
    let cut = &FACE[..FACE.len() - "ENDFONT\n".len()];
    assert_eq!(problem(cut), (63, "the text ends here; expected `STARTCHAR` or `ENDFONT`".to_owned()));
}

#[test]
fn a_text_beyond_all_measure_is_refused_before_it_is_read() {
    let text = format!("{FACE}{}", "x".repeat(MAX_BYTES));
    assert_eq!(Sheet::parse(&text).unwrap_err().problem, BdfProblem::TooLong(text.len()));
}

proptest! {
    /// Whatever is done to a file, it is read or refused, and what is read keeps to the caps.
    #[test]
    fn damaged_files_are_read_or_refused(
        changes in prop::collection::vec((0..FACE.len(), any::<u8>()), 0..8),
        end in 0..=FACE.len(),
        keep_end in any::<bool>(),
    ) {
        let mut bytes = FACE.as_bytes().to_vec();
        for (index, byte) in changes {
            bytes[index] = byte;
        }
        bytes.truncate(if keep_end { bytes.len() } else { end });
        let text = String::from_utf8_lossy(&bytes);
        if let Ok(strike) = Sheet::parse(&text).and_then(|sheet| sheet.into_strike("test")) {
            for (_, glyph) in strike.glyphs() {
                prop_assert!(glyph.bitmap.size().width <= MAX_SIDE && glyph.bitmap.size().height <= MAX_SIDE);
                prop_assert!(glyph.advance <= MAX_SIDE && glyph.left.unsigned_abs() <= 2 * MAX_SIDE);
            }
        }
    }

    /// Lines put in the wrong order, twice, or left out: the structure is checked as well as the numbers.
    #[test]
    fn shuffled_lines_are_read_or_refused(order in prop::collection::vec(0..FACE.lines().count(), 0..120)) {
        let lines: Vec<&str> = FACE.lines().collect();
        let text: String = order.iter().flat_map(|index| [lines[*index], "\n"]).collect();
        let _ = Sheet::parse(&format!("STARTFONT 2.2\n{text}"));
        let _ = Sheet::parse(&text);
    }
}
