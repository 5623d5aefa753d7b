//! Running a program: readings in, a frame out, and only what changed is drawn again.
//!
//! What enters are numbers with their states, and the time; what leaves is the frame, whether it changed, and when it will
//! change by itself.

use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;

use crate::draw::Frame;
use crate::formulas::{Compiled, Evaluated, Given};
use crate::language::clock;
use crate::readings::history::{History, Lookback, PARTS, Span as Window, Stored};
use crate::readings::{Moment, State};

use super::brightness::Brightness;
use super::observer::Observer;
use super::past::ComputedPast;
use super::picture::{Known, Picture, Said};
use super::program::{Inputs, Program, Screen};

/// A program with the state of its readings and the picture that they give.
#[derive(Clone, Debug)]
pub struct Renderer {
    program: Arc<Program>,
    readings: Vec<Evaluated>,
    values: Vec<Evaluated>,
    observer: Observer,
    /// The civil time as it was told last, and when that was.
    time: (Moment, ZonedDateTime),
    /// The readings, and what is observed of them, that changed since the last picture.
    changed: Inputs,
    picture: Picture,
    /// The screen that the picture shows; none before the first picture, or while no screen's condition holds.
    screen: Option<usize>,
    /// The screen whose turn it is, and since when.
    turn: (usize, Moment),
    /// What has to be looked at while each screen is shown, and last, while none is.
    watched: Vec<Inputs>,
    /// The pasts of values, each after those that it may look back at.
    computed_pasts: Vec<ComputedPast>,
    drawn_once: bool,
    brightness: Brightness,
}

impl Renderer {
    /// A renderer for `program` with every reading waiting; the frame is dark until [`draw`](Self::draw).
    pub fn new(program: Arc<Program>, now: Moment) -> Self {
        let mut changed = Inputs::default();
        (0..program.readings.len() + program.observed.len() + program.histories.len())
            .for_each(|index| changed.insert(index));
        let first = program.screens.iter().position(|screen| screen.when.is_none()).unwrap_or(0);
        Self {
            readings: vec![Evaluated::WAITING; program.readings.len()],
            values: vec![Evaluated::WAITING; program.values.len()],
            observer: Observer::new(&program),
            time: (now, clock::unset()),
            changed,
            picture: Picture::new(program.size),
            screen: None,
            turn: (first, now),
            watched: (0..=program.screens.len()).map(|screen| program.watched(screen)).collect(),
            computed_pasts: program.computed_pasts(),
            drawn_once: false,
            brightness: Brightness::FULL,
            program,
        }
    }

    /// The program that runs.
    pub fn program(&self) -> &Arc<Program> {
        &self.program
    }

    /// The picture as of the last [`draw`](Self::draw).
    pub fn frame(&self) -> &Frame {
        self.picture.frame()
    }

    /// The name of the screen that is shown, if any is.
    pub fn screen(&self) -> Option<&str> {
        self.screen.map(|index| self.program.screens[index].name.as_str())
    }

    /// How bright the panel is to be, as of the last [`draw`](Self::draw).
    pub fn brightness(&self) -> Brightness {
        self.brightness
    }

    /// Takes a reading's number and state; the next [`draw`](Self::draw) shows them.
    pub fn set(&mut self, index: usize, value: Evaluated) {
        if self.readings[index] != value {
            self.readings[index] = value;
            self.changed.insert(index);
        }
    }

    /// Takes a good number as one that was heard at `now`: it becomes part of the reading's past.
    pub fn hear(&mut self, index: usize, number: f64, now: Moment) {
        self.observer.hear(&self.program, index, number, now, &self.time.1);
    }

    /// Gives the readings a past, for a picture of it: to each its numbers, evenly spread over the longest window that looks back at it, oldest
    /// first, `None` for a silence; and when they end. They are heard before anything else is, by readings that were set before.
    pub fn remember(&mut self, pasts: &[(&[Option<f64>], Moment)]) {
        let mut heard = Vec::new();
        for (reading, (numbers, end)) in pasts.iter().enumerate() {
            let windows = self.program.histories.iter().filter(|past| past.readings.contains(reading));
            let lengths = windows.map(|past| match past.lookback.span {
                Window::Last(length) => length,
                Window::Today => Duration::from_secs(24 * 3600),
            });
            let Some(longest) = lengths.max() else { continue };
            // Often enough that none of them grows old before the next one.
            let parts = PARTS as u32;
            for part in 0..parts {
                let ago = longest / parts * (parts - part) - longest / (2 * parts);
                if let Some(Some(number)) = numbers.get(part as usize * numbers.len() / PARTS) {
                    heard.push((Moment::at(end.since(Moment::at(ago))), reading, *number));
                }
            }
        }
        heard.sort_unstable_by_key(|(when, reading, _)| (*when, *reading));
        for together in heard.chunk_by(|one, next| one.0 == next.0) {
            for (when, reading, number) in together {
                self.hear(*reading, *number, *when);
                self.set(*reading, Evaluated::new(*number, State::Live));
            }
            if !self.computed_pasts.is_empty() {
                self.bring_up_to_date(together[0].0);
            }
        }
    }

    /// Goes on with what another renderer knows of the same numbers: of readings of the same topics with the same pick, and of values that are
    /// computed from them in the same way.
    pub fn carry_over(&mut self, old: &Renderer) {
        self.observer.carry_over(&self.program, &old.observer, &old.program);
    }

    /// The windows of the past, to be stored.
    pub fn windows(&self) -> impl Iterator<Item = (&Lookback, &History)> {
        self.observer.windows(&self.program)
    }

    /// Goes on with windows that were stored, before anything is heard; `time` is the civil time. Tells how many go on.
    pub fn recall(&mut self, stored: &Stored, now: Moment, time: &ZonedDateTime) -> usize {
        self.observer.recall(&self.program, stored, now, time)
    }

    /// A reading's number and state as they were taken last.
    pub fn reading(&self, index: usize) -> Evaluated {
        self.readings[index]
    }

    /// Takes the civil time, which clocks show; the next [`draw`](Self::draw) shows it.
    pub fn set_time(&mut self, now: Moment, time: ZonedDateTime) {
        self.time = (now, time);
    }

    /// Takes how many messages of a reading were rejected.
    pub fn set_rejects(&mut self, index: usize, count: u64) {
        self.observer.set_rejects(index, count);
    }

    /// Whether the broker is connected, as far as anybody said.
    pub fn is_linked(&self) -> bool {
        self.observer.is_linked()
    }

    /// Takes whether the broker is connected: it is, unless somebody says otherwise.
    pub fn set_link(&mut self, linked: bool) {
        self.observer.set_link(linked);
    }

    /// Brings the frame up to date, and tells whether a pixel may have changed.
    pub fn draw(&mut self, now: Moment) -> bool {
        self.bring_up_to_date(now);
        self.brightness = Brightness::under(&self.program.dims, &self.given());
        let shown = self.choose_screen(now);
        let given = Given { readings: &self.readings, observed: self.observer.observed(), values: &self.values };
        let known = Known { given, observer: &self.observer, time: &self.time.1 };
        let screen = shown.map(|index| &self.program.screens[index]);
        let redrawn = if shown != self.screen || !self.drawn_once {
            self.screen = shown;
            self.drawn_once = true;
            self.picture.draw(screen, known);
            true
        } else {
            screen.is_some_and(|screen| self.picture.redraw(screen, &self.changed, known))
        };
        self.changed.clear();
        redrawn
    }

    /// Draws everything anew, whatever changed.
    pub fn draw_all(&mut self, now: Moment) {
        self.screen = None;
        self.drawn_once = false;
        self.draw(now);
    }

    /// When the picture changes by itself although no reading does: at the next screen's turn, or when a clock moves on.
    pub fn next_change(&self) -> Option<Moment> {
        let clocks = self.screen.map(|index| self.program.screens[index].clocks()).into_iter().flatten();
        let clock = clocks.map(|clock| self.time.0 + clock.until_change(&self.time.1)).min();
        let watched = &self.watched[self.screen.unwrap_or(self.program.screens.len())];
        let observed = self.observer.next_change(&self.program, watched, self.time.0, &self.time.1);
        self.next_turn().into_iter().chain(clock).chain(observed).min()
    }

    /// Only while a screen is shown in turn: below one that took over, turns pass unseen.
    fn next_turn(&self) -> Option<Moment> {
        if self.screen.is_some_and(|index| self.program.screens[index].when.is_some()) {
            return None;
        }
        let (screen, since) = self.turn;
        let takes_turns = |screen: &&Screen| screen.when.is_none();
        let several = self.program.screens.iter().filter(takes_turns).nth(1).is_some();
        several.then(|| since + self.program.screens[screen].turn)
    }

    /// The screen that the picture shows, by its place in the program; none before the first picture, or where no condition holds.
    pub fn screen_index(&self) -> Option<usize> {
        self.screen
    }

    /// Whether the item of the shown screen with this index is drawn: all conditions around it hold.
    pub fn is_drawn(&self, index: usize) -> bool {
        self.picture.is_drawn(index)
    }

    /// What the picture says, an entry for each text and bar that is shown, in the order of the file.
    pub fn words(&self) -> Vec<Said> {
        let items = self.screen.map_or(0, |index| self.program.screens[index].items.len());
        (0..items).filter_map(|index| self.said(index)).collect()
    }

    /// What the item of the shown screen with this index says, where it is drawn and says anything.
    pub fn said(&self, index: usize) -> Option<Said> {
        let item = self.program.screens[self.screen?].items.get(index)?;
        let known = Known { given: self.given(), observer: &self.observer, time: &self.time.1 };
        self.picture.said(index, item, known)
    }

    /// What expressions look at.
    fn given(&self) -> Given<'_> {
        Given { readings: &self.readings, observed: self.observer.observed(), values: &self.values }
    }

    /// Observes and computes all that a picture may look at.
    fn bring_up_to_date(&mut self, now: Moment) {
        self.observer.observe(&self.program, now, &self.time.1, &self.readings, &mut self.changed);
        self.compute_values();
        for place in 0..self.computed_pasts.len() {
            let past = &self.computed_pasts[place];
            let (time, value) = (&self.time.1, self.values[past.value]);
            if self.observer.observe_value(&self.program, past, now, time, value, &mut self.changed) {
                self.compute_values();
            }
        }
        self.observer.values_are_added();
        let known = (self.readings.as_slice(), self.values.as_slice());
        if self.observer.observe_conditions(&self.program, now, known, &mut self.changed) {
            self.compute_values();
        }
    }

    fn compute_values(&mut self) {
        for (index, value) in self.program.values.iter().enumerate() {
            if !self.drawn_once || value.inputs.meets(&self.changed) {
                let given =
                    Given { readings: &self.readings, observed: self.observer.observed(), values: &self.values };
                let result = value.formula.evaluate(&given);
                let outside = value.range.is_some_and(|range| !range.contains(result.number));
                self.values[index] = if result.is_known() && outside { Evaluated::FAULTY } else { result };
            }
        }
    }

    /// The first screen whose condition holds; without one, the screen whose turn it is.
    fn choose_screen(&mut self, now: Moment) -> Option<usize> {
        let screens = &self.program.screens;
        let holds = |condition: &Compiled| condition.evaluate(&self.given()).holds();
        if let Some(index) = screens.iter().position(|screen| screen.when.as_ref().is_some_and(holds)) {
            return Some(index);
        }
        let in_turn = || screens.iter().enumerate().filter(|(_, screen)| screen.when.is_none());
        let cycle = in_turn().fold(Duration::ZERO, |sum, (_, screen)| sum + screen.turn);
        if in_turn().nth(1).is_some() && !cycle.is_zero() {
            // After a long pause whole rounds are skipped at once.
            let (mut current, mut since) = self.turn;
            let rounds = now.since(since).as_nanos() / cycle.as_nanos();
            since = since + cycle * u32::try_from(rounds).unwrap_or(u32::MAX);
            while now.since(since) >= screens[current].turn {
                since = since + screens[current].turn;
                let later = in_turn().map(|(index, _)| index).find(|index| *index > current);
                current = later.or_else(|| in_turn().map(|(index, _)| index).next()).unwrap_or(current);
            }
            self.turn = (current, since);
        }
        screens.get(self.turn.0).filter(|screen| screen.when.is_none()).map(|_| self.turn.0)
    }
}
