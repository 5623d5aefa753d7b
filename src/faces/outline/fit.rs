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
    /// A map without strokes: pixels from `low` to `high` come evenly from the mask's `from` to `to`.
    #[cfg(test)]
    pub fn even(low: i32, high: i32, from: i32, to: i32) -> Self {
        Self { knots: vec![Knot { pixel: low, mask: from }, Knot { pixel: high, mask: to }] }
    }

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
    if !central || band.strokes.len().is_multiple_of(2) || (size - stem) % 2 == 0 {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(low: i32, high: i32) -> Interval {
        Interval { low, high }
    }

    fn band(low: i32, high: i32, strokes: &[(i32, i32)]) -> Band {
        Band { extent: interval(low, high), strokes: strokes.iter().map(|(low, high)| interval(*low, *high)).collect() }
    }

    /// Fits with one pixel for twenty of the mask; `low` and `high` go where they are told.
    fn fitted(bands: &[Band], stem: i32, low: Option<(i32, i32)>, high: Option<(i32, i32)>) -> Vec<(i32, i32)> {
        let meets = |edge: i32, zone: Option<(i32, i32)>| zone.filter(|(at, _)| *at == edge).map(|(_, pixel)| pixel);
        let wish = Wish {
            scale: 0.05,
            stem,
            low: &|edge| meets(edge, low),
            high: &|edge| meets(edge, high),
            dot: &|band| band.extent.length() < 50,
        };
        fit(bands, &wish).knots.iter().map(|knot| (knot.pixel, knot.mask)).collect()
    }

    #[test]
    fn outer_strokes_are_a_stem_wide_and_touch_the_edges() {
        let letter = band(10, 210, &[(10, 45), (175, 210)]);
        assert_eq!(fitted(&[letter], 2, Some((10, 1)), None), [(1, 10), (3, 45), (9, 175), (11, 210)]);
    }

    #[test]
    fn three_strokes_keep_a_pixel_between_them_even_in_too_little_room() {
        // Three bars within a height of five pixels: one pixel each, though the stem is two.
        let letter = band(0, 100, &[(0, 30), (36, 64), (70, 100)]);
        let knots = fitted(std::slice::from_ref(&letter), 2, Some((0, 0)), Some((100, 5)));
        assert_eq!(knots, [(0, 0), (1, 30), (2, 36), (3, 64), (4, 70), (5, 100)]);
        // With a height of three asked for, the band takes the five that it needs.
        assert_eq!(fitted(&[letter], 2, Some((0, 0)), Some((100, 3))).last(), Some(&(5, 100)));
    }

    #[test]
    fn a_stroke_in_the_middle_leaves_as_much_on_both_sides() {
        // A plus: 200 wide, so ten pixels; with a stem of one it takes the odd width that is nearer.
        let knots = fitted(&[band(0, 196, &[(84, 112)])], 1, Some((0, 0)), None);
        assert_eq!(knots, [(0, 0), (4, 84), (5, 112), (9, 196)]);
        assert_eq!(fitted(&[band(0, 200, &[(84, 112)])], 2, Some((0, 0)), None).last(), Some(&(10, 200)));
    }

    #[test]
    fn a_band_that_is_one_stroke_is_a_stem_wide_and_a_dot_keeps_its_size() {
        assert_eq!(fitted(&[band(100, 155, &[(100, 155)])], 1, None, None), [(6, 100), (7, 155)]);
        // A dot of 36 is 1.8 pixels, and 2 where a stem would be 1.
        assert_eq!(fitted(&[band(0, 36, &[(0, 36)])], 1, Some((0, 0)), None), [(0, 0), (2, 36)]);
    }

    #[test]
    fn bands_stay_apart() {
        let sign = [band(0, 60, &[]), band(62, 120, &[])];
        assert_eq!(fitted(&sign, 1, Some((0, 0)), None), [(0, 0), (3, 60), (4, 62), (7, 120)]);
    }

    #[test]
    fn samples_are_spread_evenly_between_knots() {
        let scale = Scale {
            knots: vec![Knot { pixel: -1, mask: -32 }, Knot { pixel: 1, mask: 0 }, Knot { pixel: 2, mask: 80 }],
        };
        let samples = scale.samples();
        assert_eq!(samples.len(), 24);
        assert_eq!((samples[0], samples[1], samples[15]), (-31, -29, -1));
        assert_eq!((samples[16], samples[17], samples[23]), (5, 15, 75));
    }
}
