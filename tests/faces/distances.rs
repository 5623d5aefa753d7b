//! How far apart the characters are that must not be taken for one another, in pixels that differ.
//!
//! The distance of two characters is the number of pixels that differ where they lie on each other best: the second one may be moved
//! by one pixel in either direction, since nobody compares by the pixel grid. Run with `--nocapture` for the table.

use sidelight::faces::Weight;

use super::{Face, letters};

fn distance(face: &Face, a: char, b: char) -> usize {
    face.glyph(a).difference(face.glyph(b))
}

/// Every pair of digits, the nearest first.
fn pairs(face: &Face) -> Vec<(usize, char, char)> {
    let digits = || '0'..='9';
    let mut pairs: Vec<_> = digits().flat_map(|a| digits().filter(move |b| a < *b).map(move |b| (a, b))).collect();
    pairs.sort();
    let mut pairs: Vec<_> = pairs.into_iter().map(|(a, b)| (distance(face, a, b), a, b)).collect();
    pairs.sort();
    pairs
}

/// Characters of ASCII that are taken for one another most easily (common practice).
const LOOK_ALIKES: [(char, char); 11] = [
    ('0', 'O'),
    ('0', 'D'),
    ('D', 'O'),
    ('6', 'G'),
    ('8', 'B'),
    ('5', 'S'),
    ('2', 'Z'),
    ('7', 'T'),
    ('1', 'I'),
    ('1', 'l'),
    ('I', 'l'),
];

/// For each strike the least number of pixels that differ between two digits, and between two of [`LOOK_ALIKES`]: what the
/// drawings reach, so that a change to a glyph cannot bring two of them closer unseen.
const FLOORS: [(&str, usize, usize); 27] = [
    ("small-7", 5, 3),
    ("text-9", 8, 5),
    ("text-11", 15, 6),
    ("narrow-10", 5, 2),
    ("narrow-12", 6, 3),
    ("narrow-14", 10, 6),
    ("narrow-16", 16, 6),
    ("narrow-18", 22, 8),
    ("narrow-20", 21, 12),
    ("narrow-22", 27, 12),
    ("narrow-24", 30, 15),
    ("narrow-28", 46, 21),
    ("narrow-32", 75, 31),
    ("narrow-40", 126, 43),
    ("narrow-48", 172, 57),
    ("wide-10", 7, 4),
    ("wide-12", 9, 6),
    ("wide-14", 15, 6),
    ("wide-16", 16, 7),
    ("wide-18", 24, 11),
    ("wide-20", 26, 15),
    ("wide-22", 54, 15),
    ("wide-24", 64, 19),
    ("wide-28", 78, 24),
    ("wide-32", 105, 36),
    ("wide-40", 152, 48),
    ("wide-48", 223, 72),
];

#[test]
fn digits_and_look_alikes_stay_as_far_apart_as_they_are() {
    println!("{:10} {:>4}  nearest digits                  nearest look-alikes", "strike", "ink");
    let mut below = Vec::new();
    let mut strikes = 0;
    for face in letters() {
        let digits = pairs(&face);
        let mut alikes = LOOK_ALIKES.map(|(a, b)| (distance(&face, a, b), a, b));
        alikes.sort();
        let list = |pairs: &[(usize, char, char)]| {
            pairs.iter().map(|(pixels, a, b)| format!("{a}{b} {pixels:3}")).collect::<Vec<_>>().join("  ")
        };
        println!("{:10} {:4}  {}  |  {}", face.stem, face.ink('0').len(), list(&digits[..4]), list(&alikes[..4]));
        let floor = FLOORS.iter().find(|(stem, ..)| *stem == face.stem);
        let (_, digit_floor, alike_floor) = floor.unwrap_or_else(|| panic!("{}: no floor is set", face.stem));
        if digits[0].0 < *digit_floor || alikes[0].0 < *alike_floor {
            below.push(format!("{}: {:?} of {digit_floor}, {:?} of {alike_floor}", face.stem, digits[0], alikes[0]));
        }
        strikes += 1;
    }
    assert_eq!(strikes, FLOORS.len());
    assert!(below.is_empty(), "closer than before:\n{}", below.join("\n"));
}

/// Within ASCII every two characters look different, even to someone who does not see where on the line they stand, but for the marks
/// that only their place tells apart.
#[test]
fn no_two_characters_of_ascii_are_one_picture() {
    for face in letters() {
        let printable = || '!'..='~';
        for a in printable() {
            for b in printable().filter(|b| a < *b) {
                if matches!((a, b), ('\'' | '-' | '.', '_' | '`' | ',' | '.')) || (a, b) == (',', '.') {
                    continue;
                }
                let (one, other) = (&face.glyph(a).bitmap, &face.glyph(b).bitmap);
                assert!(one != other, "{}: {a:?} and {b:?}", face.stem);
            }
        }
    }
}

/// The built-in faces keep what `check` asks of a face that somebody brings.
#[test]
fn no_warning_would_be_given_of_a_built_in_face() {
    for face in letters() {
        assert_eq!(face.strike.weight(), Weight::Good, "{}: {:?}", face.stem, face.strike.stroke());
        assert_eq!(face.strike.alike(), None, "{}", face.stem);
    }
}
