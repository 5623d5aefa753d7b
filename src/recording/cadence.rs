//! How often something is published: the usual interval, the longest, and the age limit that follows.
//!
//! What enters are the moments of live messages; what leaves are intervals. The median is taken of the last ones, whose number
//! is fixed.

use std::time::Duration;

use crate::readings::Moment;

/// Of so many intervals the median is taken.
const RECENT: usize = 31;
/// Age limits that people write, in seconds, with how they write them.
const USUAL: [(u64, &str); 20] = [
    (10, "10s"),
    (15, "15s"),
    (20, "20s"),
    (30, "30s"),
    (45, "45s"),
    (60, "1min"),
    (90, "90s"),
    (120, "2min"),
    (180, "3min"),
    (300, "5min"),
    (600, "10min"),
    (900, "15min"),
    (1200, "20min"),
    (1800, "30min"),
    (3600, "1h"),
    (7200, "2h"),
    (10_800, "3h"),
    (21_600, "6h"),
    (43_200, "12h"),
    (86_400, "24h"),
];

/// What is known of the intervals between messages.
#[derive(Clone, Debug, Default)]
pub struct Cadence {
    last: Option<Moment>,
    recent: Vec<Duration>,
    next: usize,
    intervals: u64,
    longest: Duration,
}

impl Cadence {
    /// Takes in a live message; gives the interval that it ended.
    pub fn heard(&mut self, now: Moment) -> Option<Duration> {
        let interval = now.since(self.last.replace(now)?);
        if self.recent.len() < RECENT {
            self.recent.push(interval);
        } else {
            self.recent[self.next] = interval;
            self.next = (self.next + 1) % RECENT;
        }
        self.intervals += 1;
        self.longest = self.longest.max(interval);
        Some(interval)
    }

    /// Counts no interval up to the next message.
    pub fn interrupt(&mut self) {
        self.last = None;
    }

    /// How many intervals there were.
    pub fn intervals(&self) -> u64 {
        self.intervals
    }

    /// The median of the last intervals; `None` before the first.
    pub fn usual(&self) -> Option<Duration> {
        let mut sorted = self.recent.clone();
        sorted.sort_unstable();
        sorted.get(sorted.len() / 2).copied()
    }

    /// The longest interval.
    pub fn longest(&self) -> Duration {
        self.longest
    }

    /// Whether messages come at intervals that are much alike, as those of a sensor that measures by the clock.
    pub fn is_regular(&self) -> bool {
        self.intervals >= 3 && self.usual().is_some_and(|usual| self.longest <= 4 * usual)
    }
}

/// An age limit of at least three usual intervals, and of more than the longest, rounded up to one that people write; `None`
/// where no cadence is known, or it is slower than that of a day.
pub fn long_enough(cadence: &Cadence) -> Option<(Duration, &'static str)> {
    let wanted = (3 * cadence.usual()?).max(cadence.longest() + cadence.longest() / 2);
    let usual = USUAL.iter().find(|(seconds, _)| Duration::from_secs(*seconds) >= wanted);
    usual.map(|(seconds, written)| (Duration::from_secs(*seconds), *written))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(seconds: &[u64]) -> Cadence {
        let mut cadence = Cadence::default();
        for second in seconds {
            cadence.heard(Moment::at(Duration::from_secs(*second)));
        }
        cadence
    }

    #[test]
    fn the_usual_interval_is_a_median_and_the_limit_is_one_that_people_write() {
        let cadence = heard(&[0, 4, 8, 13, 17, 40]);
        assert_eq!((cadence.usual(), cadence.longest()), (Some(Duration::from_secs(4)), Duration::from_secs(23)));
        assert_eq!(long_enough(&cadence).map(|(_, written)| written), Some("45s"));
        assert!(!cadence.is_regular());
        let limit = |seconds: &[u64]| long_enough(&heard(seconds)).map(|(_, written)| written);
        assert_eq!(limit(&[0, 1, 2, 3]), Some("10s"));
        assert_eq!(limit(&[0, 60, 120, 180]), Some("3min"));
        assert_eq!(limit(&[0, 61, 122, 183]), Some("5min"));
        assert_eq!(limit(&[0, 86_400, 172_800]), None);
        assert_eq!(limit(&[0]), None);
    }

    #[test]
    fn a_lost_connection_is_no_interval_and_memory_stays_small() {
        let mut cadence = heard(&[0, 10]);
        cadence.interrupt();
        assert_eq!(cadence.heard(Moment::at(Duration::from_secs(1000))), None);
        assert_eq!((cadence.intervals(), cadence.longest()), (1, Duration::from_secs(10)));
        for second in 0..1000 {
            cadence.heard(Moment::at(Duration::from_secs(1000 + second * 5)));
        }
        assert_eq!((cadence.recent.len(), cadence.usual()), (RECENT, Some(Duration::from_secs(5))));
    }
}
