//! The digits: one width, one height, strokes and gaps that are wide enough, and the table of `fonts/README.md`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::{Face, letters, numerals};

/// The length that most runs of lit pixels have in the digits: along rows that is the width of an upright stroke, along columns the
/// thickness of a level one.
fn commonest_run(face: &Face, along_rows: bool) -> u32 {
    let mut counts: BTreeMap<u32, u32> = BTreeMap::new();
    for digit in '0'..='9' {
        let turned = |(x, y): (i32, i32)| if along_rows { (y, x) } else { (x, y) };
        let ink: BTreeSet<(i32, i32)> = face.ink(digit).into_iter().map(turned).collect();
        for &(line, place) in ink.iter().filter(|(line, place)| !ink.contains(&(*line, place - 1))) {
            let length = (place..).take_while(|place| ink.contains(&(line, *place))).count();
            *counts.entry(length as u32).or_default() += 1;
        }
    }
    let most = counts.iter().max_by_key(|(_, count)| **count);
    *most.unwrap_or_else(|| panic!("{}: no ink", face.stem)).0
}

#[test]
fn digits_and_what_stands_for_them_share_one_advance() {
    for face in letters() {
        let advance = face.glyph('0').advance;
        for character in ('1'..='9').chain(['\u{2007}', '\u{2012}']) {
            assert_eq!(face.glyph(character).advance, advance, "{}: {character:?}", face.stem);
        }
        assert_eq!(face.glyph('−').advance, face.glyph('+').advance, "{}: minus and plus", face.stem);
    }
}

#[test]
fn digits_fill_the_figure_height_and_stand_on_the_baseline() {
    for face in letters() {
        for digit in '0'..='9' {
            let glyph = face.glyph(digit);
            assert_eq!(glyph.bitmap.size().height, face.height(), "{}: {digit}", face.stem);
            assert_eq!(glyph.rise, face.height() as i32, "{}: {digit}", face.stem);
        }
    }
}

#[test]
fn upright_strokes_have_two_pixels_from_eleven_rows_up_and_level_ones_from_twelve() {
    for face in letters() {
        let (upright, level) = (commonest_run(&face, true), commonest_run(&face, false));
        println!("{:10} stem {upright} / {level}", face.stem);
        let least = |from| if face.height() >= from { 2 } else { 1 };
        assert!(upright >= least(11) && level >= least(12), "{}: {upright} / {level}", face.stem);
    }
}

#[test]
fn between_digits_are_at_least_two_columns_from_eleven_rows_up() {
    for face in letters() {
        let least = if face.height() >= 11 { 2 } else { 1 };
        assert!(face.strike.figure_gap() >= least, "{}: {}", face.stem, face.strike.figure_gap());
    }
}

#[test]
fn six_and_nine_are_one_drawing_turned_half_way() {
    for face in numerals() {
        let width = face.strike.figure_ink().1 + face.strike.figure_ink().0;
        let turned: BTreeSet<(i32, i32)> =
            face.ink('6').iter().map(|(x, y)| (width - 1 - x, -1 - face.height() as i32 - y)).collect();
        assert_eq!(turned, face.ink('9'), "{}", face.stem);
    }
}

/// A decimal point that disappears makes a wrong number.
#[test]
fn the_full_stop_is_at_least_as_wide_as_a_stem() {
    for face in letters() {
        let stop = face.glyph('.').bitmap.size();
        assert!(stop.width >= commonest_run(&face, true), "{}", face.stem);
        assert!(stop.height >= commonest_run(&face, false), "{}", face.stem);
    }
}

/// Two such numbers with a gap of 14 between them fill a panel of 128 columns.
#[test]
fn a_negative_number_of_22_rows_takes_57_columns_in_narrow() {
    let face = numerals().find(|face| face.stem == "narrow-22").unwrap();
    let (mut pen, mut columns) = (0, BTreeSet::new());
    for character in "-10.4°".chars() {
        columns.extend(face.ink(character).iter().map(|(x, _)| pen + x));
        pen += face.glyph(character).advance as i32;
    }
    assert_eq!(columns.last().unwrap() - columns.first().unwrap() + 1, 57);
}

#[test]
fn the_table_of_strikes_says_what_the_files_hold() {
    let readme = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("fonts/README.md")).unwrap();
    let rows: Vec<&str> =
        readme.lines().filter(|line| line.starts_with("| `narrow`") || line.starts_with("| `wide`")).collect();
    let measured: Vec<String> = numerals()
        .map(|face| {
            let (left, right) = face.strike.figure_ink();
            format!(
                "| `{}` | {} | {} | {} | {} / {} | {} | {} | {} |",
                face.family(),
                face.height(),
                right - left,
                face.glyph('0').advance,
                commonest_run(&face, true),
                commonest_run(&face, false),
                face.glyph('x').bitmap.size().height,
                face.strike.ascent(),
                face.strike.descent(),
            )
        })
        .collect();
    assert_eq!(rows, measured);
}
