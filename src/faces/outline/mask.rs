//! A glyph as a large one-bit mask, from which its pictures at every size are made.
//!
//! What enters is a glyph's coverage at [`EM`] pixels an em; what leaves is a packed mask that answers whether a point is ink
//! and lists the runs of ink along both axes. The baseline is at 0, y grows upwards.

/// Pixels an em of every mask: a pixel of a 64 px digit is still more than four of these wide.
pub(super) const EM: u32 = 384;

/// Coverage from which a pixel counts as ink; half of 255 comes out as 127.
const INK: u8 = 127;

/// A packed picture with its place; the lowest row comes first.
#[derive(Clone, Debug)]
pub(super) struct Mask {
    pub left: i32,
    pub bottom: i32,
    pub width: u32,
    pub height: u32,
    /// 64-bit words a row; the least bit is the leftmost column.
    words: usize,
    bits: Box<[u64]>,
}

/// A stretch of ink along one axis: the line it lies on, its first pixel, and the one after its last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct InkRun {
    pub line: i32,
    pub start: i32,
    pub end: i32,
}

impl Mask {
    /// A mask from coverage in rows from the top, `width` bytes each, the lower left corner at (`left`, `bottom`). The mask
    /// is cut to its ink; none if there is no ink.
    pub fn from_coverage(left: i32, bottom: i32, width: usize, coverage: &[u8]) -> Option<Self> {
        let inked = |pixel: &u8| *pixel >= INK;
        let rows: Vec<&[u8]> = coverage.chunks_exact(width.max(1)).rev().collect();
        let low = rows.iter().position(|row| row.iter().any(inked))?;
        let high = rows.iter().rposition(|row| row.iter().any(inked))?;
        let rows = &rows[low..=high];
        let first = rows.iter().filter_map(|row| row.iter().position(inked)).min()?;
        let last = rows.iter().filter_map(|row| row.iter().rposition(inked)).max()?;
        let columns = last - first + 1;
        let words = columns.div_ceil(64);
        let word = |pixels: &[u8]| pixels.iter().rev().fold(0, |word, pixel| word << 1 | u64::from(inked(pixel)));
        let bits = rows.iter().flat_map(|row| row[first..=last].chunks(64).map(word)).collect();
        Some(Self {
            left: left + first as i32,
            bottom: bottom + low as i32,
            width: columns as u32,
            height: rows.len() as u32,
            words,
            bits,
        })
    }

    /// The column after the last one.
    pub fn right(&self) -> i32 {
        self.left + self.width as i32
    }

    /// The row above the highest one.
    pub fn top(&self) -> i32 {
        self.bottom + self.height as i32
    }

    /// The row of ink at height `y`; none above and below the mask.
    pub fn row(&self, y: i32) -> Option<Row<'_>> {
        let row = usize::try_from(y - self.bottom).ok()?;
        Some(Row { left: self.left, words: self.bits.chunks_exact(self.words).nth(row)? })
    }

    /// The runs of ink in every row.
    pub fn row_runs(&self) -> Vec<InkRun> {
        let mut runs = Vec::new();
        for (y, row) in (self.bottom..).zip(self.bits.chunks_exact(self.words)) {
            let (mut start, mut before) = (0, 0);
            for (index, word) in row.iter().enumerate() {
                // A set bit marks the first pixel of ink or the first one after ink.
                let mut changes = word ^ (word << 1 | before);
                before = word >> 63;
                while changes != 0 {
                    let bit = changes.trailing_zeros();
                    let x = self.left + index as i32 * 64 + bit as i32;
                    if word >> bit & 1 == 1 {
                        start = x;
                    } else {
                        runs.push(InkRun { line: y, start, end: x });
                    }
                    changes &= changes - 1;
                }
            }
            if before == 1 {
                runs.push(InkRun { line: y, start, end: self.left + self.words as i32 * 64 });
            }
        }
        runs
    }

    /// The runs of ink in every column, in the order in which they end.
    pub fn column_runs(&self) -> Vec<InkRun> {
        let mut runs = Vec::new();
        let mut starts = vec![0; self.words * 64];
        let blank = vec![0; self.words];
        let mut below = &blank[..];
        for (y, row) in (self.bottom..).zip(self.bits.chunks_exact(self.words).chain([&blank[..]])) {
            for (index, (word, before)) in row.iter().zip(below).enumerate() {
                let mut changes = word ^ before;
                while changes != 0 {
                    let bit = changes.trailing_zeros() as usize;
                    let column = index * 64 + bit;
                    if word >> bit & 1 == 1 {
                        starts[column] = y;
                    } else {
                        runs.push(InkRun { line: self.left + column as i32, start: starts[column], end: y });
                    }
                    changes &= changes - 1;
                }
            }
            below = row;
        }
        runs
    }
}

/// One row of a mask.
#[derive(Clone, Copy)]
pub(super) struct Row<'a> {
    left: i32,
    words: &'a [u64],
}

impl Row<'_> {
    /// Whether the pixel is ink; none is outside of the mask.
    pub fn lit(self, x: i32) -> bool {
        let column = x.wrapping_sub(self.left) as usize;
        self.words.get(column / 64).is_some_and(|word| word >> (column % 64) & 1 == 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The letter h, one empty row and column around it, two pixels left of the pen and one row below the baseline.
    fn mask() -> Mask {
        let rows = [".....", ".#...", ".##..", ".#.#.", "....."];
        let coverage: Vec<u8> = rows.concat().bytes().map(|cell| if cell == b'#' { 127 } else { 126 }).collect();
        Mask::from_coverage(-2, -1, 5, &coverage).unwrap()
    }

    #[test]
    fn is_cut_to_its_ink_and_keeps_its_place() {
        let mask = mask();
        assert_eq!((mask.left, mask.right(), mask.bottom, mask.top()), (-1, 2, 0, 3));
        let row = |y: i32| (-2..3).map(|x| mask.row(y).is_some_and(|row| row.lit(x))).collect::<Vec<_>>();
        assert_eq!(row(0), [false, true, false, true, false]);
        assert_eq!(row(1), [false, true, true, false, false]);
        assert_eq!(row(3), [false; 5]);
        assert!(Mask::from_coverage(0, 0, 2, &[126; 4]).is_none());
    }

    #[test]
    fn lists_runs_along_both_axes() {
        let run = |line, start, end| InkRun { line, start, end };
        assert_eq!(mask().row_runs(), [run(0, -1, 0), run(0, 1, 2), run(1, -1, 1), run(2, -1, 0)]);
        assert_eq!(mask().column_runs(), [run(1, 0, 1), run(0, 1, 2), run(-1, 0, 3)]);
    }

    #[test]
    fn runs_cross_and_end_at_the_edges_of_words() {
        for (width, from, to) in [(64, 3, 64), (130, 60, 70), (128, 0, 128), (192, 64, 128)] {
            let mut coverage = vec![0; width];
            coverage[from..to].fill(255);
            let mask = Mask::from_coverage(0, 0, width, &coverage).unwrap();
            assert_eq!(mask.row_runs(), [InkRun { line: 0, start: from as i32, end: to as i32 }]);
            assert_eq!(mask.column_runs().len(), to - from);
        }
    }
}
