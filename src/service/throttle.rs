//! How often something may be said.
//!
//! What enters are occasions with their time; what leaves is whether to speak, and how many occasions went untold before. It
//! never speaks itself, and it remembers no more than a time and a number.

use std::time::Duration;

use crate::readings::Moment;

/// Lets one occasion through in each span of time, and a few at once after a quiet time.
#[derive(Clone, Debug)]
pub(super) struct Throttle {
    apart: Duration,
    /// How far the occasions let through may run ahead of one in each span.
    ahead: Duration,
    /// When the occasions let through would have been over, one in each span.
    paid: Moment,
    untold: u64,
}

impl Throttle {
    /// Lets one occasion through in each `apart`.
    pub const fn new(apart: Duration) -> Self {
        Self { apart, ahead: Duration::ZERO, paid: Moment::at(Duration::ZERO), untold: 0 }
    }

    /// The same, but `more` further ones at once after a quiet time.
    pub fn with_burst(apart: Duration, more: u32) -> Self {
        Self { ahead: apart * more, ..Self::new(apart) }
    }

    /// Whether to speak now; then with the number of occasions that went untold since the last time.
    pub fn admit(&mut self, now: Moment) -> Option<u64> {
        if now < self.next() {
            self.untold += 1;
            return None;
        }
        self.paid = self.paid.max(now) + self.apart;
        Some(std::mem::take(&mut self.untold))
    }

    /// From when on the next occasion will be told.
    pub fn next(&self) -> Moment {
        Moment::at(self.paid.since(Moment::default()).saturating_sub(self.ahead))
    }
}

/// What to append to a line that follows `untold` others that were not printed.
pub(super) fn untold(untold: u64, what: &str) -> String {
    match untold {
        0 => String::new(),
        1 => format!(" (1 {what} went untold)"),
        many => format!(" ({many} {what}s went untold)"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_in_ten_seconds_and_the_others_are_counted() {
        let at = |seconds| Moment::at(Duration::from_secs(seconds));
        let mut throttle = Throttle::new(Duration::from_secs(10));
        let told: Vec<_> = [0, 1, 9, 10, 15, 40].map(|second| throttle.admit(at(second))).into();
        assert_eq!(told, [Some(0), None, None, Some(2), None, Some(1)]);
        assert_eq!(
            [0, 1, 2].map(|count| untold(count, "time")),
            ["", " (1 time went untold)", " (2 times went untold)"]
        );
    }
}
