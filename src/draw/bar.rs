//! Bars: a number as a length, outlined, with a target band, an origin and markers for what lies beyond the scale.
//!
//! What enters is a number with its state; what leaves is a [`Level`] in whole pixels, which tells whether anything changed,
//! and then pixels in the frame. Nothing here allocates.

use crate::formulas::{Bounds, Evaluated};
use crate::language::model::Direction;
use crate::readings::State;

use super::{Clipped, Ink, Point, Rectangle, Size};

/// From this thickness on there is room for a dark line between outline and filling.
const GAP_FROM: u32 = 7;
/// From this thickness on there is room for an outline.
const OUTLINE_FROM: u32 = 4;

/// A bar's geometry: everything that does not depend on the number.
///
/// `along` counts pixels from the empty end of the inner box to its full end, `across` at right angles to that.
#[derive(Clone, Debug)]
pub struct BarShape {
    area: Rectangle,
    direction: Direction,
    scale: Bounds,
    /// Pixels of outline and gap on each side.
    inset: u32,
    /// Where the filling begins.
    origin: u32,
    /// Whether the origin lies between the ends and so gets a line.
    origin_marked: bool,
    /// From where to where the band reaches.
    target: Option<(u32, u32)>,
    segments: Option<u32>,
}

/// What a bar shows, in whole pixels: two equal levels look the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Level {
    /// The filled pixels along the inner box, from the first up to but not including the second.
    fill: (u32, u32),
    /// On which side the number lies beyond the scale.
    beyond: Option<Beyond>,
    state: State,
}

/// On which side of the scale a number lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beyond {
    /// Below the empty end.
    Under,
    /// Above the full end.
    Over,
}

impl BarShape {
    /// The geometry of a bar that fills `area`.
    pub fn new(
        area: Rectangle,
        direction: Direction,
        scale: Bounds,
        origin: f64,
        target: Option<Bounds>,
        segments: Option<u32>,
    ) -> Self {
        let mut shape =
            Self { area, direction, scale, inset: 0, origin: 0, origin_marked: false, target: None, segments };
        shape.inset = match shape.thickness() {
            GAP_FROM.. => 2,
            OUTLINE_FROM.. => 1,
            _ => 0,
        };
        shape.origin = shape.position(origin);
        shape.origin_marked = scale.low < origin && origin < scale.high;
        shape.target = target.map(|band| (shape.position(band.low), shape.position(band.high)));
        shape
    }

    /// The box that the bar fills.
    pub fn area(&self) -> Rectangle {
        self.area
    }

    /// What a number looks like on this bar.
    pub fn level(&self, value: Evaluated) -> Level {
        if !value.is_known() {
            return Level { fill: (0, 0), beyond: None, state: value.state };
        }
        let end = self.position(value.number);
        let beyond = if value.number > self.scale.high {
            Some(Beyond::Over)
        } else if value.number < self.scale.low {
            Some(Beyond::Under)
        } else {
            None
        };
        Level { fill: (self.origin.min(end), self.origin.max(end)), beyond, state: value.state }
    }

    /// Where two levels look different.
    pub fn changed(&self, before: Level, now: Level) -> Rectangle {
        // A cut between segments is seen as soon as there is filling on both sides of it.
        if (before.beyond, before.state) != (now.beyond, now.state) || self.segments.is_some() {
            return self.area;
        }
        let ((from, to), (new_from, new_to)) = (before.fill, now.fill);
        let first = if from == new_from { to.min(new_to) } else { from.min(new_from) };
        let last = if to == new_to { from.max(new_from) } else { to.max(new_to) };
        self.inner(first, last.saturating_sub(first), 0, self.thickness() - 2 * self.inset)
    }

    /// Draws the bar; its box is dark before.
    pub fn draw(&self, frame: &mut Clipped<'_>, level: Level) {
        let (length, thickness) = (self.length(), self.thickness());
        self.draw_outline(frame, level.state);
        let inner = thickness - 2 * self.inset;
        match level.state {
            State::Waiting => return,
            State::Faulty => {
                frame.fill(self.inner(0, length, 0, inner), Ink::Hatch);
                return;
            }
            State::Live | State::Stale => {}
        }
        let ink = if level.state == State::Live { Ink::Full } else { Ink::Half };
        self.draw_filling(frame, level.fill, ink);
        if self.origin_marked {
            // From edge to edge of the box, so that it is seen within the filling's gap as well.
            let at = self.origin.min(length.saturating_sub(1));
            frame.fill(self.outer(at + self.inset, 1, 0, thickness), Ink::Full);
        }
        if let Some(beyond) = level.beyond {
            self.draw_beyond(frame, beyond, level.state);
        }
    }

    fn draw_outline(&self, frame: &mut Clipped<'_>, state: State) {
        let ink = if state == State::Waiting { Ink::Half } else { Ink::Full };
        let (length, thickness) = (self.length() + 2 * self.inset, self.thickness());
        if self.inset == 0 {
            // Too thin for an outline: a broken track shows how long the full bar is.
            frame.fill(self.outer(0, length, thickness / 2, 1), Ink::Half);
            return;
        }
        frame.fill(self.outer(0, 1, 0, thickness), ink);
        frame.fill(self.outer(length - 1, 1, 0, thickness), ink);
        let Some((from, to)) = self.target.filter(|_| state != State::Waiting) else {
            frame.fill(self.outer(0, length, 0, 1), ink);
            frame.fill(self.outer(0, length, thickness - 1, 1), ink);
            return;
        };
        let (from, band) = (from + self.inset, (to - from).max(1));
        if self.inset == 2 {
            // The outline is twice as thick along the band, so that a filling within the band closes the gap.
            frame.fill(self.outer(0, length, 0, 1), ink);
            frame.fill(self.outer(0, length, thickness - 1, 1), ink);
            frame.fill(self.outer(from, band, 1, 1), ink);
            frame.fill(self.outer(from, band, thickness - 2, 1), ink);
        } else {
            // No room for that: between its ends the outline stands along the band alone.
            for row in [0, thickness - 1] {
                frame.fill(self.outer(from, band, row, 1), ink);
            }
        }
    }

    fn draw_filling(&self, frame: &mut Clipped<'_>, (from, to): (u32, u32), ink: Ink) {
        let (thickness, inner) = (self.thickness(), self.thickness() - 2 * self.inset);
        frame.fill(self.inner(from, to - from, 0, inner), ink);
        if let Some(segments) = self.segments {
            // Within the band a cut goes on through the gap that the band closes.
            let line = self.inset.min(1);
            for cut in 1..segments {
                let at = cut * self.length() / segments;
                if from < at && at < to {
                    frame.fill(self.outer(at + self.inset, 1, line, thickness - 2 * line), Ink::Off);
                }
            }
        }
    }

    /// An arrow head at the end that the number lies beyond, dark on a full filling and lit elsewhere; two notches where the bar
    /// is too thin for one.
    fn draw_beyond(&self, frame: &mut Clipped<'_>, beyond: Beyond, state: State) {
        let (length, inner) = (self.length(), self.thickness() - 2 * self.inset);
        let from_end = |distance: u32, wide: u32| match beyond {
            Beyond::Over => length.saturating_sub(distance + wide),
            Beyond::Under => distance,
        };
        let reach = inner.div_ceil(2);
        if inner < 3 || length < reach + 3 {
            for distance in [1, 3] {
                frame.invert(self.inner(from_end(distance, 1), 1, 0, inner));
            }
            return;
        }
        if state == State::Stale {
            // On half ink no arrow can be made out.
            frame.fill(self.inner(from_end(0, reach + 3), reach + 3, 0, inner), Ink::Off);
        }
        for across in 0..inner {
            // Tip in the middle, one pixel further back for each row away from it.
            let back = (2 * across).abs_diff(inner - 1) / 2;
            frame.invert(self.inner(from_end(1 + back, 2), 2, across, 1));
        }
    }

    /// Pixels along the inner box that a number reaches.
    fn position(&self, number: f64) -> u32 {
        let share = (number - self.scale.low) / (self.scale.high - self.scale.low);
        (share.clamp(0.0, 1.0) * f64::from(self.length())).round() as u32
    }

    fn is_horizontal(&self) -> bool {
        matches!(self.direction, Direction::Right | Direction::Left)
    }

    fn thickness(&self) -> u32 {
        if self.is_horizontal() { self.area.size.height } else { self.area.size.width }
    }

    /// Pixels of the inner box from end to end.
    fn length(&self) -> u32 {
        let size = self.area.size;
        (if self.is_horizontal() { size.width } else { size.height }).saturating_sub(2 * self.inset)
    }

    /// A part of the inner box, in pixels along and across.
    fn inner(&self, along: u32, length: u32, across: u32, thickness: u32) -> Rectangle {
        self.outer(along + self.inset, length, across + self.inset, thickness)
    }

    /// A part of the whole box, in pixels along and across.
    fn outer(&self, along: u32, length: u32, across: u32, thickness: u32) -> Rectangle {
        let Rectangle { top_left: Point { x, y }, size: Size { width, height } } = self.area;
        let (along, across) = (along as i32, across as i32);
        let far = |extent: u32| extent as i32 - along - length as i32;
        match self.direction {
            Direction::Right => Rectangle::new(Point::new(x + along, y + across), Size::new(length, thickness)),
            Direction::Left => Rectangle::new(Point::new(x + far(width), y + across), Size::new(length, thickness)),
            Direction::Down => Rectangle::new(Point::new(x + across, y + along), Size::new(thickness, length)),
            Direction::Up => Rectangle::new(Point::new(x + across, y + far(height)), Size::new(thickness, length)),
        }
    }
}
