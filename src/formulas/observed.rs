//! What is known of readings besides their newest number: their age, a figure of a window, how long ago something held.
//!
//! Plain data that says what to observe; the renderer keeps the numbers, and expressions look at them by their place.

use jiff::civil::{DateTime, Time};

use crate::readings::history::Figure;
use crate::units::Conversion;

use super::{Compiled, Input, Known};

/// Whose numbers have a past.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// The reading with this index.
    Reading(usize),
    /// The value with this index.
    Value(usize),
}

impl Source {
    /// What is known of it.
    pub fn of<T: Copy>(self, known: &Known<'_, T>) -> T {
        match self {
            Source::Reading(index) => known.readings[index],
            Source::Value(index) => known.values[index],
        }
    }
}

impl From<Source> for Input {
    fn from(source: Source) -> Self {
        match source {
            Source::Reading(index) => Input::Reading(index),
            Source::Value(index) => Input::Value(index),
        }
    }
}

/// Something to be observed.
#[derive(Clone, Debug, PartialEq)]
pub enum Observed {
    /// A figure of the history with this index.
    Window {
        /// Which history.
        history: usize,
        /// Whose past it is.
        source: Source,
        /// Which figure.
        figure: Figure,
    },
    /// The characteristic of pressure tendency: a figure of WMO code table 0200.
    Characteristic {
        /// The history of three hours.
        history: usize,
        /// Whose past it is.
        source: Source,
        /// From its unit to hPa.
        conversion: Conversion,
    },
    /// How long ago the reading with this index was heard, in seconds.
    Age(usize),
    /// How long ago the condition held last, in seconds; 0 while it holds.
    Since(Compiled),
    /// How long until then, in seconds; 0 once it is over.
    Until(Deadline),
    /// How many messages of the reading with this index were rejected since the program began.
    Rejects(usize),
    /// Whether the broker is connected: 1 or 0.
    Link,
    /// The time of day: seconds after local midnight, in whole minutes.
    TimeOfDay,
    /// Something about today's sun at a place, in seconds after local midnight, or in seconds.
    Sun {
        /// What.
        event: SunEvent,
        /// Degrees, north being positive.
        latitude: f64,
        /// Degrees, east being positive.
        longitude: f64,
    },
    /// The moon's phase in per cent of its cycle: 0 at new moon, 50 at full moon.
    MoonPhase,
}

/// What is counted down to, by local time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deadline {
    /// A time of every day.
    Daily(Time),
    /// A time of one day.
    Once(DateTime),
}

/// What the sun does on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SunEvent {
    /// It rises.
    Rise,
    /// It sets.
    Set,
    /// It stands highest.
    Noon,
    /// How long it is up.
    Length,
}

/// How a span of time or a time of day is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeStyle {
    /// `45 s`, `3 min`, `2 h`, `5 d`.
    Span,
    /// `07:45`.
    OfDay,
}

impl Observed {
    /// How it is written where it is a time.
    pub fn style(&self) -> Option<TimeStyle> {
        match self {
            Observed::Window { .. }
            | Observed::Characteristic { .. }
            | Observed::MoonPhase
            | Observed::Rejects(_)
            | Observed::Link => None,
            Observed::Age(_) | Observed::Since(_) | Observed::Until(_) => Some(TimeStyle::Span),
            Observed::TimeOfDay | Observed::Sun { .. } => Some(TimeStyle::OfDay),
        }
    }
}

/// What is longer ago is observed as this long ago, in seconds: 99 days.
pub const LONGEST: f64 = 99.0 * 86400.0;

/// A deadline of every day is no further ahead than this, in seconds: days are longer than 24 hours where clocks are set back.
pub const MOST_UNTIL: f64 = 48.0 * 3600.0;

/// No reading's rejected messages are counted further.
pub const MOST_REJECTS: u32 = 999_999;

/// How closely a span of time is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// Only written in its own way, such as `3 min`.
    Glance,
    /// Compared, computed with, or written as a number.
    Close,
}

/// A span of time as it is observed, so that nothing has to wake up more often than somebody would look: at a glance, whole seconds, minutes,
/// hours and days, as they are written; closely, whole seconds below a minute, tens of seconds below an hour, then whole minutes.
pub fn rounded(seconds: f64, look: Look) -> f64 {
    let step = step(seconds, look);
    (seconds / step).floor() * step
}

/// How long a span of so many seconds, growing, is observed as the same from one step to the next.
pub fn step(seconds: f64, look: Look) -> f64 {
    match (seconds, look) {
        (..60.0, _) => 1.0,
        (60.0..3600.0, Look::Close) => 10.0,
        (_, Look::Close) | (60.0..3600.0, Look::Glance) => 60.0,
        (3600.0..86400.0, Look::Glance) => 3600.0,
        (_, Look::Glance) => 86400.0,
    }
}
