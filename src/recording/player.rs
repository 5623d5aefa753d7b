//! A recording played to a layout under the recording's own time.
//!
//! What enters are a program and entries in the order of their times; what leaves are the moments at which something happens and the
//! picture after each. It does what the service does with live messages, and never waits: equal entries give equal pictures.

use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;
use jiff::{SignedDuration, Timestamp};

use super::entry::{Entry, Heard, Stamp};
use crate::draw::Frame;
use crate::feed::{Delivery, Message};
use crate::layout::Program;
use crate::readings::Moment;
use crate::service::Pane;

/// A payload that was dropped unseen is judged by its size alone, of which no more than this is made up.
const LARGEST_STAND_IN: usize = 2 << 20;

/// A layout at work on a recording; a copy of it goes on from the same moment. Its clock begins at zero with the recording's first line.
#[derive(Clone, Debug)]
pub struct Player<I, E> {
    pane: Pane,
    entries: I,
    /// The next entry, or why there is none.
    ahead: Option<Result<Entry, E>>,
    begun: Timestamp,
    /// The offset of the civil time as of the last entry.
    stamp: Stamp,
    now: Moment,
    drawn: bool,
    messages: u64,
}

impl<E, I: Iterator<Item = Result<Entry, E>>> Player<I, E> {
    /// A player at the beginning of a recording that began at `begun`; every reading waits.
    pub fn new(program: Arc<Program>, begun: Stamp, mut entries: I) -> Self {
        let start = Moment::default();
        let mut pane = Pane::new(program, start);
        let drawn = pane.update(start, &begun.civil());
        let ahead = entries.next();
        Self { pane, entries, ahead, begun: begun.time, stamp: begun, now: start, drawn, messages: 0 }
    }

    /// When the next thing happens: an entry, or a picture that changes by itself before it. `None` once the entries are over, and
    /// where the next one cannot be read, which [`step`](Self::step) tells.
    pub fn next_event(&self) -> Option<Moment> {
        let Some(Ok(entry)) = &self.ahead else { return None };
        let heard = self.moment(entry.at.time);
        Some(self.own_change().map_or(heard, |change| change.min(heard)))
    }

    /// Goes to the next event and takes it in; gives its moment, or `None` at the end.
    ///
    /// # Errors
    /// That of an entry that cannot be read.
    pub fn step(&mut self) -> Result<Option<Moment>, E> {
        let Some(due) = self.next_event() else {
            return match self.ahead.take() {
                Some(Err(problem)) => Err(problem),
                _ => Ok(None),
            };
        };
        let heard = match &self.ahead {
            Some(Ok(entry)) => self.moment(entry.at.time) <= due,
            _ => false,
        };
        self.now = due;
        if heard && let Some(Ok(entry)) = std::mem::replace(&mut self.ahead, self.entries.next()) {
            self.stamp = entry.at;
            self.take(entry.heard);
        }
        self.update();
        Ok(Some(due))
    }

    /// Goes through everything up to `to`, and to `to` itself; tells whether the picture may be another than before.
    ///
    /// # Errors
    /// That of an entry that cannot be read.
    pub fn go_to(&mut self, to: Moment) -> Result<bool, E> {
        let mut drawn = false;
        while self.next_event().is_some_and(|due| due <= to) {
            self.step()?;
            drawn |= self.drawn;
        }
        if let Some(Err(_)) = self.ahead {
            self.step()?;
        }
        if self.now < to {
            self.now = to;
            self.update();
            drawn |= self.drawn;
        }
        Ok(drawn)
    }

    fn take(&mut self, heard: Heard) {
        let message = match heard {
            Heard::Message(message) => message,
            Heard::Oversized { topic, bytes } => {
                let payload = vec![0; bytes.min(LARGEST_STAND_IN)];
                Message { topic, payload, retained: false, delivery: Delivery::AtMostOnce }
            }
            Heard::Subscribed => return self.pane.set_link(true),
            Heard::Lost => return self.pane.set_link(false),
            Heard::Ended => return,
        };
        self.messages += 1;
        self.pane.accept(&message, self.now);
    }

    fn update(&mut self) {
        self.drawn = self.pane.update(self.now, &self.civil());
    }

    /// The first change without a message; never at a moment that has been.
    fn own_change(&self) -> Option<Moment> {
        self.pane.next_change().map(|change| change.max(self.now + Duration::from_nanos(1)))
    }

    /// The moment of a time of the recording; never before the present one.
    fn moment(&self, time: Timestamp) -> Moment {
        let passed = time.duration_since(self.begun).max(SignedDuration::ZERO).unsigned_abs();
        Moment::at(passed).max(self.now)
    }

    /// What clocks show now.
    pub fn civil(&self) -> ZonedDateTime {
        let passed = SignedDuration::try_from(self.now.since(Moment::default())).unwrap_or(SignedDuration::MAX);
        let time = self.begun.checked_add(passed).unwrap_or(Timestamp::MAX);
        Stamp { time, ..self.stamp }.civil()
    }

    /// How far it has got.
    pub fn now(&self) -> Moment {
        self.now
    }

    /// Whether the last step may have changed the picture.
    pub fn drawn(&self) -> bool {
        self.drawn
    }

    /// Whether the recorder was connected; it is taken to have been before the recording says otherwise.
    pub fn is_linked(&self) -> bool {
        self.pane.renderer().is_linked()
    }

    /// How many messages were played.
    pub fn messages(&self) -> u64 {
        self.messages
    }

    /// The layout at work.
    pub fn pane(&self) -> &Pane {
        &self.pane
    }

    /// The picture.
    pub fn frame(&self) -> &Frame {
        self.pane.frame()
    }

    /// The entries, to ask them how they ended.
    pub fn entries(&self) -> &I {
        &self.entries
    }
}

#[cfg(test)]
mod tests {
    use std::convert::Infallible;
    use std::path::Path;

    use jiff::tz::Offset;

    use super::*;
    use crate::readings::State;

    const DOOR: &str = "panel 128x32\n\
        reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 45s\n\
        screen s { text \"{temp:.1}° {clock(\"%H:%M\")}\" size: 12 }\n";

    fn program() -> Arc<Program> {
        let loaded = crate::service::compile(DOOR.as_bytes(), Path::new("door.layout"));
        loaded.program.clone().unwrap_or_else(|| panic!("{}", loaded.report(false)))
    }

    fn stamp(second: i64) -> Stamp {
        // A quarter to midnight, an hour ahead of Greenwich.
        let time = Timestamp::from_second(1_795_646_700 + second).unwrap();
        Stamp { time, offset: Offset::from_seconds(3600).unwrap() }
    }

    fn heard(second: i64, payload: &str) -> Result<Entry, Infallible> {
        let topic = "cellar/ripening/climate".into();
        let payload = payload.as_bytes().to_vec();
        let message = Message { topic, payload, retained: false, delivery: Delivery::AtMostOnce };
        Ok(Entry { at: stamp(second), heard: Heard::Message(message) })
    }

    fn ended(second: i64) -> Result<Entry, Infallible> {
        Ok(Entry { at: stamp(second), heard: Heard::Ended })
    }

    fn player(
        entries: Vec<Result<Entry, Infallible>>,
    ) -> Player<std::vec::IntoIter<Result<Entry, Infallible>>, Infallible> {
        Player::new(program(), stamp(0), entries.into_iter())
    }

    fn text<I: Iterator<Item = Result<Entry, Infallible>>>(player: &Player<I, Infallible>) -> (String, State) {
        let said = player.pane().words().remove(0);
        (said.content, said.state)
    }

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    #[test]
    fn messages_silence_and_the_clock_are_events_in_their_order() {
        let mut player = player(vec![heard(70, "12.4,91"), ended(130)]);
        let start = player.civil().time();
        assert_eq!((start.hour(), start.minute()), (23, 45));
        let mut events = Vec::new();
        while let Some(moment) = player.step().unwrap() {
            events.push((moment, text(&player)));
        }
        let live = |clock: &str| (format!("12.4° {clock}"), State::Live);
        let stale = |clock: &str| (format!("12.4° {clock}"), State::Stale);
        assert_eq!(
            events,
            [
                (at(60), ("––.–° 23:46".into(), State::Waiting)),
                (at(70), live("23:46")),
                (at(115) + Duration::from_nanos(1), stale("23:46")),
                (at(120), stale("23:47")),
                (at(130), stale("23:47")),
            ]
        );
        assert_eq!((player.next_event(), player.messages()), (None, 1));
    }

    #[test]
    fn to_go_to_a_time_is_to_step_there() {
        let entries = || vec![heard(10, "12.4,91"), heard(20, "13.1,91"), ended(100)];
        let (mut one, mut other) = (player(entries()), player(entries()));
        assert!(one.go_to(at(66)).unwrap());
        while other.next_event().is_some_and(|due| due <= at(66)) {
            other.step().unwrap();
        }
        assert_eq!((one.frame(), text(&one)), (other.frame(), ("13.1° 23:46".into(), State::Stale)));
        assert_eq!(one.now(), at(66));
        assert!(!one.go_to(at(90)).unwrap());
    }

    #[test]
    fn what_cannot_be_read_ends_it() {
        let entries = vec![Ok(heard(10, "12.4,91").unwrap()), Err("line 3"), Ok(ended(100).unwrap())];
        let mut player = Player::new(program(), stamp(0), entries.into_iter());
        assert_eq!(player.step(), Ok(Some(at(10))));
        assert_eq!(player.go_to(at(50)), Err("line 3"));
    }
}
