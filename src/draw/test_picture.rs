//! The test picture: what a new panel shows first, so that a person sees whether it is wired and set up as it is said to be.
//!
//! What enters are a size, a name and the built-in faces; what leaves is a frame whose outermost pixels are lit, with a number in each corner
//! and the size in the middle. It shows no reading, and it says nothing about what is wrong.

use embedded_graphics_core::geometry::{Dimensions, OriginDimensions};

use super::{Frame, Ink, Point, Size, covered_columns, draw_text, ink_rows};
use crate::faces::{Catalogue, FaceError, Strike};

/// The face of the size, and that of corners and name, with their figure heights.
const FIGURES: (&str, u32) = ("wide", 12);
const LETTERS: (&str, u32) = ("small", 7);
/// From the edge of the glass to a number in a corner: the line of one pixel, and as much as keeps the two apart.
const MARGIN: i32 = 4;
/// Dark rows between the size and the name.
const GAP: i32 = 5;

/// The test picture of a panel: corners 1 and 2 on top, 3 and 4 below, the size in figures, and below it a `name`.
///
/// # Errors
/// [`FaceError`] if the catalogue lacks the built-in faces.
pub fn test_picture(size: Size, name: &str, faces: &Catalogue) -> Result<Frame, FaceError> {
    let figures = faces.strike(FIGURES.0, FIGURES.1)?;
    let letters = faces.strike(LETTERS.0, LETTERS.1)?;
    let mut frame = Frame::new(size);
    let glass = frame.bounding_box();
    frame.fill(glass, Ink::Full);
    frame.fill(glass.offset(-1), Ink::Off);

    let (right, bottom) = (size.width as i32 - MARGIN, size.height as i32 - MARGIN);
    let top = MARGIN + letters.figure_height() as i32;
    for (number, baseline, at_right) in [("1", top, false), ("2", top, true), ("3", bottom, false), ("4", bottom, true)]
    {
        let (first, last) = covered_columns(&letters, number);
        let x = if at_right { right - last } else { MARGIN - first };
        draw_text(&mut frame.whole(), &letters, Point::new(x, baseline), number, Ink::Full);
    }

    let size_text = format!("{}×{}", size.width, size.height);
    let (above, _) = ink_rows(&figures, &size_text);
    let (name_above, _) = ink_rows(&letters, name);
    let y = (size.height as i32 - above - GAP - name_above) / 2 + above;
    centred(&mut frame, &figures, y, &size_text);
    centred(&mut frame, &letters, y + GAP + name_above, name);
    Ok(frame)
}

fn centred(frame: &mut Frame, strike: &Strike, baseline: i32, text: &str) {
    let (first, last) = covered_columns(strike, text);
    let x = (frame.size().width as i32 - (last - first)) / 2 - first;
    draw_text(&mut frame.whole(), strike, Point::new(x, baseline), text, Ink::Full);
}
