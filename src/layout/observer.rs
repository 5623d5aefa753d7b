//! What is observed of readings besides their newest numbers: their past, their ages, how long ago something held.
//!
//! What enters are numbers as they are heard, and the time; what leaves are numbers for expressions, trends, and when they change
//! by themselves. Pure, and of a size that the layout fixes.

use std::time::Duration;

use jiff::civil::DateTime;

use crate::formulas::sun::{self, Light};
use crate::formulas::{Evaluated, Given, LONGEST, Observed, SunEvent, moon, rounded, step, tendency};
use crate::readings::history::{Figure, History, Span, Stored};
use crate::readings::{Moment, ReadingSpec, State};
use crate::units::Conversion;

use super::program::{Inputs, Program};

const DAY: u64 = 86_400;

/// The past of a layout's readings, and what is known from it.
#[derive(Clone, Debug)]
pub struct Observer {
    histories: Vec<History>,
    /// When each reading was heard last.
    heard: Vec<Option<Moment>>,
    /// When each observed condition held last, and whether it did when it was looked at last.
    held: Vec<(Option<Moment>, bool)>,
    observed: Vec<Evaluated>,
    /// Histories that moved on or were added to since they were looked at.
    stirred: Vec<Stirred>,
    /// For what the sky does: for which day or hour, and for which offset, it was computed last.
    computed: Vec<(u64, i32)>,
    /// How many seconds the civil time is ahead of that of Greenwich.
    offset: i32,
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
            held: vec![(None, false); program.observed.len()],
            observed: vec![Evaluated::WAITING; program.observed.len()],
            stirred: vec![Stirred::Moved; program.histories.len()],
            computed: vec![(u64::MAX, 0); program.observed.len()],
            offset: 0,
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

    /// Takes how many seconds the civil time is ahead of that of Greenwich.
    pub fn set_offset(&mut self, seconds: i32) {
        self.offset = seconds;
    }

    /// Whether something in the sky has to be computed anew for a day or an hour of the number `when`.
    fn is_due(&mut self, index: usize, when: u64) -> bool {
        std::mem::replace(&mut self.computed[index], (when, self.offset)) != (when, self.offset)
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
        readings: &[Evaluated],
        changed: &mut Inputs,
    ) {
        (0..self.histories.len()).for_each(|history| self.move_on(history, now, time));
        for (index, observed) in program.observed.iter().enumerate() {
            let value = match observed {
                Observed::Window { history, reading, figure } => {
                    let before = self.observed[index];
                    let number = match (self.stirred[*history], figure) {
                        // A slope is the work of many pairs, and changes little between one part of the window and the next.
                        (Stirred::Heard, Figure::Slope) | (Stirred::Not, _) if before.is_known() => Some(before.number),
                        _ => self.histories[*history].figure(*figure),
                    };
                    from_window(number, readings[*reading])
                }
                Observed::Characteristic { history, reading, conversion } => {
                    let before = self.observed[index];
                    let number = match self.stirred[*history] {
                        Stirred::Not | Stirred::Heard if before.is_known() => Some(before.number),
                        _ => characteristic(&self.histories[*history], *conversion),
                    };
                    from_window(number, readings[*reading])
                }
                Observed::Age(reading) => span(self.heard[*reading], now),
                Observed::Since(_) => continue,
                Observed::Until(at) => {
                    let ahead = (u64::from(*at) + DAY - seconds_of_day(time)) % DAY;
                    Evaluated::new(rounded(ahead as f64), State::Live)
                }
                Observed::TimeOfDay => Evaluated::new((seconds_of_day(time) / 60 * 60) as f64, State::Live),
                Observed::Sun { event, latitude, longitude } => {
                    if self.is_due(index, day(time)) {
                        sun_seconds(*event, sun::day(time.date(), *latitude, *longitude), self.offset)
                    } else {
                        self.observed[index]
                    }
                }
                Observed::MoonPhase => {
                    if self.is_due(index, day(time) * 24 + seconds_of_day(time) / 3600) {
                        let offset = jiff::Span::new().seconds(self.offset);
                        let greenwich = time.checked_sub(offset).unwrap_or(time);
                        Evaluated::new(100.0 * moon::phase(greenwich), State::Live)
                    } else {
                        self.observed[index]
                    }
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

    /// Looks at the observed conditions, once the values are known; tells whether anything is another than before.
    pub fn observe_conditions(
        &mut self,
        program: &Program,
        now: Moment,
        (readings, values): (&[Evaluated], &[Evaluated]),
        changed: &mut Inputs,
    ) -> bool {
        let mut differs = false;
        for (index, observed) in program.observed.iter().enumerate() {
            let Observed::Since(condition) = observed else { continue };
            let condition = condition.evaluate(&Given { readings, observed: &self.observed, values });
            let (held, held_before) = &mut self.held[index];
            // What held at the last look held until now.
            if std::mem::replace(held_before, condition.holds()) || condition.holds() {
                *held = Some(now);
            }
            let mut value = span(*held, now);
            if condition.state != State::Live && value.is_known() {
                value.state = State::Stale;
            }
            if self.observed[index] != value {
                self.observed[index] = value;
                changed.insert(program.readings.len() + index);
                differs = true;
            }
        }
        differs
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
            Observed::Window { .. } | Observed::Characteristic { .. } => None,
            Observed::TimeOfDay => Some(now + Duration::from_secs(60 - seconds_of_day(time) % 60)),
            Observed::Sun { .. } => Some(now + Duration::from_secs(DAY - seconds_of_day(time))),
            Observed::MoonPhase => Some(now + Duration::from_secs(3600 - seconds_of_day(time) % 3600)),
            Observed::Age(reading) => growing(&self.heard[*reading]),
            // While it holds, nothing grows.
            Observed::Since(_) => growing(&self.held[index].0.filter(|_| !self.held[index].1)),
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

    /// The windows with the readings that they are of.
    pub fn windows<'a>(&'a self, program: &'a Program) -> impl Iterator<Item = (&'a ReadingSpec, &'a History)> {
        let readings = program.histories.iter().map(|(reading, _)| &program.readings[*reading]);
        readings.zip(&self.histories)
    }

    /// Goes on with windows that were stored, at `now`; `since_1970` and `time` are the civil time in Greenwich and here. Tells how many go
    /// on.
    pub fn recall(
        &mut self,
        program: &Program,
        stored: &Stored,
        now: Moment,
        since_1970: Duration,
        time: DateTime,
    ) -> usize {
        let mut count = 0;
        for (index, (reading, span)) in program.histories.iter().enumerate() {
            if let Some(history) = stored.window(&program.readings[*reading], *span, now, since_1970, day(time)) {
                self.histories[index] = history;
                self.stirred[index] = Stirred::Moved;
                count += 1;
            }
        }
        count
    }

    /// Goes on with the past of the readings of another program that listen to the same topics with the same pick.
    pub fn carry_over(&mut self, program: &Program, old: &Observer, before: &Program) {
        let same = |new: usize, old: usize| {
            let (new, old) = (&program.readings[new], &before.readings[old]);
            let calibration = |spec: &ReadingSpec| (spec.trust.scale, spec.trust.offset);
            new.filter == old.filter
                && new.pick == old.pick
                && new.unit == old.unit
                && calibration(new) == calibration(old)
        };
        for reading in 0..self.heard.len() {
            if let Some(from) = (0..old.heard.len()).find(|from| same(reading, *from)) {
                self.heard[reading] = old.heard[from];
            }
        }
        for (index, observed) in program.observed.iter().enumerate() {
            // A condition counts its readings in the order of the file: only in the same order does it say the same.
            let alike = program.readings.len() == before.readings.len()
                && (0..program.readings.len()).all(|reading| same(reading, reading));
            if let Some(from) = before.observed.iter().position(|of| of == observed).filter(|_| alike) {
                self.held[index] = old.held[from];
            }
        }
        for (index, (reading, span)) in program.histories.iter().enumerate() {
            let from = before.histories.iter().position(|(of, length)| length == span && same(*reading, *of));
            if let Some(from) = from {
                self.histories[index] = old.histories[from].clone().holding(program.readings[*reading].stale);
            }
        }
    }
}

/// A figure of a window: waiting where nothing tells, and old where its reading is not live.
fn from_window(number: Option<f64>, reading: Evaluated) -> Evaluated {
    let state = if reading.state == State::Live { State::Live } else { State::Stale };
    number.map_or(Evaluated::WAITING, |number| Evaluated::new(number, state))
}

/// The characteristic of a window of pressures, where it has one every half hour.
fn characteristic(history: &History, conversion: Conversion) -> Option<f64> {
    let mut columns = [None; 7];
    history.trend(&mut columns);
    let mut pressures = [0.0; 7];
    for (pressure, column) in pressures.iter_mut().zip(columns) {
        let (least, greatest) = column?;
        *pressure = conversion.apply((least + greatest) / 2.0);
    }
    tendency::characteristic(&pressures).map(|characteristic| f64::from(characteristic.code()))
}

/// What the sun does, in seconds after local midnight; waiting on a day on which it does not.
fn sun_seconds(event: SunEvent, day: sun::Day, offset: i32) -> Evaluated {
    let local = |minutes: f64| Some((minutes * 60.0 + f64::from(offset)).rem_euclid(DAY as f64));
    let seconds = match (event, day.light) {
        (SunEvent::Noon, _) => local(day.noon),
        (SunEvent::Rise, Light::RisesAndSets { rise, .. }) => local(rise),
        (SunEvent::Set, Light::RisesAndSets { set, .. }) => local(set),
        (SunEvent::Length, Light::RisesAndSets { rise, set }) => Some((set - rise) * 60.0),
        (SunEvent::Length, Light::NeverSets) => Some(DAY as f64),
        (SunEvent::Length, Light::NeverRises) => Some(0.0),
        (SunEvent::Rise | SunEvent::Set, Light::NeverSets | Light::NeverRises) => None,
    };
    seconds.map_or(Evaluated::WAITING, |seconds| Evaluated::new(seconds, State::Live))
}

fn span(since: Option<Moment>, now: Moment) -> Evaluated {
    let seconds = |since| rounded(now.since(since).as_secs_f64()).min(LONGEST);
    since.map_or(Evaluated::WAITING, |since| Evaluated::new(seconds(since), State::Live))
}
