//! Outline faces as a whole: what every size has to keep, and what damaged and hostile files may not do.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use proptest::prelude::*;

use super::specimen::{Specimen, character_map};
use super::*;

fn load(bytes: &[u8]) -> Result<Outline, OutlineError> {
    Outline::load(bytes, "")
}

fn specimen() -> Outline {
    load(&Specimen::new().bytes()).unwrap()
}

fn glyph(strike: &Strike, character: char) -> &Glyph {
    strike.glyph(character).unwrap_or_else(|| panic!("no {character} in {}", strike.name()))
}

/// What a strike of any face has to keep at any size, so that no number is misread.
fn keeps_its_promises(strike: &Strike) {
    let name = strike.name();
    let height = strike.figure_height();
    let digits: Vec<&Glyph> = ('0'..='9').map(|digit| glyph(strike, digit)).collect();
    for (digit, picture) in digits.iter().enumerate() {
        assert_eq!(picture.bitmap.size().height, height, "{name}: the height of {digit}");
        assert_eq!(picture.rise, height as i32, "{name}: {digit} stands on the baseline");
        assert_eq!(picture.advance, digits[0].advance, "{name}: the advance of {digit}");
        let right = picture.left + picture.bitmap.size().width as i32;
        assert!(picture.left >= 0 && right <= picture.advance as i32, "{name}: {digit} keeps to its place");
    }
    let pictures: BTreeSet<String> = digits.iter().map(|picture| format!("{:?}", picture.bitmap)).collect();
    assert_eq!(pictures.len(), 10, "{name}: ten different digits");
    assert!(strike.figure_gap() >= 1, "{name}: two digits do not touch");
    for sign in ['−', '-', '.'] {
        let size = glyph(strike, sign).bitmap.size();
        assert!(size.width > 0 && size.height > 0, "{name}: {sign} is never lost");
    }
    let minus = glyph(strike, '−');
    assert!(minus.bitmap.size().width > minus.bitmap.size().height, "{name}: the minus is longer than high");
    assert_eq!(glyph(strike, '\u{2007}').advance, digits[0].advance, "{name}: the figure space is as wide as a digit");
}

#[test]
fn every_size_keeps_digits_and_signs() {
    let face = specimen();
    for height in FIGURE_HEIGHTS {
        keeps_its_promises(&face.strike("specimen", height));
    }
}

#[test]
fn strokes_are_whole_pixels_and_equal() {
    let strike = specimen().strike("specimen", 9);
    let eight = ["######", "#....#", "#....#", "#....#", "######", "#....#", "#....#", "#....#", "######"];
    assert_eq!(glyph(&strike, '8').bitmap, Bitmap::from_pattern(&eight));
    let two = ["######", ".....#", ".....#", ".....#", "######", "#.....", "#.....", "#.....", "######"];
    assert_eq!(glyph(&strike, '2').bitmap, Bitmap::from_pattern(&two));
    // Strokes of 90 units are two pixels from 12 px digits on.
    let strike = specimen().strike("specimen", 14);
    let letter = ["##.....##"; 6].into_iter().chain(["#########"; 2]).chain(["##.....##"; 6]).collect::<Vec<_>>();
    assert_eq!(glyph(&strike, 'H').bitmap, Bitmap::from_pattern(&letter));
}

#[test]
fn small_letters_meet_one_x_height() {
    let face = specimen();
    for height in FIGURE_HEIGHTS {
        let strike = face.strike("specimen", height);
        let (x, p) = (glyph(&strike, 'x'), glyph(&strike, 'p'));
        assert_eq!(x.rise, p.rise, "{height}");
        assert!(x.rise < glyph(&strike, 'H').rise, "{height}");
        assert_eq!(x.bitmap.size().height as i32, x.rise, "{height}: x stands on the baseline");
        assert!(p.bitmap.size().height as i32 > p.rise && strike.descent() > 0, "{height}: p goes below it");
    }
}

#[test]
fn dots_and_twin_bars_stay_apart() {
    let face = specimen();
    for height in FIGURE_HEIGHTS {
        let strike = face.strike("specimen", height);
        let gaps = |character: char| {
            let bitmap = &glyph(&strike, character).bitmap;
            let size = bitmap.size();
            (0..size.height).filter(|y| (0..size.width).all(|x| !bitmap.pixel(x, *y))).count()
        };
        assert!(gaps('i') >= 1 && gaps('=') >= 1, "{height}");
    }
}

#[test]
fn a_face_without_a_minus_draws_its_hyphen_for_one() {
    let strike = specimen().strike("specimen", 12);
    assert_eq!(glyph(&strike, '−'), glyph(&strike, '-'));
}

#[test]
fn a_character_that_the_file_lacks_has_no_glyph() {
    let face = specimen();
    assert!(face.has('8') && !face.has('é'));
    let strike = face.strike("specimen", 12);
    assert_eq!(strike.glyph('é'), None);
    assert_eq!(strike.missing().bitmap.size().height, 12);
}

#[test]
fn says_what_is_wrong_with_a_file() {
    let message = |bytes: &[u8]| load(bytes).map(|_| ()).unwrap_err().to_string();
    assert_eq!(message(b"wOF2"), "this is no TrueType or OpenType font; web fonts have to be unpacked first");
    assert_eq!(message(b""), message(b"wOF2"));
    assert_eq!(message(&vec![0; (8 << 20) + 1]), "the font has 8388609 bytes; at most 8388608 are read");
    let mut font = Specimen::new();
    font.tables.remove(b"hmtx");
    assert_eq!(message(&font.bytes()), "the font has no whole table `hmtx`; it may be cut short");
    let mut font = Specimen::new();
    font.tables.get_mut(b"head").unwrap()[18..20].copy_from_slice(&[0, 1]);
    assert_eq!(message(&font.bytes()), "the font has 1 units an em; 16 to 16384 are possible");
    let mut font = Specimen::new();
    font.tables.insert(b"cmap", character_map(&[[48, 52, 4], [54, 57, 10]]));
    assert_eq!(message(&font.bytes()), "the font has no picture for the digit 5");
    let mut font = Specimen::new();
    // The digit 5 drawn by the full stop.
    font.tables.insert(b"cmap", character_map(&[[48, 52, 4], [53, 53, 3], [54, 57, 10]]));
    assert_eq!(
        message(&font.bytes()),
        "the digit 5 of the font is not as tall as its 1, 4 and 7; lining figures are needed"
    );
    let more: String = ('\u{4e00}'..'\u{6000}').collect();
    let error = Outline::load(&Specimen::new().bytes(), &more).map(|_| ()).unwrap_err();
    assert_eq!(error, OutlineError::TooManyCharacters(0x6000 - 0x4e00));
}

#[test]
fn a_map_of_four_thousand_million_characters_is_not_walked() {
    let mut font = Specimen::new();
    let mut groups = vec![[48, 57, 4]];
    groups.extend([[58, u32::MAX, 1]; 2000]);
    font.tables.insert(b"cmap", character_map(&groups));
    let start = Instant::now();
    load(&font.bytes()).unwrap();
    assert!(start.elapsed() < load::PATIENCE);
}

/// A composed glyph: flags, glyph, two byte offsets a part.
fn composed(parts: &[u16]) -> Vec<u8> {
    let mut data = vec![0xff, 0xff, 0, 0, 0, 0, 0, 0, 0, 0];
    for (index, part) in parts.iter().enumerate() {
        let more = if index + 1 < parts.len() { 0x20_u16 } else { 0 };
        data.extend((0x2 | more).to_be_bytes());
        data.extend(part.to_be_bytes());
        data.extend([0, 0]);
    }
    data
}

#[test]
fn a_glyph_that_is_composed_of_itself_is_refused() {
    let last = 18;
    let font = Specimen::new().with_last_glyph(&composed(&[last]));
    assert_eq!(load(&font.bytes()).map(|_| ()), Err(OutlineError::Glyph('x', "is composed too deeply")));
    let font = Specimen::new().with_last_glyph(&composed(&[4; 65]));
    assert_eq!(load(&font.bytes()).map(|_| ()), Err(OutlineError::Glyph('x', "has too many parts")));
    let font = Specimen::new().with_last_glyph(&composed(&[4, 5]));
    assert!(load(&font.bytes()).unwrap().has('x'));
}

#[test]
fn a_glyph_that_reaches_too_far_is_refused() {
    // One contour of three points, the last of them 32,000 units away.
    let mut data = vec![0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 2, 0, 0, 1, 1, 1];
    data.extend([0_i16, 0, 32_000, 0, 500, 0].iter().flat_map(|step| step.to_be_bytes()));
    let font = Specimen::new().with_last_glyph(&data);
    assert_eq!(load(&font.bytes()).map(|_| ()), Err(OutlineError::Glyph('x', "reaches too far")));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever is done to a font, it is drawn or refused, soon, and no picture grows beyond measure.
    #[test]
    fn damaged_files_are_drawn_or_refused(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..12),
        end in prop::option::of(any::<prop::sample::Index>()),
        height in FIGURE_HEIGHTS,
    ) {
        let mut bytes = Specimen::new().bytes();
        for (place, byte) in changes {
            let place = place.index(bytes.len());
            bytes[place] = byte;
        }
        if let Some(end) = end {
            bytes.truncate(end.index(bytes.len()));
        }
        let start = Instant::now();
        let loaded = load(&bytes);
        prop_assert!(start.elapsed() < load::PATIENCE + Duration::from_secs(1));
        if let Ok(face) = loaded {
            for (_, glyph) in face.strike("damaged", height).glyphs() {
                let size = glyph.bitmap.size();
                prop_assert!(size.width < 64 * 16 && size.height < 64 * 16, "{size:?}");
            }
        }
    }
}

/// Faces that many systems have; without them the tests below say so and check nothing.
const INSTALLED: [&str; 4] = [
    "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf",
    "/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf",
    "/usr/share/fonts/opentype/b612/B612-Regular.otf",
    "/usr/share/fonts/opentype/b612/B612Mono-Regular.otf",
];

fn installed() -> impl Iterator<Item = (&'static str, Vec<u8>)> {
    INSTALLED.iter().filter_map(|path| match std::fs::read(path) {
        Ok(bytes) => Some((*path, bytes)),
        Err(error) => {
            eprintln!("not checked: {path}: {error}");
            None
        }
    })
}

#[test]
fn installed_faces_keep_digits_and_signs() {
    for (path, bytes) in installed() {
        let face = load(&bytes).unwrap_or_else(|error| panic!("{path}: {error}"));
        for height in [9, 10, 11, 12, 16, 24] {
            keeps_its_promises(&face.strike(path, height));
        }
    }
}

#[test]
fn installed_faces_are_drawn_or_refused_when_they_are_cut_or_damaged() {
    for (path, bytes) in installed() {
        let mut random = fastrand::Rng::with_seed(11);
        for _ in 0..12 {
            let mut damaged = bytes.clone();
            for _ in 0..random.usize(1..40) {
                // Half of the damage goes to the head of the file, where the structure is.
                let end = if random.bool() { 512 } else { damaged.len() };
                let place = random.usize(..end);
                damaged[place] = random.u8(..);
            }
            if random.bool() {
                damaged.truncate(random.usize(..damaged.len()));
            }
            let start = Instant::now();
            if let Ok(face) = load(&damaged) {
                assert_eq!(face.strike(path, 9).figure_height(), 9);
            }
            assert!(start.elapsed() < 2 * load::PATIENCE, "{path}");
        }
    }
}
