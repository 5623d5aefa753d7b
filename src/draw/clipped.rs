//! Drawing within a rectangle of a frame: fills, inversions and bitmaps, a byte of eight rows at a time.
//!
//! What enters are bitmaps and rectangles in panel coordinates; what lies outside of the clip stays as it is. So what changed in a
//! picture can be drawn again without touching the rest.

use super::{Bitmap, Point, Rectangle, Size};

/// How strongly something is drawn on glass that knows only on and off. The patterns are fixed to the panel, so that shapes
/// that touch share one texture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ink {
    /// Every pixel of the shape.
    Full,
    /// Half of the pixels, in bricks two wide and one tall: a straight or diagonal line of one pixel keeps half of itself in
    /// any direction, which a checkerboard does not.
    Half,
    /// Diagonal lines four pixels apart.
    Hatch,
    /// Every pixel of the shape is put out.
    Off,
}

impl Ink {
    /// Which of the eight rows in column `x` this ink may touch; both patterns repeat every four rows and columns.
    fn rows(self, x: usize) -> u8 {
        match (self, x % 4) {
            (Ink::Half, 0 | 1) => 0b0101_0101,
            (Ink::Half, _) => 0b1010_1010,
            (Ink::Hatch, column) => 0b0001_0001 << (3 - column),
            _ => 0xff,
        }
    }

    /// The same for eight columns from `x` on.
    fn eight(self, x: usize) -> u64 {
        match self {
            Ink::Full | Ink::Off => u64::MAX,
            Ink::Half | Ink::Hatch => u64::from_le_bytes(std::array::from_fn(|column| self.rows(x + column))),
        }
    }
}

/// Whole pixels from `left` and `top` up to but not including `right` and `bottom`. A `Rectangle` would do, but for speed: an eighth of a
/// redraw went into its intersections.
#[derive(Clone, Copy, Debug)]
struct Edges {
    left: i32,
    top: i32,
    right: i32,
    bottom: i32,
}

impl Edges {
    fn new(Rectangle { top_left, size }: Rectangle) -> Self {
        Self {
            left: top_left.x,
            top: top_left.y,
            right: top_left.x.saturating_add_unsigned(size.width),
            bottom: top_left.y.saturating_add_unsigned(size.height),
        }
    }

    /// What both have in common, unless that is nothing.
    fn common(self, other: Self) -> Option<Self> {
        let common = Self {
            left: self.left.max(other.left),
            top: self.top.max(other.top),
            right: self.right.min(other.right),
            bottom: self.bottom.min(other.bottom),
        };
        (common.left < common.right && common.top < common.bottom).then_some(common)
    }

    /// The pages that hold rows of it, each with those rows. It lies within a frame.
    fn pages(self) -> impl Iterator<Item = (i32, u8)> {
        let last = self.bottom - 1;
        (self.top / 8..=last / 8).map(move |page| {
            let top = (self.top - page * 8).max(0);
            let bottom = (last - page * 8).min(7);
            (page, (0xff << top) & (0xff >> (7 - bottom)))
        })
    }
}

/// A frame that is drawn on within a rectangle alone.
#[derive(Debug)]
pub struct Clipped<'a> {
    width: usize,
    bytes: &'a mut [u8],
    /// None where nothing of the frame is left.
    clip: Option<Edges>,
}

impl<'a> Clipped<'a> {
    /// The part `area` of a frame of `size` with these bytes, page after page.
    pub(super) fn new(size: Size, bytes: &'a mut [u8], area: Rectangle) -> Self {
        let clip = Edges::new(area).common(Edges::new(Rectangle::new(Point::zero(), size)));
        Self { width: size.width as usize, bytes, clip }
    }

    /// The part of this one that lies within `area`.
    pub fn clipped(&mut self, area: Rectangle) -> Clipped<'_> {
        let clip = self.clip.and_then(|clip| clip.common(Edges::new(area)));
        Clipped { width: self.width, bytes: self.bytes, clip }
    }

    /// Fills a rectangle.
    pub fn fill(&mut self, area: Rectangle, ink: Ink) {
        self.each_run(area, |run, mask, x| match ink {
            Ink::Full if mask == 0xff => run.fill(0xff),
            Ink::Off if mask == 0xff => run.fill(0),
            Ink::Full => run.iter_mut().for_each(|byte| *byte |= mask),
            Ink::Off => run.iter_mut().for_each(|byte| *byte &= !mask),
            Ink::Half | Ink::Hatch => {
                run.iter_mut().enumerate().for_each(|(offset, byte)| *byte |= mask & ink.rows(x + offset));
            }
        });
    }

    /// Turns lit pixels dark and dark ones lit within a rectangle.
    pub fn invert(&mut self, area: Rectangle) {
        self.each_run(area, |run, mask, _| run.iter_mut().for_each(|byte| *byte ^= mask));
    }

    /// Puts the lit pixels of `bitmap` with its top left corner at `at`.
    pub fn blit(&mut self, bitmap: &Bitmap, at: Point, ink: Ink) {
        self.put(|page| bitmap.page(page), Rectangle::new(at, bitmap.size()), ink);
    }

    /// Puts the lit pixels of a picture, whose pages `pages` gives, at its `place`.
    pub(super) fn put<'b>(&mut self, pages: impl Fn(u32) -> &'b [u8], place: Rectangle, ink: Ink) {
        let Some(area) = self.clip.and_then(|clip| clip.common(Edges::new(place))) else { return };
        let (at, count) = (place.top_left, place.size.height.div_ceil(8));
        let (skip, columns) = ((area.left - at.x) as usize, (area.right - area.left) as usize);
        for (page, mask) in area.pages() {
            // The picture's row that falls on the page's top row.
            let row = page * 8 - at.y;
            let upper = row.div_euclid(8);
            let line = &mut self.bytes[page as usize * self.width + area.left as usize..][..columns];
            let source = |page: i32| match u32::try_from(page) {
                Ok(page) if page < count => &pages(page)[skip..][..columns],
                _ => &[],
            };
            let moved = Moved::new(source(upper), source(upper + 1), row.rem_euclid(8) as u32, mask);
            combine(line, &moved, area.left as usize, ink);
        }
    }

    /// Calls `change` for each page's run of bytes that hold pixels of `area`, with the rows concerned and the first column.
    fn each_run(&mut self, area: Rectangle, change: impl Fn(&mut [u8], u8, usize)) {
        let Some(area) = self.clip.and_then(|clip| clip.common(Edges::new(area))) else { return };
        for (page, mask) in area.pages() {
            let line = &mut self.bytes[page as usize * self.width..][area.left as usize..area.right as usize];
            change(line, mask, area.left as usize);
        }
    }
}

/// Two pages of a picture, one above the other, each empty where there is none, of which the bytes of one page of a frame are made.
struct Moved<'a> {
    high: &'a [u8],
    low: &'a [u8],
    /// So many rows of the upper page lie above the frame's page.
    shift: u32,
    /// Where rows of either page come to lie that the clip leaves, in each of eight bytes.
    rows: (u64, u64),
}

/// A one for each of eight bytes.
const EACH: u64 = 0x0101_0101_0101_0101;

impl<'a> Moved<'a> {
    /// `mask` are the frame's rows that the clip leaves.
    fn new(high: &'a [u8], low: &'a [u8], shift: u32, mask: u8) -> Self {
        let each = |rows: u32| EACH * u64::from(rows as u8 & mask);
        Self { high, low, shift, rows: (each(0xff >> shift), each(0xff << (8 - shift))) }
    }

    /// The byte of column `at`, moved to the frame's rows.
    fn one(&self, at: usize) -> u8 {
        let of = |page: &[u8]| page.get(at).map_or(0, |byte| u64::from(*byte));
        self.joined(of(self.high), of(self.low)) as u8
    }

    /// The bytes of eight columns from `at` on.
    fn eight(&self, at: usize) -> u64 {
        let of =
            |page: &[u8]| page.get(at..at + 8).and_then(|eight| eight.try_into().ok()).map_or(0, u64::from_le_bytes);
        self.joined(of(self.high), of(self.low))
    }

    /// All bytes at once; what a shift carries from one into its neighbour is masked out.
    fn joined(&self, high: u64, low: u64) -> u64 {
        (high >> self.shift & self.rows.0) | (low << (8 - self.shift) & self.rows.1)
    }
}

/// Combines a page of a picture with a run of frame bytes that begins in column `x`, eight at a time: the last eight may be in part
/// those before them, as the same ink twice is the same ink.
fn combine(line: &mut [u8], moved: &Moved<'_>, x: usize, ink: Ink) {
    let put = |byte: u64, moved: u64, rows: u64| if ink == Ink::Off { byte & !moved } else { byte | moved & rows };
    let Some(last) = line.len().checked_sub(8) else {
        for (at, byte) in line.iter_mut().enumerate() {
            *byte = put(u64::from(*byte), u64::from(moved.one(at)), u64::from(ink.rows(x + at))) as u8;
        }
        return;
    };
    for at in (0..last).step_by(8).chain([last]) {
        if let Some(eight) = line[at..].first_chunk_mut::<8>() {
            *eight = put(u64::from_le_bytes(*eight), moved.eight(at), ink.eight(x + at)).to_le_bytes();
        }
    }
}
