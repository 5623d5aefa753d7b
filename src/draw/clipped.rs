//! Drawing within a rectangle of a picture: fills, inversions and bitmaps, eight rows of eight columns at a time.
//!
//! What enters are bitmaps and rectangles in panel coordinates; what lies outside of the clip stays as it is. So what changed in a
//! picture can be drawn again without touching the rest.

use super::{Bitmap, Point, Rectangle};

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
    /// Which rows this ink may touch in each of eight columns from `x` on; the patterns repeat every four rows and columns.
    fn eight(self, x: usize) -> u64 {
        let pattern: u64 = match self {
            Ink::Full | Ink::Off => u64::MAX,
            Ink::Half => 0xaaaa_5555_aaaa_5555,
            Ink::Hatch => 0x1122_4488_1122_4488,
        };
        pattern.rotate_right(8 * (x % 4) as u32)
    }

    /// Bytes of eight columns from `x` on, once the pixels that `shape` has were drawn into them.
    fn put(self, bytes: u64, shape: u64, x: usize) -> u64 {
        if self == Ink::Off { bytes & !shape } else { bytes | shape & self.eight(x) }
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

/// A picture that is drawn on within a rectangle alone.
#[derive(Debug)]
pub struct Clipped<'a> {
    picture: &'a mut Bitmap,
    /// None where nothing of the picture is left.
    clip: Option<Edges>,
}

impl<'a> Clipped<'a> {
    /// The part `area` of a picture.
    pub(super) fn new(picture: &'a mut Bitmap, area: Rectangle) -> Self {
        let clip = Edges::new(area).common(Edges::new(Rectangle::new(Point::zero(), picture.size())));
        Self { picture, clip }
    }

    /// The part of this one that lies within `area`.
    pub fn clipped(&mut self, area: Rectangle) -> Clipped<'_> {
        let clip = self.common(area);
        Clipped { picture: self.picture, clip }
    }

    /// Fills a rectangle.
    pub fn fill(&mut self, area: Rectangle, ink: Ink) {
        self.change(area, |bytes, shape, x| ink.put(bytes, shape, x));
    }

    /// Turns lit pixels dark and dark ones lit within a rectangle.
    pub fn invert(&mut self, area: Rectangle) {
        self.change(area, |bytes, shape, _| bytes ^ shape);
    }

    /// Puts the lit pixels of `bitmap` with its top left corner at `at`.
    pub fn blit(&mut self, bitmap: &Bitmap, at: Point, ink: Ink) {
        let Some(area) = self.common(Rectangle::new(at, bitmap.size())) else { return };
        let (left, skip) = (area.left as usize, (area.left - at.x) as usize);
        for (page, rows) in area.pages() {
            // The bitmap's row that falls on the page's top row.
            let row = page * 8 - at.y;
            let (upper, shift) = (row.div_euclid(8), row.rem_euclid(8) as u32);
            let (high, low) = (bitmap.eights(upper, skip), bitmap.eights(upper + 1, skip));
            let eight = |page: &[[u8; 8]], index| page.get(index).map_or(0, |eight| u64::from_le_bytes(*eight));
            // What a shift carries from one byte into its neighbour is masked out.
            let high_rows = in_each(rows & 0xff >> shift);
            let low_rows = in_each(rows & (0xff00 >> shift) as u8);
            self.picture.change_eights(page, (area.left, area.right), |index, bytes, within| {
                let moved = eight(high, index) >> shift & high_rows | eight(low, index) << (8 - shift) & low_rows;
                ink.put(bytes, moved & within, left + 8 * index)
            });
        }
    }

    /// Changes the bytes that hold pixels of `area`, eight columns at a time: they become what `change` makes of them, of which of their
    /// pixels lie in `area`, and of the first column.
    fn change(&mut self, area: Rectangle, change: impl Fn(u64, u64, usize) -> u64) {
        let Some(area) = self.common(area) else { return };
        for (page, rows) in area.pages() {
            let rows = in_each(rows);
            self.picture.change_eights(page, (area.left, area.right), |index, bytes, within| {
                change(bytes, rows & within, area.left as usize + 8 * index)
            });
        }
    }

    /// What of `area` lies within the clip.
    fn common(&self, area: Rectangle) -> Option<Edges> {
        self.clip.and_then(|clip| clip.common(Edges::new(area)))
    }
}

/// The same rows in each of eight columns.
fn in_each(rows: u8) -> u64 {
    0x0101_0101_0101_0101 * u64::from(rows)
}
