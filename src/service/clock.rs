//! The clocks, and the only place where they are read for the core.
//!
//! What enters is nothing but time going by; what leaves are [`Moment`]s, the runtime's own instants for them, and the civil time
//! that is shown. Ages come from the monotonic clock alone: a jump of the civil clock changes none. Only how long the program did not
//! run is known from the civil clock.

use std::time::{Duration, SystemTime};

use jiff::ZonedDateTime;
use tokio::time::Instant;

use crate::readings::Moment;

/// So far ahead that it never comes, and still within the reach of every clock.
const NEVER: Duration = Duration::from_secs(100 * 365 * 24 * 3600);

/// A clock that starts at zero with the service.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Clock {
    start: Instant,
}

impl Clock {
    pub fn start() -> Self {
        Self { start: Instant::now() }
    }

    pub fn now(&self) -> Moment {
        Moment::at(self.start.elapsed())
    }

    /// The date and time of day in the machine's own time zone. Only what clocks show comes from it: no age ever does.
    pub fn civil(&self) -> ZonedDateTime {
        ZonedDateTime::now()
    }

    /// The civil time since the beginning of 1970 in Greenwich, by which a past that was kept is as old as it is.
    pub fn since_1970(&self) -> Duration {
        SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default()
    }

    /// The instant to sleep until for `moment`.
    pub fn instant(&self, moment: Moment) -> Instant {
        self.start + moment.since(Moment::default()).min(NEVER)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_and_instants_agree() {
        let clock = Clock::start();
        let second = Duration::from_secs(1);
        assert_eq!(clock.instant(Moment::at(second)), clock.start + second);
        assert!(clock.now() < Moment::at(Duration::from_secs(60)));
        assert_eq!(clock.instant(Moment::at(Duration::MAX)), clock.start + NEVER);
    }
}
