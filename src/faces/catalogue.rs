//! The catalogue: every family by name, at every figure height that it comes in.
//!
//! What enters is a family's name and a figure height in pixels, and the bytes of outline faces; what leaves is a [`Strike`] to
//! draw with, or an error that says what there is instead. The built-in faces are part of the program and are read when
//! they are used. Nothing here opens a file.

use std::sync::{Arc, Mutex, PoisonError};

use miniz_oxide::inflate::decompress_to_vec_zlib_with_limit;

use super::Strike;
use super::bdf::{BdfError, MAX_BYTES, Sheet};
use super::outline::{FIGURE_HEIGHTS, Outline, OutlineError};

/// A family of the project's own bitmap faces.
struct Family {
    name: &'static str,
    /// The figure heights in pixels, ascending.
    heights: &'static [u32],
    /// The BDF text of each height as a zlib stream (RFC 1950), in the same order.
    sources: &'static [&'static [u8]],
}

/// The table of families from the names of the files in `fonts/`: a family, and its figure heights in ascending order.
macro_rules! families {
    ($($family:literal: $($height:literal),+;)*) => {
        &[$(Family {
            name: $family,
            heights: &[$($height),+],
            sources: &[$(
                include_bytes!(concat!(env!("OUT_DIR"), "/", $family, "-", $height, ".z")) as &[u8]
            ),+],
        }),*]
    };
}

static FAMILIES: &[Family] = families! {
    "icons": 8, 12, 16, 24, 32;
    "small": 7;
    "text": 9, 11;
    "narrow": 10, 12, 14, 16, 18, 20, 22, 24, 28, 32, 40, 48;
    "wide": 10, 12, 14, 16, 18, 20, 22, 24, 28, 32, 40, 48;
};

/// Every figure height of an outline face.
static OUTLINE_HEIGHTS: [u32; (*FIGURE_HEIGHTS.end() - *FIGURE_HEIGHTS.start() + 1) as usize] = {
    let mut heights = [*FIGURE_HEIGHTS.start(); _];
    let mut index = 0;
    while index < heights.len() {
        heights[index] += index as u32;
        index += 1;
    }
    heights
};

/// Why there is no strike.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FaceError {
    /// No family of this name.
    #[error("no face is called `{name}`; there are {}", list(known))]
    UnknownFamily {
        /// The name that was asked for.
        name: String,
        /// The names that there are.
        known: Vec<String>,
    },
    /// The family does not come in this figure height.
    #[error("the face `{family}` has no digits of {figure_height} px; the nearest are {}", nearest(*below, *above))]
    NoSuchSize {
        /// The family's name.
        family: String,
        /// The height that was asked for, in pixels.
        figure_height: u32,
        /// The next smaller figure height.
        below: Option<u32>,
        /// The next larger figure height.
        above: Option<u32>,
    },
    /// A font file that is no face, or not a safe one.
    #[error("the face `{family}` cannot be used: {error}")]
    Outline {
        /// The name that it was to have.
        family: String,
        /// What is wrong with it.
        error: OutlineError,
    },
    /// An outline face may not take the name of a built-in one.
    #[error("`{0}` is the name of a built-in face; give the font another one")]
    NameTaken(String),
    /// More outline faces than one catalogue holds.
    #[error("there are {} outline faces already; no more are read", Catalogue::MAX_OUTLINES)]
    TooManyOutlines,
    /// A face that is part of the program cannot be read: a mistake in the program.
    #[error("the built-in face `{family}` is damaged: {error}")]
    Damaged {
        /// The family's name.
        family: String,
        /// What is wrong with it.
        error: BdfError,
    },
}

fn list(names: &[String]) -> String {
    names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
}

fn nearest(below: Option<u32>, above: Option<u32>) -> String {
    match (below, above) {
        (Some(below), Some(above)) => format!("{below} and {above} px"),
        (Some(one), None) | (None, Some(one)) => format!("those of {one} px"),
        (None, None) => "none".into(),
    }
}

/// Every family that a layout may name.
///
/// Strikes are shared: whoever asks again gets the same one, as long as it is among the last [`Catalogue::KEPT`] that anybody
/// asked for. Whoever draws keeps the `Arc`.
pub struct Catalogue {
    built_in: &'static [Family],
    outlines: Vec<(String, Outline)>,
    /// The strikes that were asked for lately, the latest last.
    kept: Mutex<Vec<Kept>>,
}

/// A family that was found by its name.
enum Found<'a> {
    BuiltIn(&'static Family),
    Outline(&'a Outline),
}

struct Kept {
    family: String,
    figure_height: u32,
    strike: Arc<Strike>,
}

impl Default for Catalogue {
    fn default() -> Self {
        Self::new()
    }
}

impl Catalogue {
    /// How many strikes are kept for the next one who asks.
    pub const KEPT: usize = 48;
    /// How many outline faces a catalogue holds.
    pub const MAX_OUTLINES: usize = 8;

    /// The built-in families; reads none of them yet.
    pub fn new() -> Self {
        Self::of(FAMILIES)
    }

    fn of(built_in: &'static [Family]) -> Self {
        Self { built_in, outlines: Vec::new(), kept: Mutex::default() }
    }

    /// Takes a TrueType or OpenType file under a name, in place of an earlier outline face of that name.
    ///
    /// The face gets ASCII, Latin-1, the usual signs and the characters of `more`, as far as the file has them. The bytes are not
    /// trusted: reading them is bounded in memory and, after five seconds, in time.
    pub fn add_outline(&mut self, name: &str, bytes: &[u8], more: &str) -> Result<(), FaceError> {
        if self.built_in.iter().any(|family| family.name == name) {
            return Err(FaceError::NameTaken(name.into()));
        }
        let others = self.outlines.iter().filter(|(other, _)| other != name).count();
        if others >= Self::MAX_OUTLINES {
            return Err(FaceError::TooManyOutlines);
        }
        let outline = Outline::load(bytes, more).map_err(|error| FaceError::Outline { family: name.into(), error })?;
        self.outlines.retain(|(other, _)| other != name);
        self.outlines.push((name.into(), outline));
        self.kept.get_mut().unwrap_or_else(PoisonError::into_inner).retain(|kept| kept.family != name);
        Ok(())
    }

    /// The names of all families, the built-in ones first.
    pub fn families(&self) -> impl Iterator<Item = &str> {
        let outlines = self.outlines.iter().map(|(name, _)| name.as_str());
        self.built_in.iter().map(|family| family.name).chain(outlines)
    }

    /// The figure heights in pixels that a family comes in, ascending; reads no face.
    pub fn sizes(&self, family: &str) -> Result<&'static [u32], FaceError> {
        Ok(match self.find(family)? {
            Found::BuiltIn(built_in) => built_in.heights,
            Found::Outline(_) => &OUTLINE_HEIGHTS,
        })
    }

    /// The strike of a family whose digits are `figure_height` pixels tall.
    pub fn strike(&self, family: &str, figure_height: u32) -> Result<Arc<Strike>, FaceError> {
        let found = self.find(family)?;
        let index = place(family, self.sizes(family)?, figure_height)?;
        // Nothing below can leave the list half changed, so that a poisoned lock is as good as any.
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = kept.iter().position(|one| one.figure_height == figure_height && one.family == family) {
            let found = kept.remove(found);
            let strike = Arc::clone(&found.strike);
            kept.push(found);
            return Ok(strike);
        }
        let strike = Arc::new(match found {
            Found::BuiltIn(built_in) => Sheet::parse(&unpacked(built_in.sources[index]))
                .and_then(|sheet| sheet.into_strike(family))
                .map_err(|error| FaceError::Damaged { family: family.into(), error })?,
            Found::Outline(outline) => outline.strike(family, figure_height),
        });
        if kept.len() == Self::KEPT {
            kept.remove(0);
        }
        kept.push(Kept { family: family.into(), figure_height, strike: Arc::clone(&strike) });
        Ok(strike)
    }

    fn find(&self, family: &str) -> Result<Found<'_>, FaceError> {
        if let Some(built_in) = self.built_in.iter().find(|built_in| built_in.name == family) {
            return Ok(Found::BuiltIn(built_in));
        }
        let outline = self.outlines.iter().find(|(name, _)| name == family);
        outline.map(|(_, outline)| Found::Outline(outline)).ok_or_else(|| FaceError::UnknownFamily {
            name: family.into(),
            known: self.families().map(str::to_owned).collect(),
        })
    }

    /// The families that have a glyph for `character` at every size: what to name where another face lacks it.
    pub fn families_with(&self, character: char) -> Vec<&str> {
        let has = |family: &&Family| {
            family
                .heights
                .iter()
                .all(|height| self.strike(family.name, *height).is_ok_and(|strike| strike.glyph(character).is_some()))
        };
        let outlines = self.outlines.iter().filter(|(_, outline)| outline.has(character));
        let outlines = outlines.map(|(name, _)| name.as_str());
        self.built_in.iter().filter(has).map(|family| family.name).chain(outlines).collect()
    }
}

/// The text of a face that is part of the program; what cannot be unpacked is empty, and so no face.
fn unpacked(source: &[u8]) -> String {
    let bytes = decompress_to_vec_zlib_with_limit(source, MAX_BYTES).unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

/// Where in `heights` the wanted one stands.
fn place(family: &str, heights: &[u32], figure_height: u32) -> Result<usize, FaceError> {
    heights.binary_search(&figure_height).map_err(|after| FaceError::NoSuchSize {
        family: family.into(),
        figure_height,
        below: after.checked_sub(1).map(|before| heights[before]),
        above: heights.get(after).copied(),
    })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;
    use std::sync::LazyLock;

    use miniz_oxide::deflate::compress_to_vec_zlib;

    use super::*;
    use crate::faces::outline::specimen::Specimen;

    const TINY_3: &str = "STARTFONT 2.2\nFONT tiny\nSIZE 3 75 75\nFONTBOUNDINGBOX 2 3 0 0\nSTARTPROPERTIES 3\nFONT_ASCENT 3\n\
        FONT_DESCENT 1\nFIGURE_HEIGHT 3\nENDPROPERTIES\nCHARS 1\nSTARTCHAR zero\nENCODING 48\nSWIDTH 0 0\nDWIDTH 3 0\n\
        BBX 2 3 0 0\nBITMAP\nC0\nC0\nC0\nENDCHAR\nENDFONT\n";
    static TEST: LazyLock<[Family; 2]> = LazyLock::new(|| {
        [
            Family { name: "tiny", heights: &[3, 5, 9], sources: packed(&[TINY_3, "no face", ""]) },
            Family { name: "other", heights: &[3, 6], sources: packed(&[TINY_3, TINY_3]) },
        ]
    });

    /// As they stand in the program, which keeps them to its end.
    fn packed(texts: &[&str]) -> &'static [&'static [u8]] {
        let packed = texts.iter().map(|text| &*compress_to_vec_zlib(text.as_bytes(), 6).leak());
        packed.collect::<Vec<_>>().leak()
    }

    fn catalogue() -> Catalogue {
        Catalogue::of(&*TEST)
    }

    #[test]
    fn hands_out_one_strike_however_often_it_is_asked_for() {
        let catalogue = catalogue();
        let first = catalogue.strike("tiny", 3).unwrap();
        let second = catalogue.strike("tiny", 3).unwrap();
        assert!(Arc::ptr_eq(&first, &second));
        assert_eq!((first.name(), first.figure_height()), ("tiny 3", 3));
    }

    #[test]
    fn looking_at_names_and_sizes_reads_no_face() {
        // Two texts of `tiny` are no faces at all, and nobody notices.
        assert_eq!(catalogue().families().collect::<Vec<_>>(), ["tiny", "other"]);
        assert_eq!(catalogue().sizes("tiny").unwrap(), [3, 5, 9]);
    }

    #[test]
    fn an_unknown_family_is_answered_with_the_known_ones() {
        let error = catalogue().sizes("big").unwrap_err();
        assert_eq!(error.to_string(), "no face is called `big`; there are `tiny`, `other`");
        assert_eq!(catalogue().strike("big", 3).unwrap_err(), error);
    }

    #[test]
    fn a_missing_size_is_answered_with_the_nearest_ones() {
        let message = |height| catalogue().strike("tiny", height).unwrap_err().to_string();
        assert_eq!(message(2), "the face `tiny` has no digits of 2 px; the nearest are those of 3 px");
        assert_eq!(message(6), "the face `tiny` has no digits of 6 px; the nearest are 5 and 9 px");
        assert_eq!(message(10), "the face `tiny` has no digits of 10 px; the nearest are those of 9 px");
    }

    #[test]
    fn a_damaged_face_is_an_error() {
        assert!(matches!(catalogue().strike("tiny", 5), Err(FaceError::Damaged { .. })));
    }

    #[test]
    fn finds_the_families_that_have_a_character() {
        assert_eq!(catalogue().families_with('0'), ["other"], "no damaged size counts");
        assert!(catalogue().families_with('é').is_empty());
    }

    #[test]
    fn an_outline_face_comes_in_every_height_from_nine_to_sixty_four() {
        let mut catalogue = catalogue();
        catalogue.add_outline("door.ttf", &Specimen::new().bytes(), "").unwrap();
        assert_eq!(catalogue.families().collect::<Vec<_>>(), ["tiny", "other", "door.ttf"]);
        assert_eq!(catalogue.sizes("door.ttf").unwrap(), (9..=64).collect::<Vec<_>>());
        let strike = catalogue.strike("door.ttf", 22).unwrap();
        assert_eq!((strike.name(), strike.figure_height()), ("door.ttf 22", 22));
        assert!(Arc::ptr_eq(&strike, &catalogue.strike("door.ttf", 22).unwrap()));
        let message = catalogue.strike("door.ttf", 8).unwrap_err().to_string();
        assert_eq!(message, "the face `door.ttf` has no digits of 8 px; the nearest are those of 9 px");
        assert_eq!(catalogue.families_with('x'), ["door.ttf"]);
    }

    #[test]
    fn a_new_outline_takes_the_place_of_the_old_one_and_a_broken_one_does_not() {
        let mut catalogue = catalogue();
        catalogue.add_outline("door.ttf", &Specimen::new().bytes(), "").unwrap();
        let old = catalogue.strike("door.ttf", 22).unwrap();
        let error = catalogue.add_outline("door.ttf", b"no font", "").unwrap_err();
        assert!(matches!(error, FaceError::Outline { .. }), "{error}");
        assert!(Arc::ptr_eq(&old, &catalogue.strike("door.ttf", 22).unwrap()));
        catalogue.add_outline("door.ttf", &Specimen::new().bytes(), "").unwrap();
        assert!(!Arc::ptr_eq(&old, &catalogue.strike("door.ttf", 22).unwrap()));
        assert_eq!(catalogue.families().count(), 3);
    }

    #[test]
    fn names_and_number_of_outline_faces_are_bounded() {
        let mut catalogue = catalogue();
        let font = Specimen::new().bytes();
        assert_eq!(catalogue.add_outline("tiny", &font, ""), Err(FaceError::NameTaken("tiny".into())));
        for index in 0..Catalogue::MAX_OUTLINES {
            catalogue.add_outline(&format!("door-{index}"), &font, "").unwrap();
        }
        assert_eq!(catalogue.add_outline("one-more", &font, ""), Err(FaceError::TooManyOutlines));
        catalogue.add_outline("door-0", &font, "").unwrap();
    }

    #[test]
    fn only_the_latest_strikes_are_kept() {
        let mut catalogue = catalogue();
        catalogue.add_outline("door.ttf", &Specimen::new().bytes(), "").unwrap();
        let first = Arc::downgrade(&catalogue.strike("door.ttf", 9).unwrap());
        for height in 10..=9 + Catalogue::KEPT as u32 {
            assert!(first.upgrade().is_some(), "{height}");
            catalogue.strike("door.ttf", height).unwrap();
        }
        assert!(first.upgrade().is_none());
    }

    /// The table against the files, both ways, and each file against its own name.
    #[test]
    fn the_table_holds_exactly_the_files() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fonts");
        let mut files = BTreeSet::new();
        if folder.exists() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let name = entry.unwrap().file_name().into_string().unwrap();
                files.extend(name.strip_suffix(".bdf").map(str::to_owned));
            }
        }
        let catalogue = Catalogue::new();
        let mut listed = BTreeSet::new();
        for family in FAMILIES {
            assert!(family.heights.is_sorted_by(|a, b| a < b), "{} ascends", family.name);
            for height in family.heights {
                let name = format!("{}-{height}", family.name);
                let strike = catalogue.strike(family.name, *height).unwrap_or_else(|error| panic!("{name}: {error}"));
                assert_eq!(strike.figure_height(), *height, "{name}");
                let digits: BTreeSet<u32> =
                    ('0'..='9').filter_map(|digit| strike.glyph(digit)).map(|d| d.advance).collect();
                assert_eq!(digits.len(), 1, "{name}: the digits share one advance");
                listed.insert(name);
            }
        }
        assert_eq!(listed, files);
    }
}
