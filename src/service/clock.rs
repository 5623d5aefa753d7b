//! The monotonic clock, and the only place where it is read for the core.
//!
//! What enters is nothing but time going by; what leaves are [`Moment`]s, and the runtime's own instants for them. It never
//! looks at the date: a jump of the civil clock changes no age.

use std::time::Duration;

use tokio::time::Instant;

use crate::readings::Moment;

/// So far ahead that it never comes, and still within the reach of every clock.
const NEVER: Duration = Duration::from_secs(100 * 365 * 24 * 3600);

/// A clock that starts at zero with the service.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    start: Instant,
}

impl Clock {
    pub fn start() -> Self {
        Self { start: Instant::now() }
    }

    pub fn now(&self) -> Moment {
        Moment::at(self.start.elapsed())
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
