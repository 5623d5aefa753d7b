//! How long to wait before the next attempt to connect.
//!
//! What enters are failures, good connections and randomness; what leaves are waits that double from a quarter of a second to
//! half a minute, each a quarter shorter or longer by chance, so that many panels do not call a returning broker at once
//! (common practice). It never sleeps itself.

use std::time::Duration;

/// The first wait, before chance.
pub const FIRST: Duration = Duration::from_millis(250);
/// The longest wait, before chance.
pub const LONGEST: Duration = Duration::from_secs(30);
/// A connection that has held this long makes the next wait the first again.
pub const STEADY: Duration = Duration::from_secs(60);

/// Waits between attempts.
#[derive(Debug)]
pub(super) struct BackOff {
    next: Duration,
    random: fastrand::Rng,
}

impl BackOff {
    /// Begins with the [`FIRST`] wait; `random` decides by how much each wait strays.
    pub fn new(random: fastrand::Rng) -> Self {
        Self { next: FIRST, random }
    }

    /// The wait after a connection that held for `lasted`, zero if none came about.
    pub fn after(&mut self, lasted: Duration) -> Duration {
        if lasted >= STEADY {
            self.next = FIRST;
        }
        let wait = self.next;
        self.next = (wait * 2).min(LONGEST);
        wait * self.random.u32(750..=1250) / 1000
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_the_longest_and_stray_by_at_most_a_quarter() {
        for seed in 0..200 {
            let mut waits = BackOff::new(fastrand::Rng::with_seed(seed));
            let mut expected = FIRST;
            for _ in 0..20 {
                let wait = waits.after(Duration::ZERO);
                assert!(wait >= expected * 3 / 4 && wait <= expected * 5 / 4, "{wait:?} near {expected:?}");
                expected = (expected * 2).min(LONGEST);
            }
            assert_eq!(expected, LONGEST);
        }
    }

    #[test]
    fn chance_makes_waits_differ() {
        let waits = |seed| BackOff::new(fastrand::Rng::with_seed(seed)).after(Duration::ZERO);
        assert!((1..50).any(|seed| waits(seed) < FIRST) && (1..50).any(|seed| waits(seed) > FIRST));
        assert_eq!(waits(7), waits(7));
    }

    #[test]
    fn only_a_steady_connection_starts_over() {
        let mut waits = BackOff::new(fastrand::Rng::with_seed(1));
        for _ in 0..10 {
            waits.after(STEADY - Duration::from_millis(1));
        }
        assert!(waits.after(Duration::ZERO) >= LONGEST * 3 / 4);
        assert!(waits.after(STEADY) <= FIRST * 5 / 4);
    }
}
