//! What is observed of readings besides their newest numbers: their past, their ages, how long ago something held.
//!
//! What enters are numbers as they are heard, and the time; what leaves are numbers for expressions, trends, and when they change
//! by themselves. Pure, and of a size that the layout fixes.

use std::time::Duration;

use jiff::civil::DateTime;

use crate::formulas::{Evaluated, Given, Observed, rounded, step};
use crate::readings::history::{Figure, History, Span};
use crate::readings::{Moment, State};

use super::program::{Inputs, Program};

const DAY: u64 = 86_400;

/// The past of a layout's readings, and what is known from it.
#[derive(Clone, Debug)]
pub struct Observer {
    histories: Vec<History>,
    /// When each reading was heard last.
    heard: Vec<Option<Moment>>,
    /// When each observed condition held last.
    held: Vec<Option<Moment>>,
    observed: Vec<Evaluated>,
    /// Histories that moved on or were added to since they were looked at.
    stirred: Vec<Stirred>,
}

/// What happened to a history.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Stirred {
    Not,
    Heard,
    Moved,
}

/// The local time of day in seconds.
fn seconds_of_day(time: DateTime) -> u64 {
    u64::try_from(i64::from(time.hour()) * 3600 + i64::from(time.minute()) * 60 + i64::from(time.second())).unwrap_or(0)
}

/// A number of the local day, which grows from day to day.
fn day(time: DateTime) -> u64 {
    u64::try_from((i64::from(time.year()) * 12 + i64::from(time.month())) * 31 + i64::from(time.day())).unwrap_or(0)
}

impl Observer {
    /// Nothing heard yet.
    pub fn new(program: &Program) -> Self {
        let histories =
            program.histories.iter().map(|(reading, span)| History::new(*span, program.readings[*reading].stale));
        Self {
            histories: histories.collect(),
            heard: vec![None; program.readings.len()],
            held: vec![None; program.observed.len()],
            observed: vec![Evaluated::WAITING; program.observed.len()],
            stirred: vec![Stirred::Moved; program.histories.len()],
        }
    }

    /// What expressions look at.
    pub fn observed(&self) -> &[Evaluated] {
        &self.observed
    }

    /// A history, for a trend.
    pub fn history(&self, index: usize) -> &History {
        &self.histories[index]
    }

    /// Takes a good number of a reading that was heard at `now`, on the day of `time`.
    pub fn hear(&mut self, program: &Program, reading: usize, number: f64, now: Moment, time: DateTime) {
        self.heard[reading] = Some(now);
        for (index, (of, _)) in program.histories.iter().enumerate() {
            if *of == reading {
                self.move_on(index, now, time);
                self.histories[index].hear(number, now);
                self.stirred[index] = self.stirred[index].max(Stirred::Heard);
            }
        }
    }

    fn move_on(&mut self, history: usize, now: Moment, time: DateTime) {
        if self.histories[history].move_on(now, day(time)) {
            self.stirred[history] = Stirred::Moved;
        }
    }

    /// Brings everything up to date, and adds what is another than before to `changed`.
    pub fn observe(
        &mut self,
        program: &Program,
        now: Moment,
        time: DateTime,
        (readings, values): (&[Evaluated], &[Evaluated]),
        changed: &mut Inputs,
    ) {
        (0..self.histories.len()).for_each(|history| self.move_on(history, now, time));
        for (index, observed) in program.observed.iter().enumerate() {
            let value = match observed {
                Observed::Window { history, reading, figure } => {
                    let before = self.observed[index];
                    let number = match (self.stirred[*history], figure) {
                        // A slope is the work of many pairs, and changes little between one part of the window and the next.
                        (Stirred::Heard, Figure::Slope) if before.is_known() => Some(before.number),
                        (Stirred::Not, _) if before.is_known() => Some(before.number),
                        _ => self.histories[*history].figure(*figure),
                    };
                    let live = readings[*reading].state == State::Live;
                    number.map_or(Evaluated::WAITING, |number| {
                        Evaluated::new(number, if live { State::Live } else { State::Stale })
                    })
                }
                Observed::Age(reading) => span(self.heard[*reading], now),
                Observed::Since(condition) => {
                    if condition.evaluate(&Given { readings, observed: &self.observed, values }).holds() {
                        self.held[index] = Some(now);
                    }
                    span(self.held[index], now)
                }
                Observed::Until(at) => {
                    let ahead = (u64::from(*at) + DAY - seconds_of_day(time)) % DAY;
                    Evaluated::new(rounded(ahead as f64), State::Live)
                }
            };
            if self.observed[index] != value {
                self.observed[index] = value;
                changed.insert(program.readings.len() + index);
            }
        }
        let behind = program.readings.len() + program.observed.len();
        for (index, stirred) in self.stirred.iter_mut().enumerate() {
            if std::mem::replace(stirred, Stirred::Not) != Stirred::Not {
                changed.insert(behind + index);
            }
        }
    }

    /// When something observed changes by itself, seen from `now`, when the local time was `time`.
    pub fn next_change(&self, program: &Program, now: Moment, time: DateTime) -> Option<Moment> {
        let growing = |since: &Option<Moment>| {
            since.map(|since| {
                let age = now.since(since).as_secs_f64();
                let step = step(age);
                since + Duration::from_secs_f64(rounded(age) + step)
            })
        };
        let observed = program.observed.iter().enumerate().filter_map(|(index, observed)| match observed {
            Observed::Window { .. } => None,
            Observed::Age(reading) => growing(&self.heard[*reading]),
            // While it holds, nothing grows.
            Observed::Since(_) => growing(&self.held[index].filter(|held| *held != now)),
            Observed::Until(at) => {
                let ahead = (u64::from(*at) + DAY - seconds_of_day(time)) % DAY;
                let rest = ahead as f64 - rounded(ahead as f64);
                Some(now + Duration::from_secs_f64(rest + 1.0))
            }
        });
        let histories = self.histories.iter().filter_map(|history| match history.span() {
            Span::Last(_) => history.next_move(now).filter(|_| history.figure(Figure::Count) > Some(0.0)),
            Span::Today => Some(now + Duration::from_secs(DAY - seconds_of_day(time))),
        });
        observed.chain(histories).min()
    }

    /// Goes on with the past of the readings of another program that listen to the same topics with the same pick.
    pub fn carry_over(&mut self, program: &Program, old: &Observer, before: &Program) {
        let same = |new: usize, old: usize| {
            let (new, old) = (&program.readings[new], &before.readings[old]);
            new.filter == old.filter && new.pick == old.pick && new.unit == old.unit
        };
        for reading in 0..self.heard.len() {
            if let Some(from) = (0..old.heard.len()).find(|from| same(reading, *from)) {
                self.heard[reading] = old.heard[from];
            }
        }
        for (index, (reading, span)) in program.histories.iter().enumerate() {
            let from = before.histories.iter().position(|(of, length)| length == span && same(*reading, *of));
            if let Some(from) = from {
                self.histories[index] = old.histories[from].clone();
            }
        }
    }
}

fn span(since: Option<Moment>, now: Moment) -> Evaluated {
    since.map_or(Evaluated::WAITING, |since| Evaluated::new(rounded(now.since(since).as_secs_f64()), State::Live))
}
