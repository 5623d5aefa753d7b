//! A point on the monotonic clock, as a plain number: the core takes time as an argument.

use std::ops::{Add, Sub};
use std::time::Duration;

/// Time since an arbitrary start, which the caller's monotonic clock (or a test) decides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(Duration);

impl Moment {
    /// The moment `since` after the start.
    pub const fn at(since: Duration) -> Self {
        Self(since)
    }

    /// How long ago `earlier` was; zero if it is not earlier.
    pub fn since(self, earlier: Moment) -> Duration {
        self.0.saturating_sub(earlier.0)
    }
}

impl Add<Duration> for Moment {
    type Output = Moment;

    fn add(self, span: Duration) -> Moment {
        Moment(self.0.saturating_add(span))
    }
}

impl Sub<Moment> for Moment {
    type Output = Duration;

    fn sub(self, earlier: Moment) -> Duration {
        self.since(earlier)
    }
}
