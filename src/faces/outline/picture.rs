//! A fitted glyph as whole pixels: how much ink each pixel holds, which of them are lit, and what is put right afterwards.
//!
//! What enters are a mask and the fitted scale of each axis; what leaves is the bitmap with its place. Nothing here knows of
//! faces or characters.

use super::fit::{SAMPLES, Scale};
use super::mask::Mask;
use crate::draw::{Bitmap, Size};

/// Samples in a pixel.
const FULL: u32 = (SAMPLES * SAMPLES) as u32;
/// Ink that is left alone when full blocks are thinned: a pixel that is this full belongs there.
const SOLID: u32 = FULL * 4 / 5;
/// Ink in a pixel between lit ones from which the pixel is no counter but a flaw.
const PINHOLE: u32 = FULL * 3 / 10;

/// A lit picture and its place: pixels right of the pen, and rows from the baseline to above its top row.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Picture {
    pub bitmap: Bitmap,
    pub left: i32,
    pub rise: i32,
}

/// Draws `mask` through the scales; a pixel is lit from a share of `threshold` of ink on.
///
/// `thin` takes the corners out of strokes that came out two pixels wide where the stem is one.
pub(super) fn draw(mask: &Mask, x: &Scale, y: &Scale, threshold: f32, thin: bool) -> Picture {
    let mut cells = Cells::sample(mask, x, y, (threshold * FULL as f32) as u32);
    cells.light_end_rows();
    if thin {
        cells.thin();
    }
    cells.fill_pinholes();
    cells.cut(x.low(), y.high())
}

/// The pixels of a glyph, the top row first.
struct Cells {
    width: usize,
    height: usize,
    /// How many samples of each pixel are ink.
    ink: Vec<u32>,
    lit: Vec<bool>,
}

impl Cells {
    fn sample(mask: &Mask, x: &Scale, y: &Scale, threshold: u32) -> Self {
        let (columns, rows) = (x.samples(), y.samples());
        let side = SAMPLES as usize;
        let (width, height) = (columns.len() / side, rows.len() / side);
        let mut ink = vec![0; width * height];
        for (line, at) in rows.iter().rev().enumerate() {
            let Some(row) = mask.row(*at) else { continue };
            let cells = &mut ink[line / side * width..][..width];
            for (cell, samples) in cells.iter_mut().zip(columns.chunks_exact(side)) {
                *cell += samples.iter().filter(|sample| row.lit(**sample)).count() as u32;
            }
        }
        let lit = ink.iter().map(|samples| *samples >= threshold).collect();
        Self { width, height, ink, lit }
    }

    /// Whether a pixel is lit; none is outside.
    fn is_lit(&self, x: i32, y: i32) -> bool {
        let inside = (0..self.width as i32).contains(&x) && (0..self.height as i32).contains(&y);
        inside && self.lit[y as usize * self.width + x as usize]
    }

    /// A glyph keeps its height, be its top ever so pointed: the fullest pixel of an unlit end row is lit.
    fn light_end_rows(&mut self) {
        let Some(last) = self.height.checked_sub(1) else { return };
        for row in [0, last] {
            let cells = row * self.width..(row + 1) * self.width;
            if !self.lit[cells.clone()].contains(&true)
                && let Some(fullest) = cells.max_by_key(|cell| self.ink[*cell])
            {
                self.lit[fullest] = true;
            }
        }
    }

    /// Takes pixels out of lit blocks of two by two, the emptiest first, where that leaves in one piece what was in one piece.
    ///
    /// Going by ink and not by place keeps a letter that is the same on both sides so.
    fn thin(&mut self) {
        let mut spare: Vec<usize> =
            (0..self.lit.len()).filter(|cell| self.lit[*cell] && self.ink[*cell] < SOLID).collect();
        // A sixteenth more or less is no difference: it is where the samples happened to fall.
        spare.sort_by_key(|cell| self.ink[*cell] * 16 / FULL);
        for cell in spare {
            let (x, y) = ((cell % self.width) as i32, (cell / self.width) as i32);
            let full =
                |x: i32, y: i32| [(0, 0), (1, 0), (0, 1), (1, 1)].iter().all(|(dx, dy)| self.is_lit(x + dx, y + dy));
            let blocks = [(x - 1, y - 1), (x, y - 1), (x - 1, y), (x, y)];
            if blocks.into_iter().any(|(x, y)| full(x, y)) && self.is_simple(x, y) {
                self.lit[cell] = false;
            }
        }
    }

    /// Whether the pixel can go without joining or parting anything: its number of 8-connected pieces around is one.
    /// Source: Yokoi, Toriwaki, Fukumura (1975), "An analysis of topological properties of digitized binary pictures".
    fn is_simple(&self, x: i32, y: i32) -> bool {
        let ring = [(1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1)];
        let dark = ring.map(|(dx, dy)| !self.is_lit(x + dx, y + dy));
        let pieces = [0, 2, 4, 6].into_iter().filter(|at| dark[*at] && !(dark[at + 1] && dark[(at + 2) % 8])).count();
        pieces == 1
    }

    /// Lights a dark pixel between four lit ones that holds a good part of ink.
    fn fill_pinholes(&mut self) {
        for y in 0..self.height as i32 {
            for x in 0..self.width as i32 {
                let cell = y as usize * self.width + x as usize;
                let closed =
                    [(x - 1, y), (x + 1, y), (x, y - 1), (x, y + 1)].into_iter().all(|(x, y)| self.is_lit(x, y));
                if closed && self.ink[cell] >= PINHOLE {
                    self.lit[cell] = true;
                }
            }
        }
    }

    /// The lit part as a bitmap; `left` and `top` are the edges of all cells.
    fn cut(&self, left: i32, top: i32) -> Picture {
        let lit = |x: usize, y: usize| self.lit[y * self.width + x];
        let in_row = |y: &usize| (0..self.width).any(|x| lit(x, *y));
        let in_column = |x: &usize| (0..self.height).any(|y| lit(*x, y));
        let (rows, columns) = (0..self.height, 0..self.width);
        let edges = (
            rows.clone().find(in_row),
            rows.clone().rfind(in_row),
            columns.clone().find(in_column),
            columns.clone().rfind(in_column),
        );
        let (Some(first_row), Some(last_row), Some(first), Some(last)) = edges else {
            return Picture { bitmap: Bitmap::new(Size::zero()), left: 0, rise: 0 };
        };
        let size = Size::new((last - first + 1) as u32, (last_row - first_row + 1) as u32);
        Picture {
            bitmap: Bitmap::from_fn(size, |x, y| lit(first + x as usize, first_row + y as usize)),
            left: left + first as i32,
            rise: top - first_row as i32,
        }
    }
}
