//! What is known of readings besides their newest number: their age, a figure of a window, how long ago something held.
//!
//! Plain data that says what to observe; the renderer keeps the numbers, and expressions look at them by their place.

use crate::readings::history::Figure;
use crate::units::Conversion;

use super::Compiled;

/// Something to be observed.
#[derive(Clone, Debug, PartialEq)]
pub enum Observed {
    /// A figure of the history with this index.
    Window {
        /// Which history.
        history: usize,
        /// The reading that it is of.
        reading: usize,
        /// Which figure.
        figure: Figure,
    },
    /// The characteristic of pressure tendency: a figure of WMO code table 0200.
    Characteristic {
        /// The history of three hours.
        history: usize,
        /// The reading that it is of.
        reading: usize,
        /// From the reading's unit to hPa.
        conversion: Conversion,
    },
    /// How long ago the reading with this index was heard, in seconds.
    Age(usize),
    /// How long ago the condition held last, in seconds; 0 while it holds.
    Since(Compiled),
    /// How long until it is so many seconds after local midnight, in seconds.
    Until(u32),
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
            Observed::Window { .. } | Observed::Characteristic { .. } | Observed::MoonPhase => None,
            Observed::Age(_) | Observed::Since(_) | Observed::Until(_) => Some(TimeStyle::Span),
            Observed::TimeOfDay | Observed::Sun { .. } => Some(TimeStyle::OfDay),
        }
    }
}

/// What is longer ago is observed as this long ago, in seconds: 99 days.
pub const LONGEST: f64 = 99.0 * 86400.0;

/// A span of time as it is observed: whole seconds below a minute, tens of seconds below an hour, then whole minutes. So nothing has to
/// wake up more often than somebody would look.
pub fn rounded(seconds: f64) -> f64 {
    let step = step(seconds);
    (seconds / step).floor() * step
}

/// How long a span of so many seconds, growing, is observed as the same from one step to the next.
pub fn step(seconds: f64) -> f64 {
    match seconds {
        ..60.0 => 1.0,
        60.0..3600.0 => 10.0,
        _ => 60.0,
    }
}
