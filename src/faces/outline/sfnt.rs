//! The outline file cut down to what is needed, before anything else sees it.
//!
//! What enters are the untrusted bytes of a TrueType or OpenType file and the wanted characters; what leaves is a small font of
//! our own making: only the tables that hold outlines and widths, and a character map with the wanted characters alone. So
//! the font library never walks a character map, a substitution or a kerning table that somebody else wrote, and loads no glyph
//! that nobody asked for.
//!
//! Source: ISO/IEC 14496-22 (Open Font Format), sections on the font file, `head`, `maxp`, `cmap` formats 4 and 12, `loca`.

use std::collections::BTreeMap;

use super::OutlineError;
use super::glyf::Outlines;

type Tag = [u8; 4];

/// More tables than any known font has.
const MAX_TABLES: u16 = 256;

/// A font of the wanted characters only.
#[derive(Debug)]
pub(super) struct Subset {
    /// The bytes of the font, to be read as the first face of the file.
    pub bytes: Vec<u8>,
    /// Font units an em.
    pub units_per_em: u16,
}

/// Cuts a font down to `wanted`, which is in ascending order; characters that the font lacks are left out.
pub(super) fn subset(bytes: &[u8], wanted: impl Iterator<Item = char>) -> Result<Subset, OutlineError> {
    let tables = directory(bytes)?;
    let table = |tag: &'static str| -> Result<&[u8], OutlineError> {
        tables.get(tag.as_bytes()).copied().ok_or(OutlineError::NoTable(tag))
    };
    let (head, maxp, cmap) = (table("head")?, table("maxp")?, table("cmap")?);
    let units_per_em = u16_at(head, 18).ok_or(OutlineError::Cut("head"))?;
    if !(16..=16_384).contains(&units_per_em) {
        return Err(OutlineError::UnitsPerEm(units_per_em));
    }
    let glyphs = u16_at(maxp, 4).ok_or(OutlineError::Cut("maxp"))?;

    let map = CharacterMap::find(cmap).ok_or(OutlineError::NoCharacterMap)?;
    let mapping: Vec<(char, u16)> = wanted
        .filter_map(|character| Some((character, map.glyph(character)?)))
        .filter(|(_, glyph)| (1..glyphs).contains(glyph))
        .collect();

    let mut kept: BTreeMap<Tag, Vec<u8>> = BTreeMap::new();
    let mut keep = |tag: &'static str| -> Result<(), OutlineError> {
        kept.insert(tag.as_bytes().try_into().unwrap_or_default(), table(tag)?.to_vec());
        Ok(())
    };
    ["head", "hhea", "hmtx", "maxp"].into_iter().try_for_each(&mut keep)?;
    if tables.contains_key(b"glyf".as_slice()) {
        let outlines = Outlines { glyf: table("glyf")?, loca: table("loca")?, long: u16_at(head, 50) == Some(1) };
        for (character, glyph) in &mapping {
            outlines.check(*glyph, units_per_em).map_err(|reason| OutlineError::Glyph(*character, reason))?;
        }
        ["glyf", "loca"].into_iter().try_for_each(&mut keep)?;
    } else {
        keep("CFF ").map_err(|_| OutlineError::NoTable("glyf or CFF"))?;
    }
    kept.insert(*b"cmap", character_map(&mapping));
    Ok(Subset { bytes: assemble(&kept), units_per_em })
}

/// The tables of the first face in the file, by tag.
fn directory(bytes: &[u8]) -> Result<BTreeMap<&[u8], &[u8]>, OutlineError> {
    let start = match bytes.get(..4) {
        Some(b"ttcf") => u32_at(bytes, 12).ok_or(OutlineError::Cut("the list of faces"))? as usize,
        _ => 0,
    };
    match bytes.get(start..).and_then(|face| face.get(..4)) {
        Some([0, 1, 0, 0] | b"true" | b"OTTO") => {}
        _ => return Err(OutlineError::NotAFont),
    }
    let cut = || OutlineError::Cut("the list of tables");
    let count = u16_at(bytes, start + 4).ok_or_else(cut)?.min(MAX_TABLES);
    let mut tables = BTreeMap::new();
    for index in 0..usize::from(count) {
        let record = bytes.get(start + 12 + index * 16..).and_then(|rest| rest.get(..16)).ok_or_else(cut)?;
        let (Some(offset), Some(length)) = (u32_at(record, 8), u32_at(record, 12)) else { return Err(cut()) };
        let range = bytes.get(offset as usize..).and_then(|rest| rest.get(..length as usize));
        if let Some(range) = range {
            tables.entry(&record[..4]).or_insert(range);
        }
    }
    Ok(tables)
}

/// A Unicode character map inside of the `cmap` table.
enum CharacterMap<'a> {
    /// Format 4: segments of 16-bit code points.
    Segments(&'a [u8]),
    /// Format 12: groups of code points.
    Groups(&'a [u8]),
}

impl<'a> CharacterMap<'a> {
    /// The best Unicode map of the table: format 12 where there is one, else format 4.
    fn find(cmap: &'a [u8]) -> Option<Self> {
        let mut segments = None;
        for index in 0..usize::from(u16_at(cmap, 2)?) {
            let record = 4 + index * 8;
            let (platform, encoding) = (u16_at(cmap, record)?, u16_at(cmap, record + 2)?);
            let unicode = platform == 0 || (platform == 3 && matches!(encoding, 1 | 10));
            let Some(map) = cmap.get(u32_at(cmap, record + 4)? as usize..).filter(|_| unicode) else { continue };
            match u16_at(map, 0) {
                Some(12) => return Some(Self::Groups(map)),
                Some(4) => segments = Some(Self::Segments(map)),
                _ => {}
            }
        }
        segments
    }

    fn glyph(&self, character: char) -> Option<u16> {
        match self {
            Self::Segments(map) => segment_glyph(map, character),
            Self::Groups(map) => group_glyph(map, character),
        }
    }
}

/// Looks a character up in format 4: arrays of last codes, first codes, deltas and offsets, one entry a segment.
fn segment_glyph(map: &[u8], character: char) -> Option<u16> {
    let code = u16::try_from(u32::from(character)).ok()?;
    let bytes = usize::from(u16_at(map, 6)?) & !1;
    let (ends, starts) = (14, 16 + bytes);
    let segment = first(bytes / 2, |segment| u16_at(map, ends + segment * 2).is_none_or(|end| end >= code))?;
    let start = u16_at(map, starts + segment * 2)?;
    let inside = code.checked_sub(start)?;
    let delta = u16_at(map, starts + bytes + segment * 2)?;
    let place = starts + 2 * bytes + segment * 2;
    let glyph = match u16_at(map, place)? {
        0 => return Some(code.wrapping_add(delta)),
        offset => u16_at(map, place + usize::from(offset) + usize::from(inside) * 2)?,
    };
    (glyph != 0).then(|| glyph.wrapping_add(delta))
}

/// Looks a character up in format 12: groups of first code, last code and first glyph.
fn group_glyph(map: &[u8], character: char) -> Option<u16> {
    let code = u32::from(character);
    let count = (u32_at(map, 12)? as usize).min(map.len() / 12);
    let group = first(count, |group| u32_at(map, 16 + group * 12 + 4).is_none_or(|end| end >= code))?;
    let inside = code.checked_sub(u32_at(map, 16 + group * 12)?)?;
    u16::try_from(u32_at(map, 16 + group * 12 + 8)?.checked_add(inside)?).ok()
}

/// The first of `count` entries for which `reached` holds, by halving; entries that are out of order give a wrong entry or
/// none, and never a long search.
fn first(count: usize, reached: impl Fn(usize) -> bool) -> Option<usize> {
    let (mut low, mut high) = (0, count);
    while low < high {
        let middle = usize::midpoint(low, high);
        if reached(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    (low < count).then_some(low)
}

/// A `cmap` table with one format 12 map, a group a character.
fn character_map(mapping: &[(char, u16)]) -> Vec<u8> {
    let mut table = Vec::with_capacity(28 + mapping.len() * 12);
    // Version, one map: platform 3 (Windows), encoding 10 (full Unicode), at byte 12.
    for value in [0_u16, 1, 3, 10, 0, 12, 12, 0] {
        table.extend(value.to_be_bytes());
    }
    // The map's length, no language, and the number of groups.
    for value in [16 + mapping.len() as u32 * 12, 0, mapping.len() as u32] {
        table.extend(value.to_be_bytes());
    }
    for (character, glyph) in mapping {
        for value in [u32::from(*character), u32::from(*character), u32::from(*glyph)] {
            table.extend(value.to_be_bytes());
        }
    }
    table
}

/// A font file of these tables. Checksums and search hints stay zero: nothing here reads them.
fn assemble(tables: &BTreeMap<Tag, Vec<u8>>) -> Vec<u8> {
    let mut file = Vec::new();
    file.extend(0x0001_0000_u32.to_be_bytes());
    for value in [tables.len() as u16, 0, 0, 0] {
        file.extend(value.to_be_bytes());
    }
    let mut offset = 12 + tables.len() * 16;
    for (tag, table) in tables {
        file.extend(tag);
        for value in [0, offset as u32, table.len() as u32] {
            file.extend(value.to_be_bytes());
        }
        offset += table.len().next_multiple_of(4);
    }
    for table in tables.values() {
        file.extend(table);
        file.resize(file.len().next_multiple_of(4), 0);
    }
    file
}

pub(super) fn u16_at(bytes: &[u8], index: usize) -> Option<u16> {
    bytes.get(index..)?.first_chunk().map(|chunk| u16::from_be_bytes(*chunk))
}

pub(super) fn u32_at(bytes: &[u8], index: usize) -> Option<u32> {
    bytes.get(index..)?.first_chunk().map(|chunk| u32::from_be_bytes(*chunk))
}
