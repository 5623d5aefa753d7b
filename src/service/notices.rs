//! What is worth saying about readings: when one cannot be believed any more, when it can be again, and when a number was rejected
//! although the reading stays as it is.
//!
//! What enters are the readings of a pane and the time; what leaves are [`Notice`]s, for each reading a few at first and then
//! at most one in ten seconds, and when the next one will be due. The last one said about a reading is always true in the end:
//! a change that came too soon is said later. Pure.

use std::fmt::{self, Write};
use std::time::Duration;

use super::throttle::{self, Throttle};
use crate::readings::{Moment, Publisher, Reading, ReadingSpec, State, Store};

/// How far apart notices about one reading are, after a few at once.
const APART: Duration = Duration::from_secs(10);
const BURST: u32 = 2;

/// A change of a reading's state, in words.
#[derive(Clone, Debug, PartialEq)]
pub struct Notice {
    /// The reading's name in its layout.
    pub reading: String,
    /// Its state now.
    pub state: State,
    /// Its number with the unit, or why it cannot be believed.
    pub detail: String,
    /// How many changes of its state went untold before this.
    pub untold: u64,
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let state = match self.state {
            State::Live => "live",
            State::Stale => "stale",
            State::Waiting => "waiting",
            State::Faulty => "faulty",
        };
        write!(f, "{} is {state}: {}{}", self.reading, self.detail, throttle::untold(self.untold, "change"))
    }
}

/// What has been said about the readings of one pane.
#[derive(Clone, Debug, Default)]
pub struct Notices {
    readings: Vec<Told>,
}

#[derive(Clone, Debug)]
struct Told {
    name: String,
    /// The state that was said last.
    said: State,
    /// The state at the last look.
    seen: State,
    /// How many times the state changed since something was said.
    changes: u64,
    /// How many jumps were rejected until something was said, and until the last look.
    jumps: (u64, u64),
    throttle: Throttle,
}

impl Notices {
    /// Begins with the readings of `store`; those of the same name before go on.
    pub fn follow(&mut self, store: &Store) {
        let mut before = std::mem::take(&mut self.readings);
        let told = |(spec, _): (&ReadingSpec, &Reading)| {
            let known = before.iter().position(|told| told.name == spec.name);
            known.map(|place| before.swap_remove(place)).unwrap_or_else(|| Told {
                name: spec.name.clone(),
                said: State::Waiting,
                seen: State::Waiting,
                changes: 0,
                jumps: (0, 0),
                throttle: Throttle::with_burst(APART, BURST),
            })
        };
        self.readings = store.iter().map(told).collect();
    }

    /// Looks at all readings and calls `say` for each that has something new.
    pub fn look(&mut self, store: &Store, now: Moment, say: &mut dyn FnMut(Notice)) {
        for (told, (spec, reading)) in self.readings.iter_mut().zip(store.iter()) {
            let state = reading.state(now);
            told.changes += u64::from(state != told.seen);
            told.seen = state;
            told.jumps.1 = reading.counts().jumps;
            if told.has_news() && told.throttle.admit(now).is_some() {
                let mut detail = detail(spec, reading, now);
                if let (true, Some(jump)) = (told.jumps.0 != told.jumps.1, reading.refused()) {
                    let _ = write!(detail, "; rejected: {jump}");
                }
                let changed = u64::from(state != told.said);
                told.said = state;
                told.jumps.0 = told.jumps.1;
                let untold = std::mem::take(&mut told.changes).saturating_sub(changed);
                say(Notice { reading: spec.name.clone(), state, detail, untold });
            }
        }
    }

    /// When something that came too soon is to be said.
    pub fn next_due(&self) -> Option<Moment> {
        self.readings.iter().filter(|told| told.has_news()).map(|told| told.throttle.next()).min()
    }
}

impl Told {
    /// Whether something has not been said. What went there and back in the meantime needs no words.
    fn has_news(&self) -> bool {
        self.said != self.seen || self.jumps.0 != self.jumps.1
    }
}

/// Why, or what.
fn detail(spec: &ReadingSpec, reading: &Reading, now: Moment) -> String {
    match (reading.state(now), reading.value(), reading.fault()) {
        (State::Live, Some(value), _) => format!("{value} {}", spec.unit).trim_end().to_string(),
        (_, _, Some(fault)) => fault.to_string(),
        (State::Stale, ..) if reading.publisher() == Publisher::Gone => "its publisher went offline".to_string(),
        (State::Stale, ..) if reading.publisher() == Publisher::Back => {
            "its publisher is online again and has sent no number yet".to_string()
        }
        (State::Stale, ..) => match reading.age_limit() {
            Some(limit) if reading.age(now).is_some() => format!("nothing came for more than {limit:?}"),
            _ => "kept by the broker, nobody knows for how long".to_string(),
        },
        _ => "nothing came yet".to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::Filter;
    use crate::readings::{Pick, Presence, Trust};
    use crate::units::lookup;

    fn store() -> Store {
        Store::new(vec![ReadingSpec {
            name: "temp".into(),
            filter: Filter::new("cellar/ripening/climate").unwrap(),
            presence: Some(Presence {
                topic: Filter::new("cellar/ripening/status").unwrap(),
                online: "online".into(),
                offline: "offline".into(),
            }),
            pick: Pick::number(),
            range: Some((-10.0, 40.0)),
            stale: Some(Duration::from_secs(45)),
            trust: Trust { jump: Some(2.0), ..Trust::PLAIN },
            unit: lookup("°C").unwrap(),
        }])
    }

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    /// What is said when these payloads come at these seconds, and at the moments that were asked for in between.
    fn said(events: &[(u64, &str, bool)], until: u64) -> Vec<(u64, String)> {
        let (mut store, mut notices, mut lines) = (store(), Notices::default(), Vec::new());
        notices.follow(&store);
        let mut events = events.iter().peekable();
        let mut now = at(0);
        loop {
            let due = [notices.next_due(), store.next_change(now), events.peek().map(|event| at(event.0))];
            now = match due.into_iter().flatten().min() {
                Some(due) if due <= at(until) => due,
                _ => return lines,
            };
            if let Some((_, payload, retained)) = events.next_if(|event| at(event.0) <= now) {
                store.accept("cellar/ripening/climate", payload.as_bytes(), *retained, now, &mut Vec::new());
            }
            let second = now.since(Moment::default()).as_secs();
            notices.look(&store, now, &mut |notice| lines.push((second, notice.to_string())));
        }
    }

    #[test]
    fn each_state_has_its_words() {
        let words = said(&[(1, "12.4", true), (20, "12.5", false), (100, "err", false), (120, "85", false)], 200);
        assert_eq!(
            words,
            [
                (1, "temp is stale: kept by the broker, nobody knows for how long".into()),
                (20, "temp is live: 12.5 °C".into()),
                (65, "temp is stale: nothing came for more than 45s".into()),
                (100, "temp is faulty: expected a number, found \"err\"".into()),
            ]
        );
    }

    #[test]
    fn a_rejected_jump_says_why() {
        let words = said(&[(0, "12.4", false), (4, "31", false), (20, "12.5", false)], 60);
        assert_eq!(
            words,
            [
                (0, "temp is live: 12.4 °C".into()),
                (4, "temp is live: 12.4 °C; rejected: 31.0 is too far from 12.4, more than 2.0 a minute".into()),
            ]
        );
    }

    #[test]
    fn a_publisher_that_went_says_so() {
        let (mut store, mut notices, mut words) = (store(), Notices::default(), Vec::new());
        notices.follow(&store);
        for (second, topic, payload) in [(1, "climate", "12.4"), (2, "status", "offline")] {
            let topic = format!("cellar/ripening/{topic}");
            store.accept(&topic, payload.as_bytes(), false, at(second), &mut Vec::new());
            notices.look(&store, at(second), &mut |notice| words.push(notice.to_string()));
        }
        assert_eq!(words, ["temp is live: 12.4 °C", "temp is stale: its publisher went offline"]);
    }

    #[test]
    fn a_reading_that_flickers_is_told_a_few_times_and_the_last_word_is_true() {
        let events: Vec<_> =
            (0..21).map(|second| (second, if second % 2 == 0 { "err" } else { "12.4" }, false)).collect();
        let words = said(&events, 40);
        assert_eq!(
            words,
            [
                (0, "temp is faulty: expected a number, found \"err\"".into()),
                (1, "temp is live: 12.4 °C".into()),
                (2, "temp is faulty: expected a number, found \"err\"".into()),
                (11, "temp is live: 12.4 °C (8 changes went untold)".into()),
                (20, "temp is faulty: expected a number, found \"err\" (8 changes went untold)".into()),
            ]
        );
    }

    #[test]
    fn what_came_too_soon_is_said_later() {
        let events = [(0, "err", false), (1, "12.4", false), (2, "err", false), (3, "12.4", false)];
        assert_eq!(said(&events, 30).last().unwrap(), &(10, "temp is live: 12.4 °C".into()));
    }

    #[test]
    fn a_swap_says_nothing_twice() {
        let (mut store, mut notices) = (store(), Notices::default());
        notices.follow(&store);
        store.accept("cellar/ripening/climate", b"err", false, at(1), &mut Vec::new());
        let mut count = 0;
        notices.look(&store, at(1), &mut |_| count += 1);
        notices.follow(&store);
        notices.look(&store, at(30), &mut |_| count += 1);
        assert_eq!((count, notices.next_due()), (1, None));
    }
}
