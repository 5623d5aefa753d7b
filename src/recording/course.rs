//! A layout's course through a recording: the picture of any moment in it, forward and back, and what is to be said of the whole.
//!
//! What enters are a program and an [`Excerpt`]; what leaves are players at any moment, strips of states, sums and the wear of the panel. To go
//! back is to go on from a place before: some copies of the player are kept on the way, at most so far apart that what lies
//! between is soon played.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use super::{Entries, Excerpt, Player, Short, Strips, Tally, Wearing};
use crate::layout::Program;
use crate::panel::wear::Wear;
use crate::panel::{Error, SetupError};
use crate::readings::Moment;

/// A player of an excerpt.
pub type Run = Player<Entries, Infallible>;

/// The most copies of the player that are kept.
const MOST_COPIES: usize = 64;
/// The most steps of a course, each a message or a change of the picture by itself.
const MOST_STEPS: u64 = 4_000_000;
/// Between two looks at whether the work was given up.
const LOOK: u64 = 1024;

/// Why there is no course.
#[derive(Debug, thiserror::Error)]
pub enum CourseError {
    /// Nobody wants it any more.
    #[error("given up")]
    GivenUp,
    /// There is no panel of that size.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// The picture is for another panel.
    #[error(transparent)]
    Panel(#[from] Error),
}

/// A layout's course through a recording.
#[derive(Debug)]
pub struct Course {
    copies: Vec<Run>,
    end: Moment,
    strips: Strips,
    tally: Tally,
    wear: Wear,
    messages: u64,
    short: Option<Short>,
}

impl Course {
    /// Plays an excerpt to a program from its beginning to its end, on a panel of that contrast.
    ///
    /// # Errors
    /// [`CourseError`] where `given_up` says so, or where there is no panel for the program.
    pub fn follow(
        program: Arc<Program>,
        excerpt: &Arc<Excerpt>,
        contrast: u8,
        given_up: &dyn Fn() -> bool,
    ) -> Result<Self, CourseError> {
        Self::follow_within(program, excerpt, contrast, given_up, MOST_STEPS)
    }

    fn follow_within(
        program: Arc<Program>,
        excerpt: &Arc<Excerpt>,
        contrast: u8,
        given_up: &dyn Fn() -> bool,
        most: u64,
    ) -> Result<Self, CourseError> {
        let mut tally = Tally::new(&program)?;
        let mut run: Run = Player::new(Arc::clone(&program), excerpt.begun(), excerpt.entries());
        tally.see(run.now(), run.pane(), run.drawn())?;
        let mut strips = Strips::new(program.readings.len());
        let mut wearing = Wearing::new(&run, contrast);
        let mut copies = vec![run.clone()];
        let (mut steps, mut apart, mut short) = (0_u64, 1_u64, excerpt.short().cloned());
        while run.next_event().is_some() {
            if steps == most {
                short = Some(Short::Busy);
                break;
            }
            let Ok(_) = run.step();
            steps += 1;
            let now = run.now();
            tally.see(now, run.pane(), run.drawn())?;
            wearing.see(&run);
            for (reading, (_, known)) in run.pane().store().iter().enumerate() {
                strips.see(reading, known.state(now), now);
            }
            if steps.is_multiple_of(apart) {
                copies.push(run.clone());
            }
            if copies.len() > MOST_COPIES {
                // Each second one, so that they stay equally far apart.
                let mut place = 0;
                copies.retain(|_| {
                    place += 1;
                    place % 2 == 1
                });
                apart *= 2;
            }
            if steps.is_multiple_of(LOOK) && given_up() {
                return Err(CourseError::GivenUp);
            }
        }
        let end = run.now();
        strips.end(end);
        let messages = run.messages();
        Ok(Self { copies, end, strips, tally, wear: wearing.at(end), messages, short })
    }

    /// A player at a moment, at most the end; `current` is one that may be on the way.
    pub fn at(&self, to: Moment, current: Option<Run>) -> Run {
        let to = to.min(self.end);
        let place = self.copies.partition_point(|copy| copy.now() <= to);
        let copy = &self.copies[place.saturating_sub(1)];
        let nearer = current.filter(|current| copy.now() <= current.now() && current.now() <= to);
        let mut run = nearer.unwrap_or_else(|| copy.clone());
        let Ok(_) = run.go_to(to);
        run
    }

    /// How long it is.
    pub fn span(&self) -> Duration {
        self.end.since(Moment::default())
    }

    /// The states along it.
    pub fn strips(&self) -> &Strips {
        &self.strips
    }

    /// The sums at its end.
    pub fn tally(&self) -> &Tally {
        &self.tally
    }

    /// What it does to a new panel.
    pub fn wear(&self) -> &Wear {
        &self.wear
    }

    /// How many messages the layout listened to.
    pub fn messages(&self) -> u64 {
        self.messages
    }

    /// Why it is not the course through the whole recording, if it is not.
    pub fn short(&self) -> Option<&Short> {
        self.short.as_ref()
    }
}

#[cfg(test)]
mod tests {
    use std::io::{BufReader, Cursor};
    use std::path::Path;

    use proptest::prelude::*;

    use super::*;
    use crate::feed::{Delivery, Message};
    use crate::recording::{Entry, Header, Heard, Reader, Stamp, wear};
    use crate::service::compile;

    /// What has a memory: a window, a time since a change, turns of screens, a clock, a shift and a condition that waits.
    const LAYOUT: &str = "panel 128x32 shift: 1\n\
        reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 45s\n\
        reading door from: \"cellar/ripening/door\" pick: words(open: 1, closed: 0) stale: never\n\
        dim to: 20% when: door == 0\n\
        screen one for: 7s { text \"{temp:.1}° {clock(\"%H:%M:%S\")}\" size: 7 }\n\
        screen two for: 5s { text \"{highest(temp, 1h):.1}\" size: 12 }\n\
        screen late when: door == 1 { text \"open {time_since(door == 0)}\" size: 7 }\n";

    fn program() -> Arc<Program> {
        let loaded = compile(LAYOUT.as_bytes(), Path::new("door.layout"));
        loaded.program.clone().unwrap_or_else(|| panic!("{}", loaded.report(false)))
    }

    /// A recording: for each message the milliseconds since the one before, and what it is.
    fn entries(messages: &[(u64, u8)]) -> Vec<Entry> {
        let mut time: jiff::Timestamp = "2026-10-25T00:58:00Z".parse().unwrap();
        let each = messages.iter().map(|(apart, kind)| {
            time += Duration::from_millis(*apart);
            // The clocks go back at one o'clock in Greenwich.
            let hours = if time < "2026-10-25T01:00:00Z".parse().unwrap() { 2 } else { 1 };
            let at = Stamp { time, offset: jiff::tz::Offset::from_hours(hours).unwrap() };
            let (topic, payload) = match kind {
                0 => ("cellar/ripening/door", "open".to_string()),
                1 => ("cellar/ripening/door", "closed".to_string()),
                2 => ("cellar/brine/tank", "{}".to_string()),
                3 => return Entry { at, heard: Heard::Lost },
                4 => return Entry { at, heard: Heard::Subscribed },
                5 => ("cellar/ripening/climate", "damaged".to_string()),
                other => ("cellar/ripening/climate", format!("{}.5,91", other % 20)),
            };
            let topic = topic.to_string();
            let message =
                Message { topic, payload: payload.into(), retained: kind % 7 == 0, delivery: Delivery::AtMostOnce };
            Entry { at, heard: Heard::Message(message) }
        });
        each.collect()
    }

    fn begun() -> Stamp {
        Stamp { time: "2026-10-25T00:58:00Z".parse().unwrap(), offset: jiff::tz::Offset::from_hours(2).unwrap() }
    }

    fn course(entries: &[Entry], most: u64) -> Course {
        let header = Header { begun: begun(), filters: vec!["cellar/#".into()] };
        let lines = entries.iter().map(|entry| entry.to_line() + "\n").collect::<String>();
        let text = header.to_line() + "\n" + &lines;
        let Ok(mut reader) = Reader::new(BufReader::new(Cursor::new(text.into_bytes()))) else { panic!("no header") };
        let program = program();
        let filters: Vec<_> = program.readings.iter().map(|spec| spec.filter.clone()).collect();
        let excerpt = Arc::new(Excerpt::gather(&mut reader, &filters, &|| false).unwrap());
        Course::follow_within(program, &excerpt, 207, &|| false, most).unwrap()
    }

    fn player(entries: &[Entry]) -> Player<impl Iterator<Item = Result<Entry, Infallible>>, Infallible> {
        Player::new(program(), begun(), entries.iter().cloned().map(Ok))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn any_moment_is_the_one_of_a_replay_from_the_start_forward_and_back(
            messages in proptest::collection::vec((0..20_000_u64, 0..40_u8), 1..120),
            moments in proptest::collection::vec(0..1_500_000_u64, 1..20),
        ) {
            let entries = entries(&messages);
            let course = course(&entries, MOST_STEPS);
            let mut current = None;
            for moment in moments {
                let to = Moment::at(Duration::from_millis(moment)).min(course.end);
                let mut wanted = player(&entries);
                let Ok(_) = wanted.go_to(to);
                let run = course.at(to, current.take());
                prop_assert_eq!(run.frame(), wanted.frame());
                prop_assert_eq!((run.now(), run.civil(), run.is_linked()), (wanted.now(), wanted.civil(), wanted.is_linked()));
                prop_assert_eq!(run.pane().words(), wanted.pane().words());
                current = Some(run);
            }
            let Ok(worn) = wear(&mut player(&entries), 207);
            prop_assert_eq!(course.wear(), &worn);
        }
    }

    #[test]
    fn copies_are_bounded_and_equally_far_apart() {
        let entries = entries(&vec![(300, 7); 3000]);
        let course = course(&entries, MOST_STEPS);
        assert!((MOST_COPIES / 2..=MOST_COPIES).contains(&course.copies.len()), "{}", course.copies.len());
        let apart = course.copies.windows(2).map(|two| two[1].now().since(two[0].now())).max().unwrap();
        assert!(apart < course.span() / 25, "{apart:?} of {:?}", course.span());
        assert_eq!((course.messages(), course.short()), (3000, None));
    }

    #[test]
    fn a_course_has_an_end_whatever_happens() {
        let course = course(&entries(&[(20_000, 7); 100]), 150);
        assert_eq!(course.short(), Some(&Short::Busy));
        assert!(course.at(Moment::at(Duration::MAX), None).now() == course.end && course.span().as_secs() < 1000);
    }
}
