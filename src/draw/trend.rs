//! Trends: what a number was, as a line from the oldest to the newest, with gaps where nothing was heard.
//!
//! What enters are the least and the greatest number of each column; what leaves are [`Strokes`] in whole pixels, which tell whether
//! anything changed, and then pixels in the frame. Once there is room for the columns nothing here allocates.

use crate::formulas::Bounds;
use crate::readings::State;

use super::{Clipped, Ink, Point, Rectangle, Size};

/// Columns of hatching at the newest end while the reading is faulty.
const FAULT: u32 = 6;

/// A trend's geometry: everything that does not depend on the numbers.
#[derive(Clone, Debug)]
pub struct TrendShape {
    area: Rectangle,
    scale: Bounds,
    /// The rows of the band where the number ought to be, from the top.
    target: Option<(u32, u32)>,
}

/// What a trend shows, in whole pixels: two that are equal look the same.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Strokes {
    /// For each column its highest and its lowest row, and whether a number lies beyond the scale above or below; none in a gap.
    columns: Vec<Option<Stroke>>,
    state: Option<State>,
}

/// What a trend shows in a column.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stroke {
    rows: (u32, u32),
    above: bool,
    below: bool,
}

impl Strokes {
    /// Nothing, with its buffer kept.
    pub fn clear(&mut self) {
        self.columns.clear();
        self.state = None;
    }
}

impl TrendShape {
    /// The geometry of a trend that fills `area`.
    pub fn new(area: Rectangle, scale: Bounds, target: Option<Bounds>) -> Self {
        let mut shape = Self { area, scale, target: None };
        shape.target = target.map(|band| (shape.row(band.high), shape.row(band.low)));
        shape
    }

    /// How many columns it has.
    pub fn columns(&self) -> usize {
        self.area.size.width as usize
    }

    /// The row of a number; beyond the scale it is the outermost row.
    fn row(&self, number: f64) -> u32 {
        let share = ((number - self.scale.low) / (self.scale.high - self.scale.low)).clamp(0.0, 1.0);
        let last = self.area.size.height - 1;
        last - (share * f64::from(last)).round() as u32
    }

    /// What the numbers of the columns look like; `strokes` keeps its buffer.
    pub fn strokes(&self, numbers: &[Option<(f64, f64)>], state: State, strokes: &mut Strokes) {
        strokes.state = Some(state);
        strokes.columns.clear();
        let mut before: Option<(u32, u32)> = None;
        for numbers in numbers {
            let rows = numbers.map(|(least, greatest)| (self.row(greatest), self.row(least)));
            // A line does not break where it is steep: it reaches to the row next to the column before.
            let joined = rows.map(|(top, bottom)| match before {
                Some((_, lowest)) if lowest + 1 < top => (lowest + 1, bottom),
                Some((highest, _)) if bottom + 1 < highest => (top, highest - 1),
                _ => (top, bottom),
            });
            let stroke = joined.zip(*numbers).map(|(rows, (least, greatest))| Stroke {
                rows,
                above: greatest > self.scale.high,
                below: least < self.scale.low,
            });
            strokes.columns.push(stroke);
            before = rows;
        }
    }

    /// Draws the trend; its box is dark before.
    pub fn draw(&self, frame: &mut Clipped<'_>, strokes: &Strokes) {
        let Rectangle { top_left: Point { x, y }, size: Size { width, height } } = self.area;
        let row = |row: u32, from: u32, length: u32, ink: Ink, frame: &mut Clipped<'_>| {
            let corner = Point::new(x + from as i32, y + row as i32);
            frame.fill(Rectangle::new(corner, Size::new(length, 1)), ink);
        };
        let state = strokes.state.unwrap_or(State::Waiting);
        if strokes.columns.iter().all(Option::is_none) || state == State::Waiting {
            // A broken outline, as of a bar that waits.
            row(0, 0, width, Ink::Half, frame);
            row(height - 1, 0, width, Ink::Half, frame);
            for side in [0, width - 1] {
                frame.fill(Rectangle::new(Point::new(x + side as i32, y), Size::new(1, height)), Ink::Half);
            }
            return;
        }
        if let Some((top, bottom)) = self.target {
            for edge in [top, bottom] {
                for at in (0..width).step_by(4) {
                    row(edge, at, 1, Ink::Full, frame);
                }
            }
        }
        let ink = if state == State::Live { Ink::Full } else { Ink::Half };
        for (at, stroke) in strokes.columns.iter().enumerate() {
            let Some(Stroke { rows: (top, bottom), above, below }) = *stroke else { continue };
            let corner = Point::new(x + at as i32, y + top as i32);
            frame.fill(Rectangle::new(corner, Size::new(1, bottom - top + 1)), ink);
            // Beyond the scale the outermost row is a saw, which no line of numbers is.
            for (beyond, outermost, next) in [(above, 0, 1), (below, height - 1, height - 2)] {
                if beyond && at % 2 == 1 {
                    row(outermost, at as u32, 1, Ink::Off, frame);
                    row(next, at as u32, 1, ink, frame);
                }
            }
        }
        if state == State::Faulty {
            let fault = FAULT.min(width);
            let strip = Rectangle::new(Point::new(x + (width - fault) as i32, y), Size::new(fault, height));
            frame.fill(strip, Ink::Off);
            frame.fill(strip, Ink::Hatch);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Frame;
    use super::*;

    fn drawn(numbers: &[Option<(f64, f64)>]) -> Vec<String> {
        let size = Size::new(numbers.len() as u32, 5);
        let shape = TrendShape::new(Rectangle::new(Point::zero(), size), Bounds::new(0.0, 4.0), None);
        let (mut frame, mut strokes) = (Frame::new(size), Strokes::default());
        shape.strokes(numbers, State::Live, &mut strokes);
        shape.draw(&mut frame.whole(), &strokes);
        let pixel = |x, y| if frame.pixel(Point::new(x, y)) { '#' } else { '.' };
        (0..5).map(|y| (0..size.width as i32).map(|x| pixel(x, y)).collect()).collect()
    }

    #[test]
    fn a_line_joins_its_columns_and_leaves_gaps() {
        let at = |number: f64| Some((number, number));
        let picture = drawn(&[at(0.0), at(0.0), at(4.0), at(4.0), None, at(1.0), Some((1.0, 3.0)), at(9.0)]);
        assert_eq!(picture, ["..##....", "..#...##", "..#...#.", "..#..##.", "##......"]);
    }
}
