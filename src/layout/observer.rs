//! What is observed of readings and values besides their newest numbers: their past, their ages, how long ago something held.
//!
//! What enters are numbers as they are heard, and the time; what leaves are numbers for expressions, trends, and when they change
//! by themselves. Pure, and of a size that the layout fixes.

use std::time::Duration;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, ZonedDateTime};

use crate::formulas::sun::{self, Light};
use crate::formulas::{
    Deadline, Evaluated, Given, LONGEST, Look, MOST_REJECTS, MOST_UNTIL, Observed, Source, SunEvent, moon, rounded,
    step, tendency,
};
use crate::readings::history::{Figure, History, Lookback, Span, Stored};
use crate::readings::{Moment, ReadingSpec, State};
use crate::units::Conversion;

use super::past::{ComputedPast, Past};
use super::program::{Inputs, Program};

const DAY: u64 = 86_400;

/// The past of a layout's readings and values, and what is known from it.
#[derive(Clone, Debug)]
pub struct Observer {
    histories: Vec<History>,
    /// When each reading was heard last.
    heard: Vec<Option<Moment>>,
    /// The readings that were heard since the values were added to their past.
    news: Inputs,
    /// When each observed condition held last, and whether it did when it was looked at last.
    held: Vec<(Option<Moment>, bool)>,
    observed: Vec<Evaluated>,
    /// Histories that moved on or were added to since they were looked at.
    stirred: Vec<Stirred>,
    /// For what the sky does: for which day or hour, and for which distance in seconds from Greenwich's time, it was computed last.
    computed: Vec<(u64, i32)>,
    /// How many messages of each reading were rejected.
    rejects: Vec<u32>,
    /// Whether the broker is connected.
    linked: bool,
}

/// What happened to a history.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Stirred {
    Not,
    Heard,
    Moved,
}

/// The local time of day in seconds.
fn seconds_of_day(time: &ZonedDateTime) -> u64 {
    u64::try_from(i64::from(time.hour()) * 3600 + i64::from(time.minute()) * 60 + i64::from(time.second())).unwrap_or(0)
}

/// A number of the local day, which grows from day to day.
fn day(time: &ZonedDateTime) -> u64 {
    u64::try_from((i64::from(time.year()) * 12 + i64::from(time.month())) * 31 + i64::from(time.day())).unwrap_or(0)
}

/// How long until the local time of day is next a multiple of so many seconds.
fn to_multiple(seconds: u64, time: &ZonedDateTime) -> Duration {
    whole_seconds(seconds - seconds_of_day(time) % seconds, time)
}

/// So many seconds from when the second of `time` began.
fn whole_seconds(seconds: u64, time: &ZonedDateTime) -> Duration {
    let gone = Duration::from_nanos(u64::try_from(time.subsec_nanosecond()).unwrap_or(0));
    Duration::from_secs(seconds).saturating_sub(gone)
}

/// How long until the local day is over: not always as long as the clock lets expect.
fn to_midnight(time: &ZonedDateTime) -> Duration {
    let midnight = time.tomorrow().and_then(|tomorrow| tomorrow.start_of_day());
    let wait = midnight.map(|midnight| time.duration_until(&midnight));
    // Where there is no next day, time ends.
    wait.ok().and_then(|wait| wait.try_into().ok()).unwrap_or(Duration::from_secs(DAY))
}

/// How many seconds are left until a deadline; `None` once it is over for good.
fn left(deadline: Deadline, time: &ZonedDateTime) -> Option<u64> {
    let left = |until: jiff::civil::DateTime| {
        let until = until.to_zoned_datetime(time.time_zone().clone()).ok()?;
        u64::try_from(until.timestamp().as_second() - time.timestamp().as_second()).ok()
    };
    match deadline {
        Deadline::Daily(at) => {
            let today = time.date();
            left(today.to_datetime(at)).or_else(|| left(today.tomorrow().ok()?.to_datetime(at)))
        }
        Deadline::Once(at) => left(at),
    }
}

impl Observer {
    /// Nothing heard yet.
    pub fn new(program: &Program) -> Self {
        let histories = program.histories.iter().map(|past| History::new(past.lookback.span, past.lookback.hold));
        Self {
            histories: histories.collect(),
            heard: vec![None; program.readings.len()],
            news: Inputs::default(),
            held: vec![(None, false); program.observed.len()],
            observed: vec![Evaluated::WAITING; program.observed.len()],
            stirred: vec![Stirred::Moved; program.histories.len()],
            computed: vec![(u64::MAX, 0); program.observed.len()],
            rejects: vec![0; program.readings.len()],
            linked: true,
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

    /// Takes how many messages of a reading were rejected.
    pub fn set_rejects(&mut self, reading: usize, count: u64) {
        self.rejects[reading] = u32::try_from(count).unwrap_or(MOST_REJECTS).min(MOST_REJECTS);
    }

    /// Whether the broker is connected, as far as anybody said.
    pub fn is_linked(&self) -> bool {
        self.linked
    }

    /// Takes whether the broker is connected.
    pub fn set_link(&mut self, linked: bool) {
        self.linked = linked;
    }

    /// Whether something in the sky has to be computed anew for a day or an hour of the number `when`.
    fn is_due(&mut self, index: usize, when: u64, time: &ZonedDateTime) -> bool {
        let when = (when, time.offset().seconds());
        std::mem::replace(&mut self.computed[index], when) != when
    }

    /// Takes a good number of a reading that was heard at `now`, on the day of `time`.
    pub fn hear(&mut self, program: &Program, reading: usize, number: f64, now: Moment, time: &ZonedDateTime) {
        self.heard[reading] = Some(now);
        self.news.insert(reading);
        for (index, past) in program.histories.iter().enumerate() {
            if past.source == Source::Reading(reading) {
                self.add(index, number, now, time);
            }
        }
    }

    /// Adds a number to a history.
    fn add(&mut self, history: usize, number: f64, now: Moment, time: &ZonedDateTime) {
        self.move_on(history, now, time);
        self.histories[history].hear(number, now);
        self.stirred[history] = self.stirred[history].max(Stirred::Heard);
    }

    fn move_on(&mut self, history: usize, now: Moment, time: &ZonedDateTime) {
        if self.histories[history].move_on(now, day(time)) {
            self.stirred[history] = Stirred::Moved;
        }
    }

    /// Brings up to date what needs no value, and adds what is another than before to `changed`.
    pub fn observe(
        &mut self,
        program: &Program,
        now: Moment,
        time: &ZonedDateTime,
        readings: &[Evaluated],
        changed: &mut Inputs,
    ) {
        (0..self.histories.len()).for_each(|history| self.move_on(history, now, time));
        for (index, observed) in program.observed.iter().enumerate() {
            let value = match observed {
                Observed::Window { history, source: Source::Reading(reading), figure } => {
                    self.figure(index, *history, *figure, readings[*reading])
                }
                Observed::Characteristic { history, source: Source::Reading(reading), conversion } => {
                    self.characteristic(index, *history, *conversion, readings[*reading])
                }
                Observed::Window { .. } | Observed::Characteristic { .. } | Observed::Since(_) => continue,
                Observed::Age(reading) => span(self.heard[*reading], now, program.look(index)),
                Observed::Rejects(reading) => Evaluated::new(f64::from(self.rejects[*reading]), State::Live),
                Observed::Link => Evaluated::new(f64::from(u8::from(self.linked)), State::Live),
                Observed::Until(deadline) => {
                    let left = (left(*deadline, time).unwrap_or(0) as f64).min(most_until(*deadline));
                    Evaluated::new(rounded(left, program.look(index)), State::Live)
                }
                Observed::TimeOfDay => Evaluated::new((seconds_of_day(time) / 60 * 60) as f64, State::Live),
                Observed::Sun { event, latitude, longitude } => {
                    if self.is_due(index, day(time), time) {
                        let day = sun::day(time.date(), *latitude, *longitude);
                        sun_seconds(*event, day, time.date(), time.time_zone())
                    } else {
                        self.observed[index]
                    }
                }
                Observed::MoonPhase => {
                    if self.is_due(index, day(time) * 24 + seconds_of_day(time) / 3600, time) {
                        let greenwich = time.with_time_zone(TimeZone::UTC);
                        Evaluated::new(100.0 * moon::phase(greenwich.datetime()), State::Live)
                    } else {
                        self.observed[index]
                    }
                }
            };
            self.note(program, index, value, changed);
        }
        for (index, past) in program.histories.iter().enumerate() {
            if let Source::Reading(_) = past.source {
                self.settle(program, index, changed);
            }
        }
    }

    /// Adds a value's newest number to its past, if a reading behind it was heard, and brings up to date what looks back at
    /// that; tells whether anything is another than before.
    pub fn observe_value(
        &mut self,
        program: &Program,
        &ComputedPast { history, ref observed, .. }: &ComputedPast,
        now: Moment,
        time: &ZonedDateTime,
        value: Evaluated,
        changed: &mut Inputs,
    ) -> bool {
        if value.state == State::Live && self.news.meets(&program.histories[history].readings) {
            self.add(history, value.number, now, time);
        }
        let mut differs = false;
        for &index in observed {
            let seen = match &program.observed[index] {
                Observed::Window { figure, .. } => self.figure(index, history, *figure, value),
                Observed::Characteristic { conversion, .. } => self.characteristic(index, history, *conversion, value),
                _ => continue,
            };
            differs |= self.note(program, index, seen, changed);
        }
        self.settle(program, history, changed);
        differs
    }

    /// All values were added to their histories: what is heard from now on is new.
    pub fn values_are_added(&mut self) {
        self.news.clear();
    }

    /// A figure of a history of numbers of which `newest` is the newest, for the observation with this index.
    fn figure(&self, index: usize, history: usize, figure: Figure, newest: Evaluated) -> Evaluated {
        let before = self.observed[index];
        let number = match (self.stirred[history], figure) {
            // A slope is the work of many pairs, and changes little between one part of the window and the next.
            (Stirred::Heard, Figure::Slope) | (Stirred::Not, _) if before.is_known() => Some(before.number),
            _ => self.histories[history].figure(figure),
        };
        from_window(number, newest)
    }

    /// The characteristic of a history of pressures of which `newest` is the newest, for the observation with this index.
    fn characteristic(&self, index: usize, history: usize, conversion: Conversion, newest: Evaluated) -> Evaluated {
        let before = self.observed[index];
        let number = match self.stirred[history] {
            Stirred::Not | Stirred::Heard if before.is_known() => Some(before.number),
            _ => characteristic(&self.histories[history], conversion),
        };
        from_window(number, newest)
    }

    /// Takes what was observed, and tells whether it is another than before.
    fn note(&mut self, program: &Program, index: usize, value: Evaluated, changed: &mut Inputs) -> bool {
        let differs = self.observed[index] != value;
        if differs {
            self.observed[index] = value;
            changed.insert(program.readings.len() + index);
        }
        differs
    }

    /// Everything that looks at a history was brought up to date.
    fn settle(&mut self, program: &Program, history: usize, changed: &mut Inputs) {
        if std::mem::replace(&mut self.stirred[history], Stirred::Not) != Stirred::Not {
            changed.insert(program.readings.len() + program.observed.len() + history);
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
            let mut value = span(*held, now, program.look(index));
            if condition.state != State::Live && value.is_known() {
                value.state = State::Stale;
            }
            differs |= self.note(program, index, value, changed);
        }
        differs
    }

    /// When something observed changes by itself that belongs to `watched`, seen from `now`, when the local time was `time`.
    pub fn next_change(
        &self,
        program: &Program,
        watched: &Inputs,
        now: Moment,
        time: &ZonedDateTime,
    ) -> Option<Moment> {
        let growing = |since: &Option<Moment>, look: Look| {
            since.map(|since| {
                let age = now.since(since).as_secs_f64();
                since + Duration::from_secs_f64(rounded(age, look) + step(age, look))
            })
        };
        let (readings, observations) = (program.readings.len(), program.observed.len());
        let observed = program.observed.iter().enumerate();
        let observed = observed.filter(|(index, _)| watched.contains(readings + index));
        let observed = observed.filter_map(|(index, observed)| match observed {
            Observed::Window { .. } | Observed::Characteristic { .. } | Observed::Rejects(_) | Observed::Link => None,
            Observed::TimeOfDay => Some(now + to_multiple(60, time)),
            Observed::Sun { .. } => Some(now + to_midnight(time)),
            Observed::MoonPhase => Some(now + to_multiple(3600, time)),
            Observed::Age(reading) => growing(&self.heard[*reading], program.look(index)),
            // While it holds, nothing grows.
            Observed::Since(_) => growing(&self.held[index].0.filter(|_| !self.held[index].1), program.look(index)),
            Observed::Until(deadline) => {
                let left = left(*deadline, time)?;
                let rest = left - rounded(left as f64, program.look(index)) as u64;
                Some(now + whole_seconds(rest + 1, time))
            }
        });
        let histories = self.histories.iter().enumerate().filter_map(|(index, history)| match history.span() {
            Span::Last(_) if !watched.contains(readings + observations + index) => None,
            Span::Last(_) => history.next_move(now).filter(|_| history.figure(Figure::Count) > Some(0.0)),
            // What is heard before and after belongs to different days, whether somebody looks or not.
            Span::Today => Some(now + to_midnight(time)),
        });
        observed.chain(histories).min()
    }

    /// The windows, each with how it looks back.
    pub fn windows<'a>(&'a self, program: &'a Program) -> impl Iterator<Item = (&'a Lookback, &'a History)> {
        program.histories.iter().map(|past| &past.lookback).zip(&self.histories)
    }

    /// Goes on with windows that were stored, at `now`, which is at the civil time `time`. Tells how many go on.
    pub fn recall(&mut self, program: &Program, stored: &Stored, now: Moment, time: &ZonedDateTime) -> usize {
        // Nothing was stored before 1970.
        let since_1970 = time.timestamp().as_duration().try_into().unwrap_or_default();
        let mut count = 0;
        for (index, past) in program.histories.iter().enumerate() {
            if let Some(history) = stored.window(&past.lookback, now, since_1970, day(time)) {
                self.histories[index] = history;
                self.stirred[index] = Stirred::Moved;
                count += 1;
            }
        }
        count
    }

    /// Goes on with the past of the same numbers in another program.
    pub fn carry_over(&mut self, program: &Program, old: &Observer, before: &Program) {
        let identities = |program: &Program| program.readings.iter().map(ReadingSpec::identity).collect::<Vec<_>>();
        let (new, of_old) = (identities(program), identities(before));
        let same = |reading: usize, other: usize| new[reading] == of_old[other];
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
        for (index, Past { lookback, .. }) in program.histories.iter().enumerate() {
            let is_same = |old: &Past| old.lookback.span == lookback.span && old.lookback.identity == lookback.identity;
            let history = before.histories.iter().position(is_same).map(|from| &old.histories[from]);
            if let Some(history) = history.filter(|history| history.lies_within(lookback.bounds)) {
                self.histories[index] = history.clone().holding(lookback.hold);
            }
        }
    }
}

/// A figure of a window: waiting where nothing tells, and old where its newest number is not live.
fn from_window(number: Option<f64>, newest: Evaluated) -> Evaluated {
    let state = if newest.state == State::Live { State::Live } else { State::Stale };
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

/// The greatest that is counted down from, in seconds.
fn most_until(deadline: Deadline) -> f64 {
    match deadline {
        Deadline::Daily(_) => MOST_UNTIL,
        Deadline::Once(_) => LONGEST,
    }
}

/// What the sun does, in seconds after local midnight by the clock in `zone`; waiting on a day on which it does not.
fn sun_seconds(event: SunEvent, day: sun::Day, date: Date, zone: &TimeZone) -> Evaluated {
    let local = |minutes: f64| {
        let midnight = date.to_zoned_datetime(TimeZone::UTC).ok()?;
        let event = midnight.timestamp() + SignedDuration::from_secs((minutes * 60.0).round() as i64);
        Some(seconds_of_day(&event.to_zoned_datetime(zone.clone())) as f64)
    };
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

fn span(since: Option<Moment>, now: Moment, look: Look) -> Evaluated {
    let seconds = |since| rounded(now.since(since).as_secs_f64(), look).min(LONGEST);
    since.map_or(Evaluated::WAITING, |since| Evaluated::new(seconds(since), State::Live))
}
