//! What is known of readings besides their newest number: their age, a figure of a window, how long ago something held.
//!
//! Plain data that says what to observe; the renderer keeps the numbers, and expressions look at them by their place.

use crate::readings::history::Figure;

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
    /// How long ago the reading with this index was heard, in seconds.
    Age(usize),
    /// How long ago the condition held last, in seconds; 0 while it holds.
    Since(Compiled),
    /// How long until it is so many seconds after local midnight, in seconds.
    Until(u32),
}

impl Observed {
    /// Whether it is a span of time, which is shown in words of its own.
    pub fn is_time(&self) -> bool {
        !matches!(self, Observed::Window { .. })
    }
}

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
