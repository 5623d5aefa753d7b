//! The grid fit of one axis: which mask position each pixel edge comes from.
//!
//! What enters are the bands of ink along an axis and what they have to meet; what leaves is a [`Scale`], a piecewise-linear map
//! from pixels back to the mask in which every stroke is a whole number of pixels wide and starts on a pixel's edge. The
//! outline is not known here, and nothing is drawn.

use super::strokes::{Band, Interval, SAME_EDGE};

/// A pair of edges that fall together: in pixels, and in the mask.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Knot {
    pixel: i32,
    mask: i32,
}

/// A piecewise-linear map from pixels to mask positions, and the pixels that it covers.
#[derive(Clone, Debug)]
pub(super) struct Scale {
    knots: Vec<Knot>,
}

/// How many samples are taken along a pixel.
pub(super) const SAMPLES: i32 = 8;

impl Scale {
    /// The first pixel.
    pub fn low(&self) -> i32 {
        self.knots.first().map_or(0, |knot| knot.pixel)
    }

    /// The pixel after the last one.
    pub fn high(&self) -> i32 {
        self.knots.last().map_or(0, |knot| knot.pixel)
    }

    /// The mask position of every sample, [`SAMPLES`] a pixel, from the first pixel to the last.
    pub fn samples(&self) -> Vec<i32> {
        let mut samples = Vec::with_capacity(((self.high() - self.low()) * SAMPLES).max(0) as usize);
        for pair in self.knots.windows(2) {
            let [from, to] = [pair[0], pair[1]];
            let (count, length) = ((to.pixel - from.pixel) * SAMPLES, to.mask - from.mask);
            samples.extend((0..count).map(|index| from.mask + (length * (2 * index + 1)).div_euclid(2 * count)));
        }
        samples
    }
}

/// What an axis has to meet at one size.
pub(super) struct Wish<'a> {
    /// Pixels of the picture a pixel of the mask.
    pub scale: f32,
    /// The width of every stroke, in pixels.
    pub stem: i32,
    /// Where a lower edge has to go, if the axis says so.
    pub low: &'a dyn Fn(i32) -> Option<i32>,
    /// Where an upper edge has to go, if the axis says so.
    pub high: &'a dyn Fn(i32) -> Option<i32>,
    /// Whether a band that is one stroke is a dot, which keeps its size where a stem would be a pixel less.
    pub dot: &'a dyn Fn(&Band) -> bool,
}

/// Fits the bands of an axis.
pub(super) fn fit(bands: &[Band], wish: &Wish<'_>) -> Scale {
    let mut knots: Vec<Knot> = Vec::new();
    let mut free_from = i32::MIN;
    for band in bands {
        let place = place_band(band, wish, free_from);
        free_from = place.high + 1;
        push(&mut knots, place.low, band.extent.low);
        for (stroke, at) in band.strokes.iter().zip(place_strokes(band, place, wish)) {
            // The outermost edge of a stroke at the edge of its band is the band's.
            if stroke.low - band.extent.low > SAME_EDGE {
                push(&mut knots, at.low, stroke.low);
            }
            if band.extent.high - stroke.high > SAME_EDGE {
                push(&mut knots, at.high, stroke.high);
            }
        }
        push(&mut knots, place.high, band.extent.high);
    }
    Scale { knots }
}

/// Adds a knot that lies above all others in both measures.
fn push(knots: &mut Vec<Knot>, pixel: i32, mask: i32) {
    if knots.last().is_none_or(|last| last.pixel < pixel && last.mask < mask) {
        knots.push(Knot { pixel, mask });
    }
}

/// The least number of pixels for a band: a pixel a stroke and a pixel between them.
fn least(band: &Band) -> i32 {
    (band.strokes.len() as i32 * 2 - 1).max(1)
}

/// Where a band goes, in pixels, at or above `free_from`.
fn place_band(band: &Band, wish: &Wish<'_>, free_from: i32) -> Interval {
    let Interval { low, high } = band.extent;
    let natural = (high - low) as f32 * wish.scale;
    let (low_at, high_at) = ((wish.low)(low), (wish.high)(high));
    let size = match band.is_stroke() {
        true if (wish.dot)(band) => round(natural + 0.2).max(1),
        true => wish.stem,
        false => balanced(band, natural, round(natural).max(least(band)), wish.stem),
    };
    let mut at = match (low_at, high_at) {
        (Some(low), Some(high)) if !band.is_stroke() => Interval { low, high: high.max(low + least(band)) },
        (Some(low), _) => Interval { low, high: low + size },
        (None, Some(high)) => Interval { low: high - size, high },
        (None, None) => {
            let low = round((low + high) as f32 * wish.scale / 2.0 - size as f32 / 2.0);
            Interval { low, high: low + size }
        }
    };
    // A pixel stays between two bands; the upper one moves, or loses height where its upper edge is fixed.
    if at.low < free_from {
        let moved = free_from - at.low;
        at.low = free_from;
        if high_at.is_none() || at.length() < least(band) {
            at.high += moved;
        }
    }
    at
}

/// `size` or the other neighbour of `natural`, so that a stroke in the middle of the band leaves as much on both sides.
fn balanced(band: &Band, natural: f32, size: i32, stem: i32) -> i32 {
    let middle = |interval: Interval| interval.low + interval.high;
    let central = band.strokes.iter().any(|stroke| middle(*stroke).abs_diff(middle(band.extent)) <= SAME_EDGE as u32);
    if !central || band.strokes.len() % 2 == 0 || (size - stem) % 2 == 0 {
        return size;
    }
    let other = if natural > size as f32 { size + 1 } else { size - 1 };
    if other < least(band) { size + 1 } else { other }
}

/// Where the strokes of a band go, in pixels: one stem wide, or less where the band is too small, with a pixel between.
fn place_strokes(band: &Band, place: Interval, wish: &Wish<'_>) -> Vec<Interval> {
    let count = band.strokes.len() as i32;
    if count == 0 {
        return Vec::new();
    }
    if band.is_stroke() {
        return vec![place];
    }
    let stem = ((place.length() - (count - 1)) / count).clamp(1, wish.stem);
    let at_low = |stroke: &Interval| stroke.low - band.extent.low <= SAME_EDGE;
    let at_high = |stroke: &Interval| band.extent.high - stroke.high <= SAME_EDGE;

    // Strokes inside lie between the inner edges of the outer ones, or the edges of the band.
    let (first, last) = (band.strokes[0], band.strokes[count as usize - 1]);
    let (mask_low, pixel_low) =
        if at_low(&first) { (first.high, place.low + stem) } else { (band.extent.low, place.low) };
    let (mask_high, pixel_high) =
        if at_high(&last) { (last.low, place.high - stem) } else { (band.extent.high, place.high) };
    let inside = |stroke: &Interval| {
        let zone = (wish.high)(stroke.high).map(|high| high - stem).or_else(|| (wish.low)(stroke.low));
        let share = (stroke.low + stroke.high - 2 * mask_low) as f32 / (2 * (mask_high - mask_low).max(1)) as f32;
        let natural = pixel_low as f32 + share * (pixel_high - pixel_low) as f32 - stem as f32 / 2.0;
        zone.unwrap_or(round(natural))
    };
    let mut lows: Vec<i32> = band
        .strokes
        .iter()
        .map(|stroke| match (at_low(stroke), at_high(stroke)) {
            (true, _) => place.low,
            (_, true) => place.high - stem,
            _ => inside(stroke),
        })
        .collect();
    let mut free_from = place.low;
    for low in &mut lows {
        *low = (*low).max(free_from);
        free_from = *low + stem + 1;
    }
    let mut free_to = place.high;
    for low in lows.iter_mut().rev() {
        *low = (*low).min(free_to - stem);
        free_to = *low - 1;
    }
    lows.into_iter().map(|low| Interval { low, high: low + stem }).collect()
}

/// To the nearest whole number, halves upwards: the same on both sides of zero.
pub(super) fn round(value: f32) -> i32 {
    libm::floorf(value + 0.5) as i32
}
