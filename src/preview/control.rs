//! A control: what somebody at a laptop takes a reading to be.
//!
//! What enters are the reading as the layout declares it, and wishes; what leaves are a number, a state, an age and a past, and with
//! "play" the numbers that follow. Numbers out of range are faulty, as they are from a broker.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::formulas::Evaluated;
use crate::layout::waves;
use crate::readings::{ReadingSpec, State};

/// How many numbers a past has.
const PAST: usize = 48;

/// The shape of what a reading was before.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Past {
    /// Slow waves around its number.
    #[default]
    Waves,
    /// Its number all the time.
    Steady,
    /// From a quarter of its range below.
    Rising,
    /// From a quarter of its range above.
    Falling,
    /// Nothing was heard.
    None,
}

/// What one reading is taken to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Control {
    /// The number, in the reading's unit.
    pub number: f64,
    /// The state, as long as the number and its age allow it.
    pub state: State,
    /// How long ago the number was heard; `None` leaves it to the state.
    pub heard: Option<Duration>,
    /// What it was before.
    pub past: Past,
    /// How fast "play" moves it, in shares of its range a step.
    drift: f64,
    /// Where "play" has brought it, before rounding.
    course: f64,
}

impl Control {
    /// In the middle of the range, live.
    pub fn new(spec: &ReadingSpec) -> Self {
        let mut numbers: Vec<f64> = words(spec).into_iter().map(|(_, number)| number).collect();
        numbers.sort_by(f64::total_cmp);
        let (low, high) = range(spec);
        let step = step(spec);
        let middle = numbers.get(numbers.len().saturating_sub(1) / 2).copied();
        let middle = middle.unwrap_or_else(|| tidy((low + high) / 2.0, step).clamp(low, high));
        Self { number: middle, state: State::Live, heard: None, past: Past::default(), drift: 0.0, course: middle }
    }

    /// What the picture shows: as bad as the number, its age and the state that was asked for make it.
    pub fn seen(&self, spec: &ReadingSpec) -> Evaluated {
        let in_range = spec.range.is_none_or(|(low, high)| low <= self.number && self.number <= high);
        match self.state {
            State::Waiting => Evaluated::WAITING,
            State::Faulty => Evaluated::FAULTY,
            _ if !in_range => Evaluated::FAULTY,
            state => {
                let old = self.heard.zip(spec.stale).is_some_and(|(heard, limit)| heard > limit);
                Evaluated::new(self.number, if old { State::Stale } else { state })
            }
        }
    }

    /// How long ago the number was heard, where the picture is to know it.
    pub fn age(&self) -> Option<Duration> {
        match self.state {
            State::Live => Some(self.heard.unwrap_or_default()),
            State::Stale => self.heard,
            State::Waiting | State::Faulty => None,
        }
    }

    /// Asks for another state. An age that goes against it is given up.
    pub fn put(&mut self, state: State, spec: &ReadingSpec) {
        let over = self.heard.zip(spec.stale).is_some_and(|(heard, limit)| heard > limit);
        if over != (state == State::Stale) {
            self.heard = None;
        }
        self.state = state;
    }

    /// Numbers before, evenly spread over the longest window, oldest first.
    pub fn before(&self, spec: &ReadingSpec) -> Vec<Option<f64>> {
        if self.state == State::Waiting {
            return Vec::new();
        }
        let (low, high) = range(spec);
        let now = self.number.clamp(low, high);
        let slope = |sign: f64| {
            let at = |place: usize| now + sign * (high - low) / 4.0 * (PAST - place) as f64 / PAST as f64;
            (0..PAST).map(|place| Some(at(place).clamp(low, high))).collect()
        };
        match self.past {
            Past::Waves => waves(spec, now),
            Past::Steady => vec![Some(now); PAST],
            Past::Rising => slope(-1.0),
            Past::Falling => slope(1.0),
            Past::None => Vec::new(),
        }
    }

    /// Moves on by one step of "play", within the range: numbers drift and turn, words change now and then.
    pub fn play(&mut self, spec: &ReadingSpec, random: &mut fastrand::Rng) {
        let words = words(spec);
        if !words.is_empty() {
            if random.u32(0..24) == 0 {
                self.number = words[random.usize(0..words.len())].1;
            }
            return;
        }
        let (low, high) = range(spec);
        let (step, width) = (step(spec), high - low);
        // Between steps it goes on from where it was before rounding.
        let from = if tidy(self.course, step) == self.number { self.course } else { self.number.clamp(low, high) };
        // A gentle pull to the middle keeps it away from the ends for most of the time.
        self.drift = 0.85 * self.drift + 0.006 * (random.f64() - 0.5) + 0.0008 * (0.5 - (from - low) / width);
        self.course = (from + self.drift * width).clamp(low, high);
        if self.course == low || self.course == high {
            self.drift = -self.drift;
        }
        self.number = tidy(self.course, step).clamp(low, high);
    }
}

/// From the least to the greatest number that a control goes through.
pub fn range(spec: &ReadingSpec) -> (f64, f64) {
    match spec.range {
        Some((low, high)) if high > low && (high - low).is_finite() => (low, high),
        Some((low, _)) if low.is_finite() => (low, low + 1.0),
        _ => (0.0, 100.0),
    }
}

/// A step that people would take: a power of ten, a hundred to a thousand of them over the range.
pub fn step(spec: &ReadingSpec) -> f64 {
    let (low, high) = range(spec);
    libm::pow(10.0, libm::floor(libm::log10((high - low) / 100.0)))
}

/// The nearest multiple of a step, without the noise of a multiplication.
pub fn tidy(number: f64, step: f64) -> f64 {
    if step < 1.0 {
        let steps = libm::round(1.0 / step);
        libm::round(number * steps) / steps
    } else {
        libm::round(number / step) * step
    }
}

/// The words that a reading knows, with their numbers, in the order of the file.
pub fn words(spec: &ReadingSpec) -> Vec<(String, f64)> {
    let words = spec.pick.known_words().into_iter().flat_map(|words| words.pairs());
    words.map(|(word, number)| (word.to_string(), number)).collect()
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::service::compile;

    fn spec(reading: &str) -> ReadingSpec {
        let layout = format!("panel 128x32\n{reading}\nscreen s {{ text \"x\" when: a > 0 }}\n");
        let loaded = compile(layout.as_bytes(), Path::new("test.layout"));
        loaded.program.unwrap_or_else(|| panic!("{:?}", loaded.findings)).readings[0].clone()
    }

    fn temp() -> ReadingSpec {
        spec("reading a from: \"cellar/a\" unit: °C range: -10..40 stale: 45s")
    }

    #[test]
    fn a_new_control_is_live_in_the_middle() {
        let spec = temp();
        assert_eq!(Control::new(&spec).seen(&spec), Evaluated::new(15.0, State::Live));
    }

    #[test]
    fn a_number_out_of_range_is_faulty_and_an_old_one_stale() {
        let spec = temp();
        let mut control = Control { number: 40.1, ..Control::new(&spec) };
        assert_eq!(control.seen(&spec), Evaluated::FAULTY);
        control.number = 40.0;
        control.heard = Some(Duration::from_secs(45));
        assert_eq!(control.seen(&spec).state, State::Live);
        control.heard = Some(Duration::from_secs(46));
        assert_eq!(control.seen(&spec), Evaluated::new(40.0, State::Stale));
        control.put(State::Live, &spec);
        assert_eq!((control.seen(&spec).state, control.age()), (State::Live, Some(Duration::ZERO)));
        control.put(State::Stale, &spec);
        assert_eq!((control.seen(&spec).state, control.age()), (State::Stale, None));
    }

    #[test]
    fn pasts_lie_within_the_range_and_end_at_the_number() {
        let spec = temp();
        for number in [-10.0, 12.4, 40.0] {
            for past in [Past::Waves, Past::Steady, Past::Rising, Past::Falling] {
                let control = Control { number, past, ..Control::new(&spec) };
                let before: Vec<f64> = control.before(&spec).into_iter().flatten().collect();
                assert_eq!(before.len(), PAST);
                assert!(before.iter().all(|number| (-10.0..=40.0).contains(number)), "{past:?}");
                assert!((before[PAST - 1] - number).abs() < 2.0, "{past:?} {number}: {before:?}");
            }
        }
    }

    #[test]
    fn play_moves_within_the_range_by_small_steps_and_goes_places() {
        let spec = temp();
        let mut random = fastrand::Rng::with_seed(7);
        let mut control = Control::new(&spec);
        let (mut least, mut greatest, mut moves) = (f64::MAX, f64::MIN, 0);
        for _ in 0..2000 {
            let before = control.number;
            control.play(&spec, &mut random);
            assert!((-10.0..=40.0).contains(&control.number));
            assert!((control.number - before).abs() <= 2.0, "{before} to {}", control.number);
            assert_eq!(control.number, tidy(control.number, 0.1), "written in steps of a tenth");
            (least, greatest) = (least.min(control.number), greatest.max(control.number));
            moves += i32::from(control.number != before);
        }
        assert!(greatest - least > 10.0, "{least} to {greatest}");
        assert!(moves > 1000, "{moves}");
    }

    #[test]
    fn words_change_to_words() {
        let spec = spec("reading a from: \"cellar/a\" pick: words(open: 1, closed: 0, ajar: 0.5) stale: never");
        let mut random = fastrand::Rng::with_seed(7);
        let mut control = Control::new(&spec);
        let mut seen = Vec::new();
        for _ in 0..500 {
            control.play(&spec, &mut random);
            assert!([0.0, 0.5, 1.0].contains(&control.number));
            if !seen.contains(&control.number) {
                seen.push(control.number);
            }
        }
        assert_eq!(seen.len(), 3);
    }

    #[test]
    fn steps_suit_the_range() {
        let step_of = |range: &str| step(&spec(&format!("reading a from: \"cellar/a\" range: {range}")));
        assert_eq!(
            [step_of("0..100"), step_of("-10..40"), step_of("0..2000"), step_of("0..1")],
            [1.0, 0.1, 10.0, 0.01]
        );
    }
}
