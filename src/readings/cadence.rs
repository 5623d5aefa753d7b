//! How often a publisher publishes, and after which silence something is wrong with it.
//!
//! Moments of live messages enter; an age limit leaves, once enough intervals are known. Memory is fixed.

use std::time::Duration;

use super::Moment;

/// The intervals that are kept.
const KEPT: usize = 7;
/// With fewer intervals nothing is known.
const ENOUGH: usize = 3;
/// How many usual intervals may pass.
const MISSED: u32 = 3;
/// The limit is never shorter: a network may hold a message back for so long.
const SHORTEST: Duration = Duration::from_secs(10);
/// The limit is never longer.
const LONGEST: Duration = Duration::from_secs(24 * 3600);

/// The last intervals between messages.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Cadence {
    last: Option<Moment>,
    intervals: [Duration; KEPT],
    known: usize,
    /// Where the next interval goes.
    next: usize,
}

impl Cadence {
    /// Takes in a live message.
    pub fn heard(&mut self, now: Moment) {
        if let Some(last) = self.last.replace(now) {
            self.intervals[self.next] = now.since(last);
            self.next = (self.next + 1) % KEPT;
            self.known = (self.known + 1).min(KEPT);
        }
    }

    /// Three times the median of the last intervals, from ten seconds to a day; `None` before three are known. Of an even count the
    /// longer one of the two in the middle counts.
    pub fn limit(&self) -> Option<Duration> {
        if self.known < ENOUGH {
            return None;
        }
        let mut sorted = self.intervals;
        let sorted = &mut sorted[..self.known];
        sorted.sort_unstable();
        Some(sorted[self.known / 2].saturating_mul(MISSED).clamp(SHORTEST, LONGEST))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(moments: &[u64]) -> Option<u64> {
        let mut cadence = Cadence::default();
        moments.iter().for_each(|second| cadence.heard(Moment::at(Duration::from_secs(*second))));
        cadence.limit().map(|limit| limit.as_secs())
    }

    #[test]
    fn the_limit_is_three_usual_intervals() {
        assert_eq!(limit(&[]), None);
        assert_eq!(limit(&[0, 60, 120]), None);
        assert_eq!(limit(&[0, 60, 120, 180]), Some(180));
        assert_eq!(limit(&[0, 60, 120, 180, 240, 5000, 5001, 5061]), Some(180), "one outage and one early message");
        assert_eq!(limit(&[0, 60, 120, 180, 200, 220, 240, 260, 280]), Some(60), "only the last seven count");
    }

    #[test]
    fn the_limit_is_bounded() {
        assert_eq!(limit(&[0, 1, 2, 3]), Some(10));
        assert_eq!(limit(&[5, 5, 5, 5]), Some(10));
        assert_eq!(limit(&[0, 86_400, 172_800, 259_200]), Some(86_400));
        assert_eq!(limit(&[0, 0, u64::MAX, 0, u64::MAX, 0, u64::MAX]), Some(86_400));
    }
}
