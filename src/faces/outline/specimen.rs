//! A TrueType file made for tests: a face whose letters are put together from rectangles, as on a segment display.
//!
//! What leaves are the bytes of a whole font, so that tests need no font of anybody's; damage is done to these bytes.
//! Source of the tables: ISO/IEC 14496-22 (Open Font Format).

use std::collections::BTreeMap;

/// Font units an em.
pub(super) const UNITS: u16 = 1000;

/// A rectangle: left, bottom, right, top, in font units.
type Bar = [i16; 4];

/// The segments of a digit, 440 wide and 720 tall with strokes of 90: top, top left, top right, middle, bottom left, bottom right,
/// bottom.
const SEGMENTS: [Bar; 7] = [
    [60, 630, 500, 720],
    [60, 315, 150, 720],
    [410, 315, 500, 720],
    [60, 315, 500, 405],
    [60, 0, 150, 405],
    [410, 0, 500, 405],
    [60, 0, 500, 90],
];
const DIGITS: [&[usize]; 10] = [
    &[0, 1, 2, 4, 5, 6],
    &[2, 5],
    &[0, 2, 3, 4, 6],
    &[0, 2, 3, 5, 6],
    &[1, 2, 3, 5],
    &[0, 1, 3, 5, 6],
    &[0, 1, 3, 4, 5, 6],
    &[0, 2, 5],
    &[0, 1, 2, 3, 4, 5, 6],
    &[0, 1, 2, 3, 5, 6],
];

/// A font file in parts, to be changed before it is put together.
pub(in crate::faces) struct Specimen {
    pub tables: BTreeMap<&'static [u8; 4], Vec<u8>>,
}

impl Specimen {
    /// Digits, a few letters, a hyphen, a full stop and a blank; no minus.
    pub fn new() -> Self {
        let mut glyphs: Vec<(char, u16, Vec<Bar>)> =
            vec![(' ', 300, vec![]), ('-', 400, vec![[60, 300, 340, 380]]), ('.', 240, vec![[70, 0, 170, 100]])];
        glyphs.extend(
            ('0'..='9').zip(DIGITS).map(|(digit, lit)| (digit, 560, lit.iter().map(|at| SEGMENTS[*at]).collect())),
        );
        glyphs.extend([
            ('=', 600, vec![[60, 180, 540, 260], [60, 400, 540, 480]]),
            ('H', 640, vec![[80, 0, 170, 720], [470, 0, 560, 720], [170, 320, 470, 410]]),
            ('i', 250, vec![[80, 0, 170, 530], [75, 620, 175, 720]]),
            ('p', 560, vec![[60, -200, 150, 530], [150, 0, 500, 90], [150, 440, 500, 530], [410, 90, 500, 440]]),
            ('x', 500, vec![[60, 0, 150, 530], [350, 0, 440, 530], [150, 220, 350, 310]]),
        ]);
        Self::of(&glyphs)
    }

    fn of(glyphs: &[(char, u16, Vec<Bar>)]) -> Self {
        let words = |values: &[i16]| values.iter().flat_map(|value| value.to_be_bytes()).collect::<Vec<u8>>();
        let count = glyphs.len() as u16 + 1;
        // Glyph 0 is the one for characters that the face lacks: blank, like the space.
        let outlines = glyphs.iter().map(|(_, _, bars)| outline(bars));
        let (mut glyf, mut loca) = (Vec::new(), vec![0, 0, 0, 0]);
        for outline in [Vec::new()].into_iter().chain(outlines) {
            glyf.extend(outline);
            loca.extend((glyf.len() as u32).to_be_bytes());
        }
        let mut hmtx = words(&[500, 0]);
        for (_, advance, bars) in glyphs {
            hmtx.extend(words(&[*advance as i16, bars.iter().map(|bar| bar[0]).min().unwrap_or(0)]));
        }
        let mut head = vec![0; 54];
        head[1] = 1;
        head[12..16].copy_from_slice(&0x5f0f_3cf5_u32.to_be_bytes());
        head[18..20].copy_from_slice(&UNITS.to_be_bytes());
        head[51] = 1;
        let mut hhea = vec![0; 36];
        hhea[1] = 1;
        hhea[4..8].copy_from_slice(&words(&[900, -250]));
        hhea[34..36].copy_from_slice(&count.to_be_bytes());
        let mut maxp = vec![0; 32];
        maxp[1] = 1;
        maxp[4..6].copy_from_slice(&count.to_be_bytes());
        let groups: Vec<[u32; 3]> = (1..)
            .zip(glyphs)
            .map(|(glyph, (character, ..))| [u32::from(*character), u32::from(*character), glyph])
            .collect();
        let tables = [
            (b"cmap", character_map(&groups)),
            (b"glyf", glyf),
            (b"head", head),
            (b"hhea", hhea),
            (b"hmtx", hmtx),
            (b"loca", loca),
            (b"maxp", maxp),
        ];
        Self { tables: tables.into_iter().collect() }
    }

    /// Puts other outline data in place of the last glyph, `x`.
    pub fn with_last_glyph(mut self, data: &[u8]) -> Self {
        let last = u32::from_be_bytes(*self.tables[b"loca"].last_chunk::<8>().unwrap().first_chunk().unwrap());
        let glyf = self.tables.get_mut(b"glyf").unwrap();
        glyf.truncate(last as usize);
        glyf.extend(data);
        let end = (glyf.len() as u32).to_be_bytes();
        let loca = self.tables.get_mut(b"loca").unwrap();
        let place = loca.len() - 4;
        loca[place..].copy_from_slice(&end);
        self
    }

    /// The file.
    pub fn bytes(&self) -> Vec<u8> {
        let mut file = vec![0, 1, 0, 0];
        file.extend((self.tables.len() as u16).to_be_bytes());
        file.extend([0; 6]);
        let mut offset = 12 + self.tables.len() * 16;
        for (tag, table) in &self.tables {
            file.extend(*tag);
            for value in [0, offset as u32, table.len() as u32] {
                file.extend(value.to_be_bytes());
            }
            offset += table.len();
        }
        file.extend(self.tables.values().flatten());
        file
    }
}

/// A `cmap` table with one map in format 12.
pub(super) fn character_map(groups: &[[u32; 3]]) -> Vec<u8> {
    let mut table: Vec<u8> = [0_u16, 1, 3, 10].iter().flat_map(|value| value.to_be_bytes()).collect();
    let length = 16 + groups.len() as u32 * 12;
    for value in [12, 12 << 16, length, 0, groups.len() as u32].iter().chain(groups.as_flattened()) {
        table.extend(value.to_be_bytes());
    }
    table
}

/// A simple glyph: a closed contour of four corners a rectangle.
fn outline(bars: &[Bar]) -> Vec<u8> {
    if bars.is_empty() {
        return Vec::new();
    }
    let mut data = Vec::new();
    let mut word = |value: i16| data.extend(value.to_be_bytes());
    word(bars.len() as i16);
    let edge = |at: usize| bars.iter().map(move |bar| bar[at]);
    for bound in [edge(0).min(), edge(1).min(), edge(2).max(), edge(3).max()] {
        word(bound.unwrap_or(0));
    }
    (1..=bars.len() as i16).for_each(|contour| word(contour * 4 - 1));
    word(0);
    let corners: Vec<(i16, i16)> = bars
        .iter()
        .flat_map(|[left, bottom, right, top]| [(*left, *bottom), (*left, *top), (*right, *top), (*right, *bottom)])
        .collect();
    // On the curve, both steps as words.
    data.extend(vec![1_u8; corners.len()]);
    for axis in [|corner: &(i16, i16)| corner.0, |corner: &(i16, i16)| corner.1] {
        let mut at = 0;
        for corner in &corners {
            data.extend((axis(corner) - at).to_be_bytes());
            at = axis(corner);
        }
    }
    data
}
