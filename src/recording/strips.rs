//! The state of each reading along a recording, in so many columns of equal spans.
//!
//! What enters are states with the time at which they begin; what leaves is for each column the worst state that a reading had in it, so that
//! no fault is too short to be seen. How long it goes on need not be known: where the columns do not suffice, two become one.

use std::time::Duration;

use crate::readings::{Moment, State};

/// No strip has more columns.
pub const MOST_COLUMNS: usize = 1024;
/// How long a column is at first.
const SHORTEST: Duration = Duration::from_millis(1);

/// A strip for each reading.
#[derive(Clone, Debug)]
pub struct Strips {
    column: Duration,
    columns: Vec<Vec<State>>,
    /// The state of each reading, and up to when its strip goes.
    states: Vec<(State, Moment)>,
}

impl Strips {
    /// Strips of so many readings, all waiting, that begin at zero.
    pub fn new(readings: usize) -> Self {
        let begin = (State::Waiting, Moment::default());
        Self { column: SHORTEST, columns: vec![Vec::new(); readings], states: vec![begin; readings] }
    }

    /// Takes the state that a reading has from a moment on.
    pub fn see(&mut self, reading: usize, state: State, now: Moment) {
        if self.states.get(reading).is_some_and(|(before, _)| *before != state) {
            self.fill(reading, now);
            self.states[reading].0 = state;
        }
    }

    /// Ends all strips at a moment.
    pub fn end(&mut self, now: Moment) {
        (0..self.states.len()).for_each(|reading| self.fill(reading, now));
    }

    fn fill(&mut self, reading: usize, until: Moment) {
        let (state, since) = self.states[reading];
        if until <= since {
            return;
        }
        self.states[reading].1 = until;
        let [since, until] = [since, until].map(|moment| moment.since(Moment::default()).as_nanos());
        while until > self.column.as_nanos() * MOST_COLUMNS as u128 {
            self.halve();
        }
        let (first, end) = (since / self.column.as_nanos(), until.div_ceil(self.column.as_nanos()));
        let strip = &mut self.columns[reading];
        for place in first as usize..end as usize {
            match strip.get_mut(place) {
                Some(column) => *column = state.max(*column),
                None => strip.push(state),
            }
        }
    }

    /// Makes two columns one.
    fn halve(&mut self) {
        self.column *= 2;
        for strip in &mut self.columns {
            *strip = strip.chunks(2).filter_map(|pair| pair.iter().max().copied()).collect();
        }
    }

    /// How long a column is.
    pub fn column(&self) -> Duration {
        self.column
    }

    /// The worst state of each column, for each reading in the order of the layout.
    pub fn columns(&self) -> &[Vec<State>] {
        &self.columns
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn at(milliseconds: u64) -> Moment {
        Moment::at(Duration::from_millis(milliseconds))
    }

    #[test]
    fn a_short_fault_in_a_long_time_is_seen() {
        let mut strips = Strips::new(2);
        strips.see(0, State::Live, at(10_000));
        strips.see(0, State::Faulty, at(40_000_000));
        strips.see(0, State::Live, at(40_000_005));
        strips.end(at(86_400_000));
        let (column, strip) = (strips.column().as_millis() as usize, &strips.columns()[0]);
        assert_eq!(strip.len(), 86_400_000_usize.div_ceil(column));
        let faulty: Vec<usize> = (0..strip.len()).filter(|place| strip[*place] == State::Faulty).collect();
        assert_eq!((strip[0], strip[1], faulty), (State::Waiting, State::Live, vec![40_000_000 / column]));
        assert!(strips.columns()[1].iter().all(|state| *state == State::Waiting));
    }

    proptest! {
        #[test]
        fn each_column_is_the_worst_of_its_time(
            changes in proptest::collection::vec((1..3_000_u64, 0..4_usize), 1..60),
        ) {
            let mut strips = Strips::new(1);
            let (mut now, mut by_millisecond, mut state) = (0, Vec::new(), State::Waiting);
            for (span, next) in changes {
                by_millisecond.extend(std::iter::repeat_n(state, span as usize));
                now += span;
                state = State::ALL[next];
                strips.see(0, state, at(now));
            }
            strips.end(at(now));
            let column = strips.column().as_millis() as usize;
            let wanted: Vec<State> = by_millisecond.chunks(column).filter_map(|part| part.iter().max().copied()).collect();
            prop_assert!(wanted.len() <= MOST_COLUMNS);
            prop_assert_eq!(&strips.columns()[0], &wanted);
        }
    }
}
