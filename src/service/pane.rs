//! One layout at work: its readings, and the picture they give.
//!
//! What enters are messages, new programs and the time; what leaves are a frame, whether it changed, and when it will change
//! by itself. Pure: no clock, no file, no socket. After the first picture a message allocates nothing here.

use std::sync::Arc;

use jiff::ZonedDateTime;

use crate::draw::Frame;
use crate::feed::Message;
use crate::formulas::Evaluated;
use crate::layout::{Brightness, Program, Renderer, Said};
use crate::readings::history::{History, Lookback, Stored};
use crate::readings::{Event, Moment, Outcome, Reading, State, Store};

/// The readings of a layout and the picture that they give.
#[derive(Clone, Debug)]
pub struct Pane {
    store: Store,
    renderer: Renderer,
    outcomes: Vec<Outcome>,
    /// Up to when the renderer knows of readings that changed by growing old.
    looked: Moment,
}

impl Pane {
    /// A pane for `program` with every reading waiting; the frame is dark until [`update`](Self::update).
    pub fn new(program: Arc<Program>, now: Moment) -> Self {
        let store = Store::new(program.readings.clone());
        Self { store, renderer: Renderer::new(program, now), outcomes: Vec::new(), looked: now }
    }

    /// Gives a message to the readings that listen to its topic, and tells what came of it for each.
    pub fn accept(&mut self, message: &Message, now: Moment) -> &[Outcome] {
        self.store.accept(&message.topic, &message.payload, message.retained, now, &mut self.outcomes);
        for outcome in &self.outcomes {
            let Some(reading) = self.store.reading(outcome.reading) else { continue };
            let seen = evaluated(reading, now);
            if outcome.changed {
                self.renderer.set(outcome.reading, seen);
            }
            if outcome.event == Event::Rejected {
                self.renderer.set_rejects(outcome.reading, reading.counts().rejected());
            }
            // Of a message that the broker had kept nobody knows when it was said.
            let is_new = outcome.event == Event::Accepted && reading.age(now).is_some();
            if is_new && seen.state == State::Live {
                self.renderer.hear(outcome.reading, seen.number, now);
            }
        }
        &self.outcomes
    }

    /// Brings states and picture up to date, and tells whether a pixel may have changed.
    ///
    /// `time` is the civil time of the place, which clocks show.
    pub fn update(&mut self, now: Moment, time: &ZonedDateTime) -> bool {
        for place in self.store.changed_since(self.looked, now) {
            if let Some(reading) = self.store.reading(place) {
                self.renderer.set(place, evaluated(reading, now));
            }
        }
        self.looked = now;
        self.renderer.set_time(now, time.clone());
        self.renderer.draw(now)
    }

    /// Takes whether the broker is connected.
    pub fn set_link(&mut self, linked: bool) {
        self.renderer.set_link(linked);
    }

    /// When the picture may change although no message comes, after the last [`update`](Self::update); `None` if it will not.
    pub fn next_change(&self) -> Option<Moment> {
        self.store.next_change(self.looked).into_iter().chain(self.renderer.next_change()).min()
    }

    /// Goes on with another program. Readings that listen to the same topics with the same pick keep number, state and age.
    pub fn swap(&mut self, program: Arc<Program>, now: Moment) {
        let mut next = Self::new(program, now);
        next.store.carry_over(&self.store);
        next.renderer.carry_over(&self.renderer);
        for (place, (_, reading)) in next.store.iter().enumerate() {
            next.renderer.set(place, evaluated(reading, now));
            next.renderer.set_rejects(place, reading.counts().rejected());
        }
        *self = next;
    }

    /// The windows of the past, to be stored.
    pub fn windows(&self) -> impl Iterator<Item = (&Lookback, &History)> {
        self.renderer.windows()
    }

    /// Goes on with windows that were stored, before anything is heard; `time` is the civil time. Tells how many go on.
    pub fn recall(&mut self, stored: &Stored, now: Moment, time: &ZonedDateTime) -> usize {
        self.renderer.recall(stored, now, time)
    }

    /// The readings.
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// The program that runs.
    pub fn program(&self) -> &Arc<Program> {
        self.renderer.program()
    }

    /// The renderer with all that it remembers, from which another picture of the same moment can go on.
    #[cfg(feature = "preview")]
    pub fn renderer(&self) -> &Renderer {
        &self.renderer
    }

    /// The picture as of the last [`update`](Self::update).
    pub fn frame(&self) -> &Frame {
        self.renderer.frame()
    }

    /// How bright the panel is to be.
    pub fn brightness(&self) -> Brightness {
        self.renderer.brightness()
    }

    /// The name of the screen that is shown, if any is.
    pub fn screen(&self) -> Option<&str> {
        self.renderer.screen()
    }

    /// What the picture says.
    pub fn words(&self) -> Vec<Said> {
        self.renderer.words()
    }
}

/// A reading as elements see it.
fn evaluated(reading: &Reading, now: Moment) -> Evaluated {
    let state = reading.state(now);
    match reading.value() {
        Some(value) => Evaluated::new(value, state),
        None if state == State::Waiting => Evaluated::WAITING,
        None => Evaluated::FAULTY,
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use std::time::Duration;

    use jiff::civil::DateTime;

    use super::*;
    use crate::feed::Delivery;
    use crate::language::clock;
    use crate::readings::history::encode;
    use crate::service::compile;

    fn noon() -> ZonedDateTime {
        clock::greenwich(DateTime::constant(2026, 11, 25, 12, 0, 0, 0))
    }

    const DOOR: &str = include_str!("../../layouts/ripening-door.layout");

    fn program(text: &str) -> Arc<Program> {
        let loaded = compile(text.as_bytes(), Path::new("test.layout"));
        loaded.program.clone().unwrap_or_else(|| panic!("{}", loaded.report(false)))
    }

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    fn message(payload: &str) -> Message {
        Message {
            topic: "cellar/ripening/climate".into(),
            payload: payload.into(),
            retained: false,
            delivery: Delivery::AtMostOnce,
        }
    }

    fn texts(pane: &Pane) -> Vec<(String, State)> {
        pane.words().into_iter().filter(|said| said.kind == "text").map(|said| (said.content, said.state)).collect()
    }

    #[test]
    fn a_message_changes_the_picture_and_silence_changes_it_again() {
        let mut pane = Pane::new(program(DOOR), at(0));
        assert!(pane.update(at(0), &noon()));
        assert_eq!(pane.next_change(), None);
        assert_eq!(pane.accept(&message("12.4,91.0"), at(5)).len(), 2);
        assert!(pane.update(at(5), &noon()));
        assert_eq!(texts(&pane), [("12.4°".into(), State::Live), ("91%".into(), State::Live)]);
        assert!(!pane.update(at(20), &noon()), "nothing changed");
        let due = pane.next_change().unwrap();
        assert_eq!(due, at(50) + Duration::from_nanos(1));
        assert!(!pane.update(at(50), &noon()) && pane.update(due, &noon()));
        assert_eq!(texts(&pane), [("12.4°".into(), State::Stale), ("91%".into(), State::Stale)]);
        assert_eq!(pane.next_change(), None, "no more wake-ups");
        // The same number again, as a live one.
        pane.accept(&message("12.4,91.0"), at(70));
        assert!(pane.update(at(70), &noon()));
        assert_eq!(texts(&pane)[0].1, State::Live);
    }

    #[test]
    fn a_reading_that_came_and_grew_old_between_two_looks_is_stale() {
        let mut pane = Pane::new(program(DOOR), at(0));
        pane.update(at(0), &noon());
        pane.accept(&message("12.4,91.0"), at(5));
        pane.update(at(100), &noon());
        assert_eq!(texts(&pane)[0], ("12.4°".into(), State::Stale));
    }

    #[test]
    fn readings_keep_their_values_and_ages_across_a_swap() {
        let mut pane = Pane::new(program(DOOR), at(0));
        pane.update(at(0), &noon());
        pane.accept(&message("12.4,err"), at(5));
        pane.update(at(5), &noon());
        pane.swap(program(&DOOR.replace("{temp:.1}°", "{temp:.0}°C")), at(30));
        assert!(pane.update(at(30), &noon()));
        assert_eq!(texts(&pane)[0], ("12°C".into(), State::Live));
        assert_eq!(texts(&pane)[1].1, State::Faulty);
        assert_eq!(pane.next_change(), Some(at(50) + Duration::from_nanos(1)));
    }

    #[test]
    fn while_a_screen_takes_over_no_turn_wakes_it() {
        let layout = "panel 128x32\nreading door from: \"cellar/ripening/door\" pick: words(open: 1, closed: 0) range: 0..1\n\
                      screen a for: 5s { text \"a\" }\nscreen b for: 5s { text \"b\" }\n\
                      screen open when: door == 1 { text \"open\" }\n";
        let door = |payload: &str| Message { topic: "cellar/ripening/door".into(), ..message(payload) };
        let mut pane = Pane::new(program(layout), at(0));
        pane.update(at(0), &noon());
        assert_eq!((pane.screen(), pane.next_change()), (Some("a"), Some(at(5))));
        pane.accept(&door("open"), at(3));
        pane.update(at(3), &noon());
        pane.update(at(5), &noon());
        // Only the reading's own age, five minutes unless the layout says otherwise.
        let old = at(303) + Duration::from_nanos(1);
        assert_eq!((pane.screen(), pane.next_change()), (Some("open"), Some(old)));
        pane.accept(&door("closed"), at(12));
        pane.update(at(12), &noon());
        assert_eq!((pane.screen(), pane.next_change()), (Some("a"), Some(at(15))));
    }

    const PAST: &str = "panel 128x32\n\
        reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 2min\n\
        screen s { text \"{highest(temp, 10min):.1} {age(temp)}\" size: 9 }\n";

    #[test]
    fn an_age_grows_by_itself_and_wakes_no_more_often_than_it_changes() {
        let mut pane = Pane::new(program(PAST), at(0));
        pane.update(at(0), &noon());
        pane.accept(&message("12.4,91.0"), at(100));
        pane.update(at(100), &noon());
        assert_eq!(texts(&pane)[0].0, "12.4 0 s");
        let mut now = at(100);
        let mut wakes = 0;
        while now < at(100 + 600) {
            now = pane.next_change().unwrap();
            pane.update(now, &noon());
            wakes += 1;
        }
        // A wake a second for a minute, one in ten seconds for nine minutes, and the window's parts, of 4.2 seconds each.
        assert!((60 + 54..60 + 54 + 150).contains(&wakes), "{wakes} wakes");
        assert_eq!(texts(&pane)[0], ("12.4 10 min".into(), State::Stale));
    }

    #[test]
    fn a_kept_message_has_no_age_and_no_place_in_the_past() {
        let mut pane = Pane::new(program(&PAST.replace("stale: 2min", "stale: never")), at(0));
        pane.accept(&Message { retained: true, ..message("12.4,91.0") }, at(5));
        pane.update(at(5), &noon());
        assert_eq!(texts(&pane)[0], ("––.– ––".into(), State::Waiting));
    }

    #[test]
    fn a_condition_is_remembered_across_a_swap() {
        let layout = "panel 128x32\nreading door from: \"cellar/ripening/door\" pick: words(open: 1, closed: 0) stale: never\n\
                      screen s { text \"{time_since(door == 1)}\" size: 9 }\n";
        let door = |payload: &str| Message { topic: "cellar/ripening/door".into(), ..message(payload) };
        let mut pane = Pane::new(program(layout), at(0));
        for (payload, second) in [("open", 10), ("closed", 20)] {
            pane.accept(&door(payload), at(second));
            pane.update(at(second), &noon());
        }
        pane.swap(program(&layout.replace("size: 9", "size: 12")), at(40));
        pane.update(at(45), &noon());
        assert_eq!(texts(&pane)[0], ("25 s".into(), State::Live));
    }

    #[test]
    fn a_window_forgets_and_survives_a_swap() {
        let mut pane = Pane::new(program(PAST), at(0));
        pane.update(at(0), &noon());
        for (second, payload) in [(10, "18.0,1"), (300, "12.0,1"), (580, "13.0,1")] {
            pane.accept(&message(payload), at(second));
            pane.update(at(second), &noon());
        }
        assert!(texts(&pane)[0].0.starts_with("18.0"));
        pane.swap(program(&PAST.replace("size: 9", "size: 12")), at(590));
        pane.update(at(590), &noon());
        assert!(texts(&pane)[0].0.starts_with("18.0"), "{:?}", texts(&pane));
        pane.accept(&message("13.0,1"), at(640));
        pane.update(at(640), &noon());
        assert!(texts(&pane)[0].0.starts_with("13.0"), "{:?}", texts(&pane));
    }

    #[test]
    fn a_past_that_was_stored_is_old_until_something_is_heard() {
        let mut pane = Pane::new(program(PAST), at(0));
        pane.update(at(0), &noon());
        pane.accept(&message("18.0,1"), at(400));
        let written: Duration = noon().timestamp().as_duration().try_into().unwrap();
        let stored = Stored::decode(&encode(pane.windows(), at(500), written).0).unwrap();
        // A minute later, in a program that has just begun.
        let mut pane = Pane::new(program(PAST), at(0));
        assert_eq!(pane.recall(&stored, at(0), &(noon() + Duration::from_secs(60))), 1);
        pane.update(at(0), &noon());
        assert_eq!(texts(&pane)[0], ("18.0 ––".into(), State::Waiting));
        pane.accept(&message("12.0,1"), at(1));
        pane.update(at(1), &noon());
        assert_eq!(texts(&pane)[0], ("18.0 0 s".into(), State::Live));
        // Heard 160 s before the start, it leaves a window of ten minutes between 440 s and a part more after it.
        pane.update(at(439), &noon());
        assert!(texts(&pane)[0].0.starts_with("18.0"), "{:?}", texts(&pane));
        pane.update(at(445), &noon());
        assert!(texts(&pane)[0].0.starts_with("12.0"), "{:?}", texts(&pane));
    }
}
