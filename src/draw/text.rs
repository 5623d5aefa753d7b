//! Setting characters: glyphs of a strike along a baseline, and the looks of numbers that cannot be believed.
//!
//! What enters are characters and a pen; what leaves are pixels in the frame and the moved pen. Nothing here allocates.

use crate::faces::{Glyph, Strike};
use crate::readings::State;

use super::{Clipped, Ink, Point, Rectangle, Size};

/// Draws `text` with its baseline's left end at `pen`, and gives the pen's new x.
///
/// The row at `pen.y` is the first one below the baseline. A character that the face lacks shows as a box.
pub fn draw_text(frame: &mut Clipped<'_>, strike: &Strike, pen: Point, text: &str, ink: Ink) -> i32 {
    let mut x = pen.x;
    for character in text.chars() {
        let glyph = strike.glyph_or_missing(character);
        frame.blit(&glyph.bitmap, Point::new(x + glyph.left, pen.y - glyph.rise), ink);
        x += glyph.advance as i32;
    }
    x
}

/// How far the pen moves over `text`.
pub fn advance(strike: &Strike, text: &str) -> i32 {
    text.chars().map(|character| strike.glyph_or_missing(character).advance as i32).sum()
}

/// The columns that `text` covers, from the pen's start: from ink to ink, a digit counting as wide as the widest one and a
/// space as far as it moves the pen, so that a number that is filled up keeps its place.
pub fn covered_columns(strike: &Strike, text: &str) -> (i32, i32) {
    let mut columns = None;
    for (x, character, glyph) in placed(strike, 0, text) {
        let width = glyph.bitmap.size().width as i32;
        let (left, right) = match character {
            '0'..='9' | '\u{2007}' => strike.figure_ink(),
            _ if width == 0 => (0, glyph.advance as i32),
            _ => (glyph.left, glyph.left + width),
        };
        if right > left {
            take_in(&mut columns, x + left, x + right);
        }
    }
    columns.unwrap_or((0, 0))
}

/// The columns in which two texts look different, each with its pen's x and its characters; none if they look the same.
pub fn changed_columns(strike: &Strike, before: (i32, &str), now: (i32, &str)) -> (i32, i32) {
    let (mut before, mut now) = (placed(strike, before.0, before.1), placed(strike, now.0, now.1));
    let mut columns = None;
    loop {
        let (old, new) = (before.next(), now.next());
        if old.is_none() && new.is_none() {
            return columns.unwrap_or((0, 0));
        }
        let place = |one: Option<(i32, char, &Glyph)>| one.map(|(x, character, _)| (x, character));
        if place(old) != place(new) {
            for (x, _, glyph) in [old, new].into_iter().flatten() {
                let left = x + glyph.left;
                take_in(&mut columns, left, left + glyph.bitmap.size().width as i32);
            }
        }
    }
}

/// Characters from a pen on, each with its own pen's x and its glyph.
fn placed<'a>(strike: &'a Strike, mut x: i32, text: &'a str) -> impl Iterator<Item = (i32, char, &'a Glyph)> {
    text.chars().map(move |character| {
        let (at, glyph) = (x, strike.glyph_or_missing(character));
        x += glyph.advance as i32;
        (at, character, glyph)
    })
}

/// Widens columns to those from `left` up to but not including `right` as well.
fn take_in(columns: &mut Option<(i32, i32)>, left: i32, right: i32) {
    *columns = Some(columns.map_or((left, right), |(first, last)| (first.min(left), last.max(right))));
}

/// The rows that the ink of `text` covers: above the baseline and below it. Never less than the figure height above, so that
/// neighbouring texts of one size stand on one line.
pub fn ink_rows(strike: &Strike, text: &str) -> (i32, i32) {
    let mut rows = (strike.figure_height() as i32, 0);
    for character in text.chars() {
        let glyph = strike.glyph_or_missing(character);
        rows.0 = rows.0.max(glyph.rise);
        rows.1 = rows.1.max(glyph.bitmap.size().height as i32 - glyph.rise);
    }
    rows
}

/// Draws a field in the look of its state, and gives the pen's new x.
///
/// Live text has full strength and stale text half of it. Where there is no value, `text` is only a shape, `0` for each digit:
/// nothing heard yet shows a dash for each of them, and a fault hatches the place. So the digits of a bad value never stand
/// at full strength.
pub fn draw_field(frame: &mut Clipped<'_>, strike: &Strike, pen: Point, text: &str, state: State) -> i32 {
    match state {
        State::Live => draw_text(frame, strike, pen, text, Ink::Full),
        State::Stale => draw_text(frame, strike, pen, text, Ink::Half),
        State::Waiting => draw_dashes(frame, strike, pen, text),
        State::Faulty => {
            let (left, right) = covered_columns(strike, text);
            let figure = strike.figure_height();
            let corner = Point::new(pen.x + left, pen.y - figure as i32);
            let place = Rectangle::new(corner, Size::new((right - left) as u32, figure));
            frame.fill(place, Ink::Hatch);
            pen.x + advance(strike, text)
        }
    }
}

/// A dash at half height for each `0`, other characters as they are.
fn draw_dashes(frame: &mut Clipped<'_>, strike: &Strike, pen: Point, shape: &str) -> i32 {
    let figure = strike.figure_height();
    let thickness = (figure / 8).max(1);
    let top = pen.y - (figure as i32 + thickness as i32) / 2;
    let (left, right) = strike.figure_ink();
    let mut x = pen.x;
    for character in shape.chars() {
        if character == '0' {
            let dash = Rectangle::new(Point::new(x + left, top), Size::new((right - left) as u32, thickness));
            frame.fill(dash, Ink::Full);
            x += strike.glyph_or_missing('0').advance as i32;
        } else {
            x = draw_text(frame, strike, Point::new(x, pen.y), character.encode_utf8(&mut [0; 4]), Ink::Full);
        }
    }
    x
}
