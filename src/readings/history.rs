//! What a reading was: its numbers over a window of time, in bounded memory.
//!
//! Numbers enter with the moment at which they were heard; what leaves are figures of the window, such as its highest number, and a
//! trend. A window is cut into [`PARTS`] parts of equal length, each of which keeps its least, greatest, first and last number, their sum
//! and their count. So a window reaches back by its length and at most one part more, and what is kept does not grow with what is heard.

use std::time::Duration;

use super::Moment;

mod stored;

pub use stored::{MOST_STORED_BYTES, Stored, StoredError, encode};

/// Into how many parts a window is cut.
pub const PARTS: usize = 144;
/// Groups of parts between which the slope is taken: their pairs are few enough to look at all of them.
const GROUPS: usize = 24;
/// By itself a window is looked at no more often.
const LEAST_STEP: Duration = Duration::from_secs(10);
/// No count is greater.
pub const MOST: u32 = 999_999;

/// How far back a window reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Span {
    /// By this long.
    Last(Duration),
    /// To the last local midnight.
    Today,
}

/// A figure of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// The least number.
    Lowest,
    /// The greatest number.
    Highest,
    /// The mean of the numbers heard.
    Mean,
    /// The newest number less the oldest.
    Change,
    /// How much the number changes in an hour, by the median slope between any two parts of the window: a spike does not turn it.
    Slope,
    /// The numbers times the hours for which each of them held.
    Integral,
    /// How many numbers were heard.
    Count,
}

/// A look back: how far, and at what.
#[derive(Clone, Debug, PartialEq)]
pub struct Lookback {
    /// What makes two pasts those of the same numbers.
    pub identity: String,
    /// How far back.
    pub span: Span,
    /// How long a number holds while no other is heard; `None` for ever.
    pub hold: Option<Duration>,
    /// The least and the greatest number there can be: what was shown to fit has room for no other.
    pub bounds: (f64, f64),
}

/// A window of numbers.
#[derive(Clone, Debug)]
pub struct History {
    span: Span,
    /// How long a number holds while no other is heard; `None` for ever.
    hold: Option<Duration>,
    /// The parts, each at its number modulo their count; the last part is `newest`.
    parts: Vec<Part>,
    /// All parts but the one that is being filled, taken together: what a figure needs of them, without a look at each.
    before: Part,
    /// The number of the part that is being filled, counted from the start of the window's own clock; of today, the day.
    newest: u64,
    /// How far the window's own clock is ahead of the caller's, so that a past may lie before the caller's began.
    ahead: Duration,
    /// The newest number and when it was heard, by the window's own clock.
    last: Option<(Moment, f64)>,
    /// Up to when the areas are complete, by the window's own clock.
    settled: Moment,
}

/// A part of a window; empty where nothing was heard.
#[derive(Clone, Copy, Debug, Default)]
struct Part {
    count: u32,
    least: f64,
    greatest: f64,
    sum: f64,
    first: f64,
    last: f64,
    /// Number times hours.
    area: f64,
}

impl Part {
    fn add(&mut self, number: f64) {
        if self.count == 0 {
            *self = Part { least: number, greatest: number, first: number, area: self.area, ..Part::default() };
        }
        self.count = self.count.saturating_add(1);
        self.least = self.least.min(number);
        self.greatest = self.greatest.max(number);
        self.sum += number;
        self.last = number;
    }

    /// This part and the one that comes after it as one.
    fn then(self, later: Part) -> Part {
        let area = self.area + later.area;
        if self.count == 0 || later.count == 0 {
            return Part { area, ..if self.count == 0 { later } else { self } };
        }
        Part {
            count: self.count.saturating_add(later.count),
            least: self.least.min(later.least),
            greatest: self.greatest.max(later.greatest),
            sum: self.sum + later.sum,
            first: self.first,
            last: later.last,
            area,
        }
    }

    fn mean(&self) -> f64 {
        // Rounding must not carry the mean out of its range.
        (self.sum / f64::from(self.count)).clamp(self.least, self.greatest)
    }
}

/// A moment as nanoseconds of the clock.
fn nanoseconds(moment: Moment) -> u64 {
    u64::try_from(moment.since(Moment::default()).as_nanos()).unwrap_or(u64::MAX)
}

impl History {
    /// An empty window; a number holds for `hold` while no other is heard.
    pub fn new(span: Span, hold: Option<Duration>) -> Self {
        let parts = match span {
            Span::Last(_) => PARTS + 1,
            Span::Today => 1,
        };
        Self {
            span,
            hold,
            parts: vec![Part::default(); parts],
            before: Part::default(),
            newest: 0,
            ahead: Duration::ZERO,
            last: None,
            settled: Moment::default(),
        }
    }

    /// How far back it reaches.
    pub fn span(&self) -> Span {
        self.span
    }

    /// How long a part is, in nanoseconds.
    fn part(&self) -> u64 {
        match self.span {
            Span::Last(span) => (u64::try_from(span.as_nanos()).unwrap_or(u64::MAX) / PARTS as u64).max(1),
            Span::Today => u64::MAX,
        }
    }

    /// Goes on to `now`, on the local day of the number `day`: what is too old goes, and the newest number holds. Tells whether the window
    /// moved.
    pub fn move_on(&mut self, now: Moment, day: u64) -> bool {
        let now = now + self.ahead;
        match self.span {
            Span::Last(_) if now == self.settled => false,
            Span::Last(_) => {
                let newest = nanoseconds(now) / self.part();
                let gone = newest.saturating_sub(self.newest).min(self.parts.len() as u64);
                for number in newest + 1 - gone..=newest {
                    let place = self.place(number);
                    self.parts[place] = Part::default();
                }
                let moved = newest > self.newest;
                self.newest = self.newest.max(newest);
                self.settle(now);
                if moved {
                    self.sum_up();
                }
                moved
            }
            Span::Today => {
                // A civil clock that was set back means another day as well.
                let moved = day != self.newest;
                if moved {
                    self.parts[0] = Part::default();
                    self.newest = day;
                    self.settled = now;
                }
                self.settle(now);
                moved
            }
        }
    }

    fn place(&self, number: u64) -> usize {
        match self.span {
            Span::Last(_) => (number % self.parts.len() as u64) as usize,
            Span::Today => 0,
        }
    }

    /// Adds the area below the newest number from where the areas were complete up to `now`, each part getting its own share.
    /// `now` is by the window's own clock.
    fn settle(&mut self, now: Moment) {
        let from = std::mem::replace(&mut self.settled, now);
        let Some((since, number)) = self.last else { return };
        let end = self.hold.map_or(now, |hold| now.min(since + hold));
        let (from, end) = (nanoseconds(from.max(since)), nanoseconds(end));
        if from >= end {
            return;
        }
        let hours = |nanoseconds: u64| nanoseconds as f64 / 3.6e12;
        if self.span == Span::Today {
            self.parts[0].area += number * hours(end - from);
            return;
        }
        let part = self.part();
        let oldest = (self.newest + 1).saturating_sub(self.parts.len() as u64);
        for of in (from / part).max(oldest)..=(end / part).min(self.newest) {
            let within = end.min((of + 1).saturating_mul(part)).saturating_sub(from.max(of * part));
            let place = self.place(of);
            self.parts[place].area += number * hours(within);
        }
    }

    /// Takes a number that was heard at `now`; the window was moved on to it before.
    pub fn hear(&mut self, number: f64, now: Moment) {
        let place = self.place(self.newest);
        self.parts[place].add(number);
        self.last = Some((now + self.ahead, number));
    }

    /// The same window of numbers that hold for another time.
    pub fn holding(mut self, hold: Option<Duration>) -> Self {
        self.hold = hold;
        self
    }

    /// Whether everything in it is of numbers between `low` and `high`.
    pub fn lies_within(&self, (low, high): (f64, f64)) -> bool {
        let inside = |number: f64| low <= number && number <= high;
        // Sums are rounded, and a day with an hour twice is the longest part.
        let hours = if self.span == Span::Today { 25.0 } else { self.part() as f64 / 3.6e12 } * (1.0 + 1e-6);
        let fits = |part: &Part| {
            let heard = part.count == 0 || (inside(part.least) && inside(part.greatest));
            heard && low.min(0.0) * hours <= part.area && part.area <= high.max(0.0) * hours
        };
        self.parts.iter().all(fits) && self.last.is_none_or(|(_, number)| inside(number))
    }

    /// The parts, oldest first.
    fn in_order(&self) -> impl Iterator<Item = &Part> {
        let (newer, older) = self.parts.split_at((self.place(self.newest) + 1) % self.parts.len());
        older.iter().chain(newer)
    }

    /// The parts with something in them, oldest first, each with its place from the oldest.
    fn heard(&self) -> impl Iterator<Item = (usize, &Part)> {
        self.in_order().enumerate().filter(|(_, part)| part.count > 0)
    }

    /// Takes together all parts but the newest.
    fn sum_up(&mut self) {
        let before = self.parts.len() - 1;
        self.before = self.in_order().take(before).fold(Part::default(), |all, part| all.then(*part));
    }

    /// A figure of the window; `None` where nothing in it tells.
    pub fn figure(&self, figure: Figure) -> Option<f64> {
        let all = self.before.then(self.parts[self.place(self.newest)]);
        let heard = |number: f64| (all.count > 0).then_some(number);
        match figure {
            Figure::Lowest => heard(all.least),
            Figure::Highest => heard(all.greatest),
            Figure::Mean => heard(all.mean()),
            Figure::Change => heard(all.last - all.first),
            Figure::Slope => self.slope(),
            Figure::Integral => self.last.map(|_| all.area),
            Figure::Count => Some(f64::from(all.count.min(MOST))),
        }
    }

    /// The median of the slopes between all pairs of groups of parts (Theil and Sen), an hour; at least two groups are needed.
    fn slope(&self) -> Option<f64> {
        let length = self.parts.len().div_ceil(GROUPS);
        let hours = self.part() as f64 * length as f64 / 3.6e12;
        let mut groups: [(f64, f64); GROUPS] = [(0.0, 0.0); GROUPS];
        for (place, part) in self.heard() {
            let (sum, count) = &mut groups[place / length];
            *sum += part.mean();
            *count += 1.0;
        }
        let mut slopes = [0.0; GROUPS * (GROUPS - 1) / 2];
        let mut found = 0;
        for (later, (sum, count)) in groups.iter().enumerate().filter(|(_, (_, count))| *count > 0.0) {
            for (earlier, (sum_before, count_before)) in
                groups[..later].iter().enumerate().filter(|(_, (_, count))| *count > 0.0)
            {
                slopes[found] = (sum / count - sum_before / count_before) / (hours * (later - earlier) as f64);
                found += 1;
            }
        }
        let slopes = slopes.get_mut(..found).filter(|slopes| !slopes.is_empty())?;
        slopes.sort_unstable_by(f64::total_cmp);
        Some((slopes[(found - 1) / 2] + slopes[found / 2]) / 2.0)
    }

    /// The least number of hours between which a slope is taken.
    pub fn least_hours(span: Duration) -> f64 {
        span.as_secs_f64() / PARTS as f64 * (PARTS + 1).div_ceil(GROUPS) as f64 / 3600.0
    }

    /// The window as columns from the oldest to the newest: each with its least and greatest number, or nothing where none was heard and
    /// the one before held no longer.
    pub fn trend(&self, columns: &mut [Option<(f64, f64)>]) {
        columns.fill(None);
        let width = columns.len();
        if width == 0 {
            return;
        }
        let count = self.parts.len();
        let reach =
            self.hold.map_or(count, |hold| usize::try_from(hold.as_nanos() / u128::from(self.part())).unwrap_or(count));
        let mut put = |place: usize, least: f64, greatest: f64| {
            let column = &mut columns[place * width / count];
            *column =
                Some(column.map_or((least, greatest), |(low, high)| (f64::min(low, least), f64::max(high, greatest))));
        };
        let mut held: Option<(usize, f64)> = None;
        for (place, part) in self.heard() {
            if let Some((since, number)) = held {
                (since + 1..place.min(since + 1 + reach)).for_each(|between| put(between, number, number));
            }
            put(place, part.least, part.greatest);
            held = Some((place, part.last));
        }
        if let Some((since, number)) = held {
            (since + 1..count.min(since + 1 + reach)).for_each(|place| put(place, number, number));
        }
    }

    /// When to look at the window again, seen from `now`, although nothing is heard: when it moves on, and not more often than every ten
    /// seconds. Of today, nobody knows but the calendar.
    pub fn next_move(&self, now: Moment) -> Option<Moment> {
        let part = self.part();
        let own = nanoseconds(now + self.ahead);
        let boundary = now + Duration::from_nanos((own / part + 1).saturating_mul(part) - own);
        matches!(self.span, Span::Last(_)).then(|| boundary.max(now + LEAST_STEP))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const HOUR: Duration = Duration::from_secs(3600);

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    fn filled(span: Span, hold: Option<Duration>, samples: &[(u64, f64)], now: u64) -> History {
        let mut history = History::new(span, hold);
        for (second, number) in samples {
            history.move_on(at(*second), 0);
            history.hear(*number, at(*second));
        }
        history.move_on(at(now), 0);
        history
    }

    #[test]
    fn nothing_heard_tells_nothing() {
        let history = History::new(Span::Last(HOUR), None);
        for figure in [Figure::Lowest, Figure::Highest, Figure::Mean, Figure::Change, Figure::Slope, Figure::Integral] {
            assert_eq!(history.figure(figure), None, "{figure:?}");
        }
        assert_eq!(history.figure(Figure::Count), Some(0.0));
    }

    #[test]
    fn a_spike_does_not_turn_the_slope() {
        // Falling by 1 an hour, read every minute, with one wild number.
        let mut samples: Vec<(u64, f64)> = (0..180).map(|minute| (minute * 60, 20.0 - minute as f64 / 60.0)).collect();
        samples[170].1 = 80.0;
        let history = filled(Span::Last(3 * HOUR), None, &samples, 180 * 60);
        let slope = history.figure(Figure::Slope).unwrap();
        assert!((slope + 1.0).abs() < 0.05, "{slope} an hour");
        assert_eq!(history.figure(Figure::Highest), Some(80.0));
    }

    #[test]
    fn energy_is_power_times_the_time_it_held() {
        // 600 W for half an hour, then 1200 W for a quarter.
        let history = filled(Span::Last(24 * HOUR), None, &[(0, 600.0), (1800, 1200.0), (2700, 0.0)], 2700);
        assert!((history.figure(Figure::Integral).unwrap() - 600.0).abs() < 1e-9);
        // What holds still counts, and what lies before the window does not: the window has an hour, and a part more.
        let history = filled(Span::Last(HOUR), None, &[(0, 600.0)], 7200);
        assert!((history.figure(Figure::Integral).unwrap() - 600.0).abs() < 5.0);
        // A silence longer than a number holds counts for as long as it held.
        let history = filled(Span::Last(24 * HOUR), Some(Duration::from_secs(60)), &[(0, 600.0), (3600, 600.0)], 3600);
        assert!((history.figure(Figure::Integral).unwrap() - 10.0).abs() < 1e-9);
    }

    #[test]
    fn today_begins_anew_at_midnight() {
        let mut history = History::new(Span::Today, None);
        history.move_on(at(100), 7);
        history.hear(5.0, at(100));
        history.move_on(at(200), 7);
        history.hear(9.0, at(200));
        assert_eq!(history.figure(Figure::Change), Some(4.0));
        assert!(history.move_on(at(90_000), 8));
        assert_eq!((history.figure(Figure::Highest), history.figure(Figure::Count)), (None, Some(0.0)));
        history.hear(7.0, at(90_000));
        assert_eq!(history.figure(Figure::Lowest), Some(7.0));
        // 7 since then, and nothing of the 9 that held before.
        history.move_on(at(93_600), 8);
        assert!((history.figure(Figure::Integral).unwrap() - 7.0).abs() < 1e-9);
        // A civil clock that jumped ahead comes back.
        assert!(history.move_on(at(93_700), 500) && history.move_on(at(93_800), 9));
        assert_eq!(history.figure(Figure::Highest), None);
    }

    #[test]
    fn a_trend_has_gaps_where_nothing_held() {
        let hold = Some(Duration::from_secs(60));
        let history = filled(Span::Last(Duration::from_secs(1440)), hold, &[(700, 1.0), (800, 3.0), (1400, 2.0)], 1439);
        let mut columns = [None; 29];
        history.trend(&mut columns);
        let shape: String = columns.iter().map(|column| if column.is_some() { '#' } else { '.' }).collect();
        assert_eq!(shape, "..............####..........#");
        assert_eq!(columns[28], Some((2.0, 2.0)));
    }

    proptest! {
        /// Against the naive way: every number kept, those out of the window left out.
        #[test]
        fn figures_are_those_of_the_numbers_in_the_window(
            steps in proptest::collection::vec((0u64..400, -50.0..50.0f64), 1..60), more in 0u64..2000,
        ) {
            let window = Duration::from_secs(1440);
            let mut second = 0;
            let samples: Vec<(u64, f64)> = steps.iter().map(|(step, number)| { second += step; (second, *number) }).collect();
            let now = second + more;
            let history = filled(Span::Last(window), None, &samples, now);
            // The window begins with the part that holds the moment one window ago.
            let from = (now / 10).saturating_sub(144) * 10;
            let inside: Vec<f64> = samples.iter().filter(|(second, _)| *second >= from).map(|(_, number)| *number).collect();
            prop_assert_eq!(history.figure(Figure::Count), Some(inside.len() as f64));
            prop_assert_eq!(history.figure(Figure::Lowest), inside.iter().copied().reduce(f64::min));
            prop_assert_eq!(history.figure(Figure::Highest), inside.iter().copied().reduce(f64::max));
            let mean = history.figure(Figure::Mean);
            prop_assert_eq!(mean.is_some(), !inside.is_empty());
            if let Some(mean) = mean {
                prop_assert!((mean - inside.iter().sum::<f64>() / inside.len() as f64).abs() < 1e-9);
                prop_assert_eq!(history.figure(Figure::Change), Some(inside[inside.len() - 1] - inside[0]));
            }
            // Each number holds until the next one, within the window: by the second, the naive way.
            let held = |second: u64| samples.iter().rev().find(|(at, _)| *at <= second).map_or(0.0, |(_, number)| *number);
            let area = (from..now).map(held).sum::<f64>() / 3600.0;
            if let Some(found) = history.figure(Figure::Integral) {
                prop_assert!((found - area).abs() < 1e-6, "{found}, not {area}");
            }
            if let Some(slope) = history.figure(Figure::Slope) {
                prop_assert!(slope.abs() <= 100.0 / History::least_hours(window) * (1.0 + 1e-9), "{slope}");
            }
        }
    }
}
