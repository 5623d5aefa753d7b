//! Where a glyph has strokes, axis by axis: the places that should fall on whole pixels.
//!
//! What enters are the runs of ink along one axis of a mask; what leaves are the bands that ink covers and the strokes in them.
//! A stroke is where many runs begin and end at nearly the same places: a stem, a bar, the side of a bowl.

use super::mask::InkRun;

/// Runs both of whose ends differ by no more than this belong together, in mask pixels.
const NEAR: i32 = 3;
/// Fewer runs make no stroke: a diagonal has as many that are close to each other.
const ENOUGH: usize = 22;
/// How much a stroke may differ from the face's stem.
const WIDTHS: std::ops::RangeInclusive<f32> = 0.45..=1.6;
/// An edge this close to the edge of its band is the same edge, in mask pixels: 2 % of an em.
pub(super) const SAME_EDGE: i32 = 8;

/// A stretch along an axis, in mask pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Interval {
    pub low: i32,
    pub high: i32,
}

impl Interval {
    pub fn length(self) -> i32 {
        self.high - self.low
    }
}

/// A stretch of ink without an empty line in it, and its strokes from low to high.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Band {
    pub extent: Interval,
    pub strokes: Vec<Interval>,
}

impl Band {
    /// Whether the whole band is one stroke.
    pub fn is_stroke(&self) -> bool {
        matches!(self.strokes[..], [one] if one.length() * 10 >= self.extent.length() * 9)
    }
}

/// The bands of one axis, from low to high.
pub(super) fn bands(runs: &[InkRun], stem: f32) -> Vec<Band> {
    let mut bands: Vec<Band> = covered(runs).into_iter().map(|extent| Band { extent, strokes: Vec::new() }).collect();
    for band in &mut bands {
        let inside = |run: &&InkRun| band.extent.low <= run.start && run.end <= band.extent.high;
        let runs: Vec<InkRun> = runs.iter().filter(inside).copied().collect();
        band.strokes = strokes(&runs, band.extent, stem);
    }
    bands
}

/// The stretches that any run covers, from low to high.
fn covered(runs: &[InkRun]) -> Vec<Interval> {
    let mut intervals: Vec<Interval> = runs.iter().map(|run| Interval { low: run.start, high: run.end }).collect();
    intervals.sort_unstable_by_key(|interval| (interval.low, interval.high));
    intervals.dedup_by(|next, merged| {
        let touches = next.low <= merged.high;
        if touches {
            merged.high = merged.high.max(next.high);
        }
        touches
    });
    intervals
}

/// Pairs of edges that many runs share.
fn strokes(runs: &[InkRun], band: Interval, stem: f32) -> Vec<Interval> {
    let fits = |run: &&InkRun| WIDTHS.contains(&((run.end - run.start) as f32 / stem));
    let mut pairs: Vec<Interval> =
        runs.iter().filter(fits).map(|run| Interval { low: run.start, high: run.end }).collect();
    pairs.sort_unstable_by_key(|pair| (pair.low, pair.high));
    let near = |one: Interval| {
        let from = pairs.partition_point(|other| other.low < one.low - NEAR);
        let to = pairs.partition_point(|other| other.low <= one.low + NEAR);
        pairs[from..to].iter().filter(move |other| other.high.abs_diff(one.high) <= NEAR as u32)
    };
    let mut distinct = pairs.clone();
    distinct.dedup();
    let mut peaks: Vec<(usize, Interval)> =
        distinct.into_iter().map(|pair| (near(pair).count(), pair)).filter(|(count, _)| *count >= ENOUGH).collect();
    peaks.sort_by_key(|(count, _)| std::cmp::Reverse(*count));

    let outer = |stroke: &Interval| stroke.low - band.low <= SAME_EDGE || band.high - stroke.high <= SAME_EDGE;
    let mut chosen: Vec<Interval> = Vec::new();
    for outermost in [true, false] {
        for (_, peak) in peaks.iter().filter(|(_, peak)| outer(peak) == outermost) {
            if chosen.iter().any(|other| peak.low < other.high && other.low < peak.high) {
                continue;
            }
            let edges = (median(near(*peak).map(|pair| pair.low)), median(near(*peak).map(|pair| pair.high)));
            if let (Some(low), Some(high)) = edges {
                chosen.push(Interval { low, high });
            }
        }
    }
    chosen.sort_unstable_by_key(|stroke| stroke.low);
    chosen
}

/// The middle value; none of none.
pub(super) fn median(values: impl Iterator<Item = i32>) -> Option<i32> {
    let mut values: Vec<i32> = values.collect();
    values.sort_unstable();
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn runs(lines: std::ops::Range<i32>, start: i32, end: i32) -> Vec<InkRun> {
        lines.map(|line| InkRun { line, start, end }).collect()
    }

    #[test]
    fn finds_the_stems_of_a_letter_and_not_its_crossbar() {
        // The letter H: two stems of 40, and between them a bar over 40 rows.
        let mut letter: Vec<InkRun> = [runs(0..120, 30, 70), runs(0..120, 170, 210)].concat();
        letter.extend(runs(120..160, 30, 210));
        letter.extend([runs(160..280, 30, 70), runs(160..280, 170, 210)].concat());
        let bands = bands(&letter, 40.0);
        let [band] = &bands[..] else { panic!("{bands:?}") };
        assert_eq!(band.extent, Interval { low: 30, high: 210 });
        assert_eq!(band.strokes, [Interval { low: 30, high: 70 }, Interval { low: 170, high: 210 }]);
    }

    #[test]
    fn a_diagonal_is_no_stroke() {
        let diagonal: Vec<InkRun> = (0..280).map(|y| InkRun { line: y, start: y / 2, end: y / 2 + 45 }).collect();
        assert_eq!(bands(&diagonal, 40.0)[0].strokes, []);
    }

    #[test]
    fn an_empty_line_parts_bands() {
        // An equals sign, seen along its height.
        let sign = [runs(0..200, 90, 120), runs(0..200, 160, 190)].concat();
        let bands = bands(&sign, 34.0);
        assert_eq!(bands.len(), 2);
        assert!(bands.iter().all(Band::is_stroke), "{bands:?}");
        assert_eq!(bands[1].extent, Interval { low: 160, high: 190 });
    }

    #[test]
    fn the_side_of_a_bowl_is_a_stroke_at_its_outermost() {
        // A ring with radii 100 and 60.
        let half = |radius: i32, y: i32| libm::sqrtf((radius * radius - y * y).max(0) as f32) as i32;
        let ring: Vec<InkRun> = (-99..100)
            .flat_map(|y| {
                let (outer, inner) = (half(100, y), half(60, y));
                [InkRun { line: y, start: -outer, end: -inner }, InkRun { line: y, start: inner, end: outer }]
            })
            .filter(|run| run.start < run.end)
            .collect();
        let strokes = &bands(&ring, 40.0)[0].strokes;
        let [left, right] = strokes[..] else { panic!("{strokes:?}") };
        assert!(left.low.abs_diff(-100) <= 3 && left.high.abs_diff(-60) <= 5, "{left:?}");
        assert!(right.high.abs_diff(100) <= 3 && right.low.abs_diff(60) <= 5, "{right:?}");
    }
}
