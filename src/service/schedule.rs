//! When something is done to a panel.
//!
//! What enters are outcomes with their time; what leaves is what to do, and when there will be something to do by itself. It knows
//! neither a panel nor a clock.

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

use crate::readings::Moment;

/// The wait after a failure; it doubles with each further one.
const FIRST_WAIT: Duration = Duration::from_millis(250);
/// No wait is longer, so that within two seconds after the end of all trouble the glass is right again: an attempt that began before may
/// take as long as an adapter waits for a stuck bus, which is a second on Linux (from memory), and drawing takes a tenth of one.
const LONGEST_WAIT: Duration = Duration::from_millis(750);

/// What to do to a panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Task {
    /// Make its glass equal to the newest frame.
    Update,
    /// The same, and send again all that it may have lost unnoticed.
    Refresh,
}

/// How often a panel is sent again what it may have lost unnoticed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refresh(Option<Duration>);

impl Refresh {
    /// Never: for a panel that loses nothing.
    pub const NEVER: Refresh = Refresh(None);
    /// The shortest period.
    pub const SHORTEST: Duration = Duration::from_secs(5);
    /// The longest period.
    pub const LONGEST: Duration = Duration::from_secs(24 * 3600);

    /// Once in each period.
    pub const fn every(period: Duration) -> Self {
        Refresh(Some(period))
    }
}

impl Default for Refresh {
    fn default() -> Self {
        Self::every(Duration::from_secs(60))
    }
}

/// Why a text is no period of refreshing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a panel is refreshed every 5s to 24h, or never: write for example 30s, 1min or never")]
pub struct RefreshError;

impl FromStr for Refresh {
    type Err = RefreshError;

    fn from_str(text: &str) -> Result<Self, RefreshError> {
        if text == "never" {
            return Ok(Self::NEVER);
        }
        let (number, unit) = text.split_at(text.find(|c: char| !c.is_ascii_digit()).ok_or(RefreshError)?);
        let number: u64 = number.parse().map_err(|_| RefreshError)?;
        let seconds = match unit {
            "s" => 1,
            "min" => 60,
            "h" => 3600,
            _ => return Err(RefreshError),
        };
        let period = Duration::from_secs(number.checked_mul(seconds).ok_or(RefreshError)?);
        if (Self::SHORTEST..=Self::LONGEST).contains(&period) { Ok(Self::every(period)) } else { Err(RefreshError) }
    }
}

impl fmt::Display for Refresh {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(seconds) = self.0.map(|period| period.as_secs()) else { return f.write_str("never") };
        match seconds {
            _ if seconds % 3600 == 0 => write!(f, "{}h", seconds / 3600),
            _ if seconds % 60 == 0 => write!(f, "{}min", seconds / 60),
            _ => write!(f, "{seconds}s"),
        }
    }
}

/// What is due to one panel.
#[derive(Clone, Copy, Debug)]
pub struct Schedule {
    refresh: Refresh,
    /// The last wait of the trouble that is not over.
    wait: Option<Duration>,
    /// In trouble the next attempt, else the next refresh.
    due: Option<Moment>,
}

impl Schedule {
    /// A panel to which nothing was done yet.
    pub fn new(refresh: Refresh) -> Self {
        Self { refresh, wait: None, due: None }
    }

    /// What to do now; `wanted` tells whether somebody waits for a picture. While there is trouble nobody is served early.
    pub fn task(&self, wanted: bool, now: Moment) -> Option<Task> {
        let due = self.due.is_some_and(|due| due <= now);
        match self.wait {
            Some(_) => due.then_some(Task::Update),
            None if due => Some(Task::Refresh),
            None => wanted.then_some(Task::Update),
        }
    }

    /// When there will be something to do although nobody wants anything.
    pub fn next_due(&self) -> Option<Moment> {
        self.due
    }

    /// Takes notice that the task was done at `now`.
    pub fn went_well(&mut self, task: Task, now: Moment) {
        // After trouble, and at the beginning, a panel is drawn whole.
        let all_sent = self.wait.take().is_some() || task == Task::Refresh || self.due.is_none();
        if all_sent {
            self.due = self.refresh.0.map(|period| now + period);
        }
    }

    /// Takes notice that it failed at `now`.
    pub fn failed(&mut self, now: Moment) {
        let wait = self.wait.map_or(FIRST_WAIT, |wait| (wait * 2).min(LONGEST_WAIT));
        (self.wait, self.due) = (Some(wait), Some(now + wait));
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn at(milliseconds: u64) -> Moment {
        Moment::at(Duration::from_millis(milliseconds))
    }

    #[test]
    fn without_trouble_what_is_wanted_is_done_at_once_and_a_refresh_comes_by_itself() {
        let mut schedule = Schedule::new(Refresh::every(Duration::from_secs(60)));
        assert_eq!((schedule.task(false, at(5)), schedule.next_due()), (None, None), "no wake-up before a picture");
        assert_eq!(schedule.task(true, at(5)), Some(Task::Update));
        schedule.went_well(Task::Update, at(100));
        schedule.went_well(Task::Update, at(30_000));
        assert_eq!(schedule.next_due(), Some(at(60_100)), "updates do not put it off");
        assert_eq!((schedule.task(false, at(60_099)), schedule.task(true, at(60_100))), (None, Some(Task::Refresh)));
        schedule.went_well(Task::Refresh, at(60_200));
        assert_eq!(schedule.next_due(), Some(at(120_200)));
        let mut never = Schedule::new(Refresh::NEVER);
        never.went_well(Task::Update, at(0));
        assert_eq!(never.next_due(), None);
    }

    #[test]
    fn waits_grow_to_a_bound_and_begin_anew_after_the_trouble() {
        let mut schedule = Schedule::new(Refresh::default());
        let mut waits = Vec::new();
        for _ in 0..5 {
            schedule.failed(at(1000));
            waits.push(schedule.next_due().unwrap().since(at(1000)).as_millis());
        }
        assert_eq!(waits, [250, 500, 750, 750, 750]);
        assert_eq!(schedule.task(true, at(1749)), None, "a new picture waits as well");
        assert_eq!(schedule.task(false, at(1750)), Some(Task::Update));
        schedule.went_well(Task::Update, at(1800));
        assert_eq!(schedule.next_due(), Some(at(61_800)), "it was drawn whole");
        schedule.failed(at(2000));
        assert_eq!(schedule.next_due(), Some(at(2250)));
    }

    #[test]
    fn periods_read_and_print() {
        for text in ["5s", "90s", "1min", "45min", "24h", "never"] {
            assert_eq!(text.parse::<Refresh>().unwrap().to_string(), text);
        }
        assert_eq!("120s".parse::<Refresh>().unwrap().to_string(), "2min");
        assert_eq!(Refresh::default().to_string(), "1min");
        for text in
            ["", "4s", "25h", "60", "1 min", "min", "-1min", "1.5min", "99999999999999999999s", "5124095576030432h"]
        {
            assert_eq!(text.parse::<Refresh>(), Err(RefreshError), "{text}");
        }
    }

    proptest! {
        /// Whatever happens, there is never a hurry: at most three attempts, and then one in each longest wait.
        #[test]
        fn failures_are_never_followed_at_full_speed(took in proptest::collection::vec(0u64..2000, 1..100)) {
            let mut schedule = Schedule::new(Refresh::default());
            let mut now = at(0);
            for (attempt, took) in took.iter().enumerate() {
                let task = schedule.task(true, now);
                prop_assert!(task.is_some());
                now = now + Duration::from_millis(*took);
                schedule.failed(now);
                let due = schedule.next_due().unwrap();
                let least = if attempt < 2 { FIRST_WAIT } else { LONGEST_WAIT };
                prop_assert!(due.since(now) >= least);
                prop_assert_eq!(schedule.task(true, now), None);
                now = due;
            }
        }

        #[test]
        fn no_text_panics(text in any::<String>()) {
            let _ = text.parse::<Refresh>();
        }
    }
}
