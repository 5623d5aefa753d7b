//! What all characters of a face have in common, and how one of them is fitted to a size.
//!
//! What enters are the masks of a face's characters; what leaves are the face's measures ([`Shapes`]) and, at one figure
//! height, glyphs ([`Fitting`]). Sizes are in mask pixels up to here and in pixels of the picture from here on.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use super::fit::{Scale, Wish, fit, round};
use super::load::{Master, OutlineError};
use super::mask::{EM, InkRun, Mask};
use super::picture::draw;
use super::strokes::{Band, bands, median};
use crate::faces::Glyph;

/// An edge this close to a zone belongs to it: 3 % of an em, which is more than curves overshoot.
const ZONE: i32 = EM as i32 * 3 / 100;
/// Heights of digits in mask pixels: outside of these a size in pixels would ask for pictures beyond all measure.
const FIGURES: RangeInclusive<i32> = EM as i32 * 3 / 10..=EM as i32 * 3 / 2;
/// Digits this close to the edges of the zero share its frame: 4 % of an em.
const FRAME: i32 = EM as i32 / 25;
/// A blot smaller than this many stems both ways is a dot.
const DOT: f32 = 2.2;

/// A character's mask and the bands of ink along its axes.
#[derive(Debug)]
pub(super) struct Shape {
    mask: Mask,
    x: Vec<Band>,
    y: Vec<Band>,
    advance: f32,
}

/// The characters of a face and its measures, in mask pixels.
#[derive(Debug)]
pub(super) struct Shapes {
    shapes: BTreeMap<char, Shape>,
    /// How far a blank moves the pen.
    space: f32,
    /// The widths of upright and of lying strokes.
    stem: (f32, f32),
    /// The height of the digits.
    figure: i32,
    cap: i32,
    x_height: i32,
    ascender: i32,
    descender: i32,
}

impl Shapes {
    /// Measures a face. It has to have all ten digits.
    pub fn new(masters: Vec<Master>) -> Result<Self, OutlineError> {
        let mut space = None;
        let mut masks = BTreeMap::new();
        for Master { character, mask, advance } in masters {
            match mask {
                Some(mask) => _ = masks.insert(character, (mask, advance)),
                None if character == ' ' => space = Some(advance),
                None => {}
            }
        }
        if let Some(digit) = ('0'..='9').find(|digit| !masks.contains_key(digit)) {
            return Err(OutlineError::NoDigit(digit));
        }
        // The minus is never missing: a dash is drawn where a face has no minus of its own.
        if let Some(dash) = ['−', '–', '-'].iter().find_map(|dash| masks.get(dash)).cloned() {
            masks.entry('−').or_insert(dash);
        }

        let top = |characters: &str| median(characters.chars().filter_map(|one| Some(masks.get(&one)?.0.top())));
        let bottom = |characters: &str| median(characters.chars().filter_map(|one| Some(masks.get(&one)?.0.bottom)));
        let figure = top("147").unwrap_or(0).max(1);
        if !FIGURES.contains(&figure) {
            return Err(OutlineError::Figures(figure * 100 / EM as i32));
        }
        let lining = |digit: &char| {
            let mask = &masks[digit].0;
            mask.top().abs_diff(figure) <= 2 * ZONE as u32 && mask.bottom.unsigned_abs() <= 2 * ZONE as u32
        };
        if let Some(digit) = ('0'..='9').find(|digit| !lining(digit)) {
            return Err(OutlineError::OldStyle(digit));
        }
        let cap = top("HEI").unwrap_or(figure);
        let first_runs = |characters: &str, runs: fn(&Mask) -> Vec<InkRun>| {
            let masks = characters.chars().filter_map(|one| masks.get(&one));
            median(masks.flat_map(|(mask, _)| first_of_lines(runs(mask))).map(|run| run.end - run.start))
        };
        let upright = first_runs("HIlLEFTdbhnmr1", Mask::row_runs).unwrap_or(figure / 8).max(1) as f32;
        let lying = first_runs("EFTLZz7", Mask::column_runs).unwrap_or(figure / 8).max(1) as f32;
        Ok(Self {
            space: space.unwrap_or(EM as f32 / 4.0),
            stem: (upright, lying),
            figure,
            cap,
            x_height: top("xzv").unwrap_or(cap * 3 / 4),
            ascender: top("dbl").unwrap_or(cap),
            descender: bottom("pqg").unwrap_or(-cap / 4),
            shapes: masks
                .into_iter()
                .map(|(character, (mask, advance))| {
                    let (x, y) = (bands(&mask.row_runs(), upright), bands(&mask.column_runs(), lying));
                    (character, Shape { mask, x, y, advance })
                })
                .collect(),
        })
    }

    pub fn get(&self, character: char) -> Option<&Shape> {
        self.shapes.get(&character)
    }

    /// All characters in ascending order.
    pub fn iter(&self) -> impl Iterator<Item = (char, &Shape)> {
        self.shapes.iter().map(|(character, shape)| (*character, shape))
    }
}

/// The first run of every line.
fn first_of_lines(runs: Vec<InkRun>) -> impl Iterator<Item = InkRun> {
    let mut first: BTreeMap<i32, InkRun> = BTreeMap::new();
    for run in runs {
        let lowest = first.entry(run.line).or_insert(run);
        if run.start < lowest.start {
            *lowest = run;
        }
    }
    first.into_values()
}

/// A face at one figure height.
pub(super) struct Fitting<'a> {
    shapes: &'a Shapes,
    /// Pixels of the picture a mask pixel.
    scale: f32,
    /// The widths of upright and lying strokes, in pixels.
    stem: (i32, i32),
    threshold: f32,
    /// Where upper edges go: mask position, pixel; the figure height first.
    tops: [(i32, i32); 4],
    bottoms: [(i32, i32); 2],
    zero: Frame,
    figure_advance: i32,
}

/// Columns of a glyph: the first, and the one after the last.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Frame {
    low: i32,
    high: i32,
}

impl<'a> Fitting<'a> {
    pub fn new(shapes: &'a Shapes, figure_height: u32) -> Self {
        let height = figure_height as i32;
        let scale = height as f32 / shapes.figure as f32;
        let (upright, lying) = (shapes.stem.0 * scale, shapes.stem.1 * scale);
        // Strokes that differ by less than half a pixel are equally wide.
        let one = (upright + lying) / 2.0;
        let stem = if (upright - lying).abs() < 0.5 { (one, one) } else { (upright, lying) };
        let stem = (round(stem.0).max(1), round(stem.1).max(1));
        let cap = round(shapes.cap as f32 * scale);
        // The x-height is rounded up from three eighths on: letters gain more by height than by a true proportion.
        let x_height = round(shapes.x_height as f32 * scale + 0.125).min(cap - 1);
        let ascender = round(shapes.ascender as f32 * scale).max(cap);
        let descender = round(shapes.descender as f32 * scale).min(-1);
        let mut fitting = Self {
            shapes,
            scale,
            stem,
            threshold: (0.5 + 0.35 * (upright - stem.0 as f32)).clamp(0.36, 0.64),
            tops: [
                (shapes.figure, height),
                (shapes.cap, cap),
                (shapes.ascender, ascender),
                (shapes.x_height, x_height),
            ],
            bottoms: [(0, 0), (shapes.descender, descender)],
            zero: Frame::default(),
            figure_advance: 0,
        };
        if let Some(zero) = shapes.get('0') {
            let low = round(zero.mask.left as f32 * scale);
            let high = fitting.x(zero, low, None).high();
            let after = round((zero.advance - zero.mask.right() as f32) * scale);
            fitting.zero = Frame { low, high };
            // Two digits never touch.
            fitting.figure_advance = high + after.max(1 - low);
        }
        let widest = ('0'..='9').filter_map(|digit| Some(fitting.columns(digit, shapes.get(digit)?).high())).max();
        fitting.figure_advance = fitting.figure_advance.max(widest.unwrap_or(0));
        fitting
    }

    /// How far every digit moves the pen.
    pub fn figure_advance(&self) -> u32 {
        self.figure_advance.max(1).unsigned_abs()
    }

    /// How far a blank moves the pen.
    pub fn space_advance(&self) -> u32 {
        round(self.shapes.space * self.scale).max(1).unsigned_abs()
    }

    /// The glyph of a character.
    pub fn glyph(&self, character: char, shape: &Shape) -> Glyph {
        let (x, y) = (self.columns(character, shape), self.rows(character, shape));
        let picture = draw(&shape.mask, &x, &y, self.threshold, self.stem == (1, 1));
        let advance = if character.is_ascii_digit() {
            self.figure_advance()
        } else {
            let after = round((shape.advance - shape.mask.right() as f32) * self.scale);
            (x.high() + after).max(1).unsigned_abs()
        };
        Glyph { bitmap: picture.bitmap, left: picture.left, rise: picture.rise, advance }
    }

    fn columns(&self, character: char, shape: &Shape) -> Scale {
        let mask = &shape.mask;
        if character.is_ascii_digit()
            && let Some(zero) = self.shapes.get('0')
            && mask.left.abs_diff(zero.mask.left) <= FRAME as u32
            && mask.right().abs_diff(zero.mask.right()) <= FRAME as u32
        {
            return self.x(shape, self.zero.low, Some(self.zero.high));
        }
        self.x(shape, round(mask.left as f32 * self.scale), None)
    }

    /// The columns of a shape from `low` on, up to `high` or as its own width asks.
    fn x(&self, shape: &Shape, low: i32, high: Option<i32>) -> Scale {
        let (first, last) = (shape.mask.left, shape.mask.right());
        let flat = shape.y.iter().all(|band| (band.extent.length() as f32) < DOT * self.shapes.stem.1);
        let wish = Wish {
            scale: self.scale,
            stem: self.stem.0,
            low: &|edge| (edge == first).then_some(low),
            high: &|edge| high.filter(|_| edge == last),
            dot: &|band| flat && (band.extent.length() as f32) < DOT * self.shapes.stem.0,
        };
        fit(&shape.x, &wish)
    }

    fn rows(&self, character: char, shape: &Shape) -> Scale {
        let tops = match character {
            _ if character.is_alphabetic() => &self.tops[..],
            _ if character.is_ascii_digit() => &self.tops[..1],
            _ => &self.tops[..3],
        };
        let bottoms = if character.is_alphabetic() { &self.bottoms[..] } else { &self.bottoms[..1] };
        let narrow = shape.x.iter().all(|band| (band.extent.length() as f32) < DOT * self.shapes.stem.0);
        let wish = Wish {
            scale: self.scale,
            stem: self.stem.1,
            low: &|edge| nearest(bottoms, edge),
            high: &|edge| nearest(tops, edge),
            dot: &|band| narrow && (band.extent.length() as f32) < DOT * self.shapes.stem.1,
        };
        fit(&shape.y, &wish)
    }
}

/// The pixel of the zone that is nearest to a mask position, if one is near at all.
fn nearest(zones: &[(i32, i32)], edge: i32) -> Option<i32> {
    let distance = |zone: &(i32, i32)| zone.0.abs_diff(edge);
    zones.iter().min_by_key(|zone| distance(zone)).filter(|zone| distance(zone) <= ZONE as u32).map(|zone| zone.1)
}
