//! A fitted glyph as whole pixels: how much ink each pixel holds, which of them are lit, and what is put right afterwards.
//!
//! What enters are a mask and the fitted scale of each axis; what leaves is the bitmap with its place. Nothing here knows of
//! faces or characters.

use std::ops::Range;

use super::fit::{SAMPLES, Scale};
use super::mask::Mask;
use crate::draw::{Bitmap, Size};

/// Samples in a pixel.
const FULL: u32 = (SAMPLES * SAMPLES) as u32;
/// Ink that is left alone when full blocks are thinned: a pixel that is this full belongs there.
const SOLID: u32 = FULL * 4 / 5;
/// Ink in a pixel between lit ones from which the pixel is no counter but a flaw.
const PINHOLE: u32 = FULL * 3 / 10;

/// How much of its ink a symmetric glyph may have without a counterpart.
const ASYMMETRY: f32 = 0.06;

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
    let mut cells = Cells::sample(mask, x, y);
    cells.even_out();
    cells.light((threshold * FULL as f32) as u32);
    cells.keep_strokes(mask, x, y);
    cells.light_end_rows();
    if thin {
        cells.thin();
    }
    cells.fill_pinholes();
    cells.cut(x.low(), y.high())
}

/// The runs of ink among samples, but for those that are shorter than a quarter of a pixel.
fn crossings(samples: impl Iterator<Item = bool>) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (index, _) in samples.enumerate().filter(|(_, ink)| *ink) {
        match runs.last_mut() {
            Some(run) if run.end == index => run.end += 1,
            _ => runs.push(index..index + 1),
        }
    }
    runs.retain(|run| run.len() as i32 * 4 >= SAMPLES);
    runs
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
    fn sample(mask: &Mask, x: &Scale, y: &Scale) -> Self {
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
        Self { width, height, lit: vec![false; ink.len()], ink }
    }

    /// Makes a glyph that is nearly the same on both sides, or above and below, quite the same: otherwise a few samples
    /// decide on which side a pixel is lit.
    fn even_out(&mut self) {
        let (width, height) = (self.width, self.height);
        for mirrored in [
            &(|cell: usize| cell / width * width + (width - 1 - cell % width)) as &dyn Fn(usize) -> usize,
            &|cell: usize| (height - 1 - cell / width) * width + cell % width,
        ] {
            let difference: u32 =
                (0..self.ink.len()).map(|cell| self.ink[cell].abs_diff(self.ink[mirrored(cell)])).sum();
            if difference as f32 <= ASYMMETRY * self.ink.iter().sum::<u32>() as f32 {
                self.ink =
                    (0..self.ink.len()).map(|cell| (self.ink[cell] + self.ink[mirrored(cell)]).div_ceil(2)).collect();
            }
        }
    }

    fn light(&mut self, threshold: u32) {
        for (lit, ink) in self.lit.iter_mut().zip(&self.ink) {
            *lit = *ink >= threshold;
        }
    }

    /// Lights a pixel where a stroke crosses the middle of a row or column of pixels and lit none: a thin diagonal between
    /// fitted strokes would have gaps otherwise.
    fn keep_strokes(&mut self, mask: &Mask, x: &Scale, y: &Scale) {
        let (columns, rows) = (x.samples(), y.samples());
        let (side, width, last_row) = (SAMPLES as usize, self.width, self.height.saturating_sub(1));
        let inked = |column: i32, row: i32| mask.row(row).is_some_and(|line| line.lit(column));
        for line in 0..self.height {
            let middle = rows[(last_row - line) * side + side / 2];
            for at in crossings(columns.iter().map(|column| inked(*column, middle))) {
                self.light_between(at, |along| line * width + along);
            }
        }
        for column in 0..self.width {
            let middle = columns[column * side + side / 2];
            for at in crossings(rows.iter().rev().map(|row| inked(middle, *row))) {
                self.light_between(at, |along| along * width + column);
            }
        }
    }

    /// Lights the pixel in the middle of a run of samples if none along it is lit; `cell` gives the pixel's index.
    fn light_between(&mut self, samples: Range<usize>, cell: impl Fn(usize) -> usize) {
        let side = SAMPLES as usize;
        if !(samples.start / side..=(samples.end - 1) / side).any(|along| self.lit[cell(along)]) {
            self.lit[cell(usize::midpoint(samples.start, samples.end - 1) / side)] = true;
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Cells from a pattern: `#` is full and lit, `+` half full and lit, `o` half full and dark, all else empty.
    fn cells(rows: &[&str]) -> Cells {
        let all: Vec<u8> = rows.concat().into_bytes();
        let ink = all.iter().map(|cell| match cell {
            b'#' => FULL,
            b'+' | b'o' => FULL / 2,
            _ => 0,
        });
        let lit = all.iter().map(|cell| matches!(cell, b'#' | b'+'));
        Cells { width: rows[0].len(), height: rows.len(), ink: ink.collect(), lit: lit.collect() }
    }

    fn lit(cells: &Cells) -> Vec<String> {
        let row = |row: &[bool]| row.iter().map(|lit| if *lit { '#' } else { '.' }).collect();
        cells.lit.chunks(cells.width).map(row).collect()
    }

    #[test]
    fn thins_the_corners_of_a_bowl_and_keeps_it_closed_and_even() {
        let mut bowl = cells(&["+###+", "##.##", "#...#", "##.##", "+###+"]);
        bowl.thin();
        assert_eq!(lit(&bowl), [".###.", "##.##", "#...#", "##.##", ".###."]);
    }

    #[test]
    fn thinning_leaves_a_dot_alone() {
        let mut dot = cells(&["##", "##"]);
        dot.thin();
        assert_eq!(lit(&dot), ["##", "##"]);
    }

    #[test]
    fn fills_flaws_and_no_counters() {
        let mut flaw = cells(&["###", "#o#", "###"]);
        flaw.fill_pinholes();
        assert_eq!(lit(&flaw), ["###", "###", "###"]);
        let mut counter = cells(&["###", "#.#", "###"]);
        counter.fill_pinholes();
        assert_eq!(lit(&counter), ["###", "#.#", "###"]);
    }

    #[test]
    fn a_pointed_top_keeps_its_row() {
        let mut point = cells(&["..o..", ".###.", "#####"]);
        point.light_end_rows();
        assert_eq!(lit(&point), ["..#..", ".###.", "#####"]);
    }

    #[test]
    fn evens_out_what_is_nearly_the_same_on_both_sides_and_nothing_else() {
        let mut nearly = cells(&["#...#", "#...#", "#####", "#...#", "#...#"]);
        nearly.ink[0] -= 9;
        nearly.even_out();
        assert_eq!((nearly.ink[0], nearly.ink[4]), (nearly.ink[4], nearly.ink[0]));
        let mut seven = cells(&["#####", "....#", "...#.", "..#..", "..#.."]);
        let before = seven.ink.clone();
        seven.even_out();
        assert_eq!(seven.ink, before);
    }

    #[test]
    fn a_pixel_is_simple_only_if_nothing_parts_or_joins_without_it() {
        let bridge = cells(&["#.#", ".#.", "#.#"]);
        assert!(!bridge.is_simple(1, 1));
        assert!(bridge.is_simple(0, 0), "an end may go");
        assert!(cells(&["##", "##"]).is_simple(0, 0));
        assert!(!cells(&["...", ".#.", "..."]).is_simple(1, 1), "the last pixel stays");
        assert!(!cells(&["###", "###", "###"]).is_simple(1, 1), "no hole opens");
    }

    #[test]
    fn a_thin_diagonal_keeps_a_pixel_in_every_row() {
        // A diagonal of a fifth of a pixel across five rows of eight samples.
        let side = 40_usize;
        let coverage: Vec<u8> =
            (0..side * side).map(|at| if (at / side).abs_diff(at % side) < 2 { 255 } else { 0 }).collect();
        let mask = Mask::from_coverage(0, 0, side, &coverage).unwrap();
        let scale = Scale::even(0, 5, 0, 40);
        let rows = |picture: &Picture| picture.bitmap.size();
        assert_eq!(rows(&draw(&mask, &scale, &scale, 0.9, false)), Size::new(5, 5));
    }
}
