//! How far a number is trusted: its calibration, how far it can jump, and how it is smoothed.
//!
//! Decoded numbers and the time enter; calibrated, believed and smoothed numbers leave. Nothing here knows of ranges and states:
//! [`Reading`](super::Reading) asks in the order calibration, range, jump, smoothing.

use std::time::Duration;

use super::Moment;

/// The most numbers that a median is taken of.
pub const MOST_MEDIAN: usize = 15;

const MINUTE: Duration = Duration::from_secs(60);

/// What a layout says about how far a reading's numbers are trusted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trust {
    /// What the number is multiplied with first.
    pub scale: f64,
    /// What is added then, in the reading's unit.
    pub offset: f64,
    /// The largest change that is credible in a minute, and at once; `None` for any.
    pub jump: Option<f64>,
    /// How what is left of the noise is smoothed.
    pub smooth: Smooth,
    /// Whether the age limit follows the publisher's cadence; the one that the layout gives counts until that is known.
    pub cadence: bool,
}

/// How numbers are smoothed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Smooth {
    /// Not at all.
    #[default]
    Off,
    /// The median of the last numbers, at most [`MOST_MEDIAN`]; of an even count the middle of the two middle ones.
    Median(usize),
    /// An exponential average with this time constant: after it, 63 % of a step are shown.
    Average(Duration),
}

impl Default for Trust {
    fn default() -> Self {
        Self::PLAIN
    }
}

impl Trust {
    /// Each number as it is published.
    pub const PLAIN: Self = Self { scale: 1.0, offset: 0.0, jump: None, smooth: Smooth::Off, cadence: false };

    /// The number that `raw` stands for.
    pub(super) fn calibrated(&self, raw: f64) -> f64 {
        // Adding zero makes a plain zero of -0.
        raw * self.scale + self.offset + 0.0
    }

    /// Whether both make the same number of the same payload.
    pub(super) fn same_calibration(&self, other: &Trust) -> bool {
        (self.scale, self.offset) == (other.scale, other.offset)
    }
}

/// The numbers that the next one is compared and smoothed with.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Memory {
    /// The last number believed, before smoothing; the moment where it was a live one.
    last: Option<(f64, Option<Moment>)>,
    /// A number that was too far away, until another one confirms it or not.
    doubtful: Option<(f64, Moment)>,
    /// The last numbers, for a median.
    window: Vec<f64>,
    /// The average so far.
    average: Option<f64>,
}

impl Memory {
    /// Whether `value` is what was heard last, believed or not.
    pub fn repeats(&self, value: f64) -> bool {
        self.last.is_some_and(|(last, _)| last == value) || self.doubtful.is_some_and(|(doubtful, _)| doubtful == value)
    }

    /// The same, with smoothing to begin anew.
    pub fn without_smoothing(&self) -> Self {
        Self { window: Vec::new(), average: None, ..*self }
    }

    /// The last number believed, before smoothing.
    pub fn last(&self) -> Option<f64> {
        self.last.map(|(value, _)| value)
    }

    /// The number that `value` would have to be near, if it is not. A second number near the first doubtful one ends the doubt, and
    /// what was smoothed so far with it.
    pub fn doubt(&mut self, value: f64, jump: Option<f64>, now: Moment) -> Option<f64> {
        let (Some(jump), Some((last, Some(then)))) = (jump, self.last) else { return None };
        let near = |other: f64, since: Moment| {
            let minutes = now.since(since).max(MINUTE).as_secs_f64() / MINUTE.as_secs_f64();
            (value - other).abs() <= jump * minutes
        };
        if near(last, then) {
            return None;
        }
        if self.doubtful.is_some_and(|(doubtful, since)| near(doubtful, since)) {
            *self = Self::default();
            return None;
        }
        self.doubtful = Some((value, now));
        Some(last)
    }

    /// Takes in a number that was believed, live or of unknown time, and gives it back smoothed; always within the numbers taken in.
    /// Smoothing begins anew after a number of unknown time, and after one that is older than `limit`.
    pub fn smoothed(&mut self, value: f64, smooth: Smooth, heard: Option<Moment>, limit: Option<Duration>) -> f64 {
        let passed = match (self.last, heard) {
            (Some((_, Some(then))), Some(now)) => {
                Some(now.since(then)).filter(|passed| limit.is_none_or(|limit| *passed <= limit))
            }
            _ => None,
        };
        if passed.is_none() {
            self.window.clear();
            self.average = None;
        }
        self.doubtful = None;
        self.last = Some((value, heard));
        match smooth {
            Smooth::Off => value,
            Smooth::Median(count) => {
                let count = count.clamp(1, MOST_MEDIAN);
                while self.window.len() >= count {
                    self.window.remove(0);
                }
                self.window.reserve_exact(count - self.window.len());
                self.window.push(value);
                median(&self.window)
            }
            Smooth::Average(constant) => {
                let average = match (self.average, passed) {
                    (Some(average), Some(passed)) => {
                        let share = -libm::expm1(-passed.as_secs_f64() / constant.as_secs_f64());
                        let next = average + (value - average) * share;
                        // Rounding must not lead out of what was heard, nor a difference out of what a number can hold.
                        next.clamp(average.min(value), average.max(value))
                    }
                    _ => value,
                };
                self.average = Some(average);
                average
            }
        }
    }
}

/// The median of 1 to [`MOST_MEDIAN`] finite numbers; never beyond them.
fn median(values: &[f64]) -> f64 {
    let mut sorted = [0.0; MOST_MEDIAN];
    let sorted = &mut sorted[..values.len()];
    sorted.copy_from_slice(values);
    sorted.sort_unstable_by(f64::total_cmp);
    let (low, high) = (sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2]);
    (low / 2.0 + high / 2.0).clamp(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    fn smoothed(smooth: Smooth, numbers: &[(u64, f64)]) -> Vec<f64> {
        let mut memory = Memory::default();
        let limit = Some(Duration::from_secs(45));
        numbers.iter().map(|(second, number)| memory.smoothed(*number, smooth, Some(at(*second)), limit)).collect()
    }

    #[test]
    fn a_median_drops_single_outliers() {
        let numbers = [(0, 12.0), (4, 12.2), (8, 31.0), (12, 12.4), (16, 12.6), (100, 14.0)];
        let shown = smoothed(Smooth::Median(3), &numbers);
        // The last number came after a silence that made the others old.
        assert_eq!(shown, [12.0, 12.1, 12.2, 12.4, 12.6, 14.0]);
    }

    #[test]
    fn an_average_follows_a_step_by_its_time_constant() {
        let shown = smoothed(Smooth::Average(Duration::from_secs(30)), &[(0, 10.0), (30, 20.0), (60, 20.0)]);
        // 1 - 1/e and 1 - 1/e² of the step.
        assert_eq!(shown[0], 10.0);
        assert!((shown[1] - 16.321_205_588).abs() < 1e-9, "{}", shown[1]);
        assert!((shown[2] - 18.646_647_168).abs() < 1e-9, "{}", shown[2]);
        let shown = smoothed(Smooth::Average(Duration::from_secs(30)), &[(0, 10.0), (46, 20.0)]);
        assert_eq!(shown, [10.0, 20.0]);
    }

    #[test]
    fn an_average_does_not_depend_on_how_often_a_steady_number_comes() {
        let average = Smooth::Average(Duration::from_secs(30));
        let often: Vec<_> = (0..=30).map(|second| (second, if second == 0 { 10.0 } else { 20.0 })).collect();
        let (often, seldom) = (smoothed(average, &often), smoothed(average, &[(0, 10.0), (30, 20.0)]));
        assert!((often[30] - seldom[1]).abs() < 1e-9);
    }

    #[test]
    fn a_jump_is_doubted_until_it_is_confirmed() {
        let mut memory = Memory::default();
        memory.smoothed(12.0, Smooth::Off, Some(at(0)), None);
        assert_eq!(memory.doubt(14.0, Some(2.0), at(4)), None, "as far as is credible");
        assert_eq!(memory.doubt(14.1, Some(2.0), at(4)), Some(12.0));
        assert_eq!(memory.doubt(9.0, Some(2.0), at(8)), Some(12.0), "near neither");
        assert_eq!(memory.doubt(9.5, Some(2.0), at(12)), None, "near the second doubtful one");
        memory.smoothed(9.5, Smooth::Off, Some(at(12)), None);
        assert_eq!(memory.doubt(19.5, Some(2.0), at(312)), None, "five minutes later");
        assert_eq!(memory.doubt(19.6, Some(2.0), at(312)), Some(9.5));
        assert_eq!(memory.doubt(99.0, None, at(312)), None);
        // Nobody knows when a kept number was published, nor how far the next one can be away.
        memory.smoothed(12.0, Smooth::Off, None, None);
        assert_eq!(memory.doubt(31.0, Some(2.0), at(313)), None);
    }

    #[test]
    fn a_good_number_ends_a_doubt() {
        let mut memory = Memory::default();
        memory.smoothed(12.0, Smooth::Off, Some(at(0)), None);
        assert_eq!(memory.doubt(31.0, Some(2.0), at(4)), Some(12.0));
        assert_eq!(memory.doubt(12.1, Some(2.0), at(8)), None);
        memory.smoothed(12.1, Smooth::Off, Some(at(8)), None);
        assert_eq!(memory.doubt(31.0, Some(2.0), at(12)), Some(12.1), "two spikes apart confirm nothing");
    }

    proptest! {
        #[test]
        fn smoothing_stays_within_what_was_heard(
            numbers in proptest::collection::vec((0..100u64, prop_oneof![-1.0..1.0f64, proptest::num::f64::NORMAL]), 1..40),
            count in 0..40usize,
            constant in 1..100_000u64,
        ) {
            for smooth in [Smooth::Off, Smooth::Median(count), Smooth::Average(Duration::from_millis(constant))] {
                let mut memory = Memory::default();
                let (mut low, mut high, mut now) = (f64::INFINITY, f64::NEG_INFINITY, at(0));
                for (after, number) in &numbers {
                    now = now + Duration::from_secs(*after);
                    (low, high) = (low.min(*number), high.max(*number));
                    let shown = memory.smoothed(*number, smooth, Some(now), Some(Duration::from_secs(60)));
                    prop_assert!((low..=high).contains(&shown), "{shown} is not in {low}..{high}");
                    prop_assert!(memory.window.len() <= MOST_MEDIAN);
                }
            }
        }
    }
}
