//! Readings: a number picked out of a payload, and whether it can be believed.
//!
//! What enters are payload bytes, whether the broker had kept them, and the time; what leaves is a number with a [`State`].
//! Nothing here reads a clock: time is a [`Moment`] that the caller passes in.

mod cadence;
mod column;
mod decode_error;
pub mod history;
mod moment;
mod pack;
mod pick;
mod pointer;
mod presence;
mod reading;
mod senml;
mod store;
mod trust;
mod words;

pub use decode_error::{DecodeError, Excerpt, Spot};
pub use moment::Moment;
pub use pick::{MOST_BYTES, Pick, PickError};
pub use pointer::{Pointer, PointerError};
pub use presence::Presence;
pub use reading::{Counts, Event, Fault, Jump, Limits, Publisher, Reading};
pub use senml::Sample;
#[cfg(feature = "recording")]
pub use senml::{Listed, list as list_senml};
pub use store::{Outcome, ReadingSpec, Store};
pub use trust::{MOST_MEDIAN, Smooth, Trust};
pub use words::{Words, WordsError};

/// Whether a reading can be believed. Ordered from good to bad, so that the worst of several is their maximum.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// Heard lately, and in its range.
    Live,
    /// Older than the layout allows, or kept by the broker for an unknown time.
    Stale,
    /// Nothing heard yet.
    Waiting,
    /// The last message could not be understood, was no number, or was out of range.
    Faulty,
}

impl State {
    /// All states, from good to bad.
    pub const ALL: [Self; 4] = [Self::Live, Self::Stale, Self::Waiting, Self::Faulty];

    /// What arguments and reports call it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Live => "live",
            Self::Stale => "stale",
            Self::Waiting => "waiting",
            Self::Faulty => "faulty",
        }
    }

    /// The state that is called so.
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }
}
