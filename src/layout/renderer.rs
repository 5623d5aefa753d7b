//! Running a program: readings in, a frame out, and only what changed is drawn again.
//!
//! What enters are numbers with their states, and the time; what leaves is the frame, whether it changed, and when it will
//! change by itself. Once a screen and its longest texts were shown, drawing allocates nothing.

use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;

use crate::draw::{self, Frame, Ink, Level, Point, Rectangle, Strokes};
use crate::faces::icons;
use crate::formulas::{Compiled, Evaluated, Given};
use crate::language::Span;
use crate::language::model::{Align, Choice};
use crate::readings::history::{Figure, History, PARTS, Span as Window, Stored};
use crate::readings::{Moment, ReadingSpec, State};

use super::brightness::Brightness;
use super::format;
use super::observer::Observer;
use super::program::{Drawing, Inputs, Item, Part, Program, Screen, TextRun};
use crate::language::clock;

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
    frame: Frame,
    /// The screen that the frame shows; none before the first picture, or while no screen's condition holds.
    screen: Option<usize>,
    /// The screen whose turn it is, and since when.
    turn: (usize, Moment),
    /// What each item of the screen shows.
    shown: Vec<Shown>,
    /// What an item is about to show, kept to be used again.
    next: Shown,
    /// What a history gives for a trend, kept to be used again.
    columns: Vec<Option<(f64, f64)>>,
    /// What has to be looked at while each screen is shown, and last, while none is.
    watched: Vec<Inputs>,
    drawn_once: bool,
    brightness: Brightness,
}

/// What an item shows: equal means the same pixels.
#[derive(Clone, Debug, Default, PartialEq)]
struct Shown {
    /// Whether it is drawn at all.
    visible: bool,
    /// Whether it stands at half strength because a condition around it is stale.
    state: Option<State>,
    /// A text's characters, all parts together.
    text: String,
    /// Where each part ends in `text`, and how far it can be believed.
    parts: Vec<(usize, State)>,
    /// A bar's level.
    level: Option<Level>,
    /// A trend's line.
    strokes: Strokes,
}

/// What one element says, for people who cannot see the picture, for scripts and for tests.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// `text`, `icon`, `bar` or `trend`.
    pub kind: &'static str,
    /// The element's place in the file.
    pub span: Span,
    /// The characters shown, the bar's number, or the lowest and the highest of a trend; empty where nothing is known.
    pub content: String,
    /// How far it can be believed.
    pub state: State,
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
            frame: Frame::new(program.size),
            screen: None,
            turn: (first, now),
            shown: Vec::new(),
            next: Shown::default(),
            columns: Vec::new(),
            watched: (0..=program.screens.len()).map(|screen| program.watched(screen)).collect(),
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
        &self.frame
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

    /// Gives a reading a past, for a picture of it: numbers evenly spread over its longest window, oldest first, `None` for a silence. They
    /// are heard before anything else is, and end before `now`.
    pub fn remember(&mut self, index: usize, numbers: &[Option<f64>], now: Moment) {
        let windows = self.program.histories.iter().filter(|(reading, _)| *reading == index);
        let lengths = windows.map(|(_, window)| match window {
            Window::Last(length) => *length,
            Window::Today => Duration::from_secs(24 * 3600),
        });
        let Some(longest) = lengths.max() else { return };
        // Often enough that none of them grows old before the next one.
        let parts = PARTS as u32;
        for part in 0..parts {
            let ago = longest / parts * (parts - part) - longest / (2 * parts);
            if let Some(Some(number)) = numbers.get(part as usize * numbers.len() / PARTS) {
                self.hear(index, *number, Moment::at(now.since(Moment::at(ago))));
            }
        }
    }

    /// Goes on with the past of the readings of another renderer's program that listen to the same topics with the same pick.
    pub fn carry_over(&mut self, old: &Renderer) {
        self.observer.carry_over(&self.program, &old.observer, &old.program);
    }

    /// The windows of the readings' past, to be stored.
    pub fn windows(&self) -> impl Iterator<Item = (&ReadingSpec, &History)> {
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
        self.observer.observe(&self.program, now, &self.time.1, &self.readings, &mut self.changed);
        self.compute_values();
        let known = (self.readings.as_slice(), self.values.as_slice());
        if self.observer.observe_conditions(&self.program, now, known, &mut self.changed) {
            self.compute_values();
        }
        let given = Given { readings: &self.readings, observed: self.observer.observed(), values: &self.values };
        self.brightness = Brightness::under(&self.program.dims, &given);
        let screen = self.choose_screen(now);
        let program = Arc::clone(&self.program);
        let redrawn = if screen != self.screen || !self.drawn_once {
            self.screen = screen;
            self.drawn_once = true;
            self.frame.fill(Rectangle::new(Point::zero(), program.size), Ink::Off);
            if let Some(screen) = screen.map(|index| &program.screens[index]) {
                // What is left over from a screen with more items keeps its buffers for the next turn.
                let items = screen.items.len().max(self.shown.len());
                self.shown.resize(items, Shown::default());
                for (index, item) in screen.items.iter().enumerate() {
                    self.refresh(index, item);
                    self.draw_item(index, item);
                }
            }
            true
        } else {
            screen.is_some_and(|index| self.redraw(&program.screens[index]))
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
        self.shown.get(index).is_some_and(|shown| shown.visible)
    }

    /// What the picture says, an entry for each text and bar that is shown, in the order of the file.
    pub fn words(&self) -> Vec<Said> {
        let items = self.screen.map_or(0, |index| self.program.screens[index].items.len());
        (0..items).filter_map(|index| self.said(index)).collect()
    }

    /// What the item of the shown screen with this index says, where it is drawn and says anything.
    pub fn said(&self, index: usize) -> Option<Said> {
        let item = self.program.screens[self.screen?].items.get(index)?;
        let shown = self.shown.get(index).filter(|shown| shown.visible)?;
        let floor = shown.state.unwrap_or(State::Live);
        match &item.drawing {
            Drawing::Text(run) => Some(Said {
                kind: if shown.text.chars().any(|c| icons::name(c).is_some()) { "icon" } else { "text" },
                span: item.span,
                content: content(run, shown),
                state: shown.parts.iter().map(|(_, state)| *state).fold(floor, State::max),
            }),
            Drawing::Bar { formula, .. } => {
                let value = formula.evaluate(&self.given());
                let content = if value.is_known() { value.number.to_string() } else { String::new() };
                Some(Said { kind: "bar", span: item.span, content, state: value.state.max(floor) })
            }
            Drawing::Trend { reading, history, .. } => {
                let history = self.observer.history(*history);
                let ends = history.figure(Figure::Lowest).zip(history.figure(Figure::Highest));
                let content = ends.map_or(String::new(), |(lowest, highest)| format!("{lowest}..{highest}"));
                let state = self.readings[*reading].state.max(floor);
                Some(Said { kind: "trend", span: item.span, content, state })
            }
            Drawing::Line | Drawing::Invert => None,
        }
    }

    /// What expressions look at.
    fn given(&self) -> Given<'_> {
        Given { readings: &self.readings, observed: self.observer.observed(), values: &self.values }
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

    /// Draws again the groups in which an item changed.
    fn redraw(&mut self, screen: &Screen) -> bool {
        let mut redrawn = false;
        for group in &screen.groups {
            let mut stale = false;
            for &index in group {
                let item = &screen.items[index];
                let touched = item.inputs.meets(&self.changed) || item.clocks().next().is_some();
                stale |= touched && self.refresh(index, item);
            }
            if stale {
                group.iter().for_each(|&index| self.frame.fill(screen.items[index].ink, Ink::Off));
                group.iter().for_each(|&index| self.draw_item(index, &screen.items[index]));
                redrawn = true;
            }
        }
        redrawn
    }

    /// Works out what an item shows now, and tells whether that differs from before.
    fn refresh(&mut self, index: usize, item: &Item) -> bool {
        let given = Given { readings: &self.readings, observed: self.observer.observed(), values: &self.values };
        let next = &mut self.next;
        next.visible = true;
        next.state = None;
        next.level = None;
        next.strokes.clear();
        next.text.clear();
        next.parts.clear();
        for condition in &item.when {
            let condition = condition.evaluate(&given);
            next.visible &= condition.holds();
            if condition.state == State::Stale {
                next.state = Some(State::Stale);
            }
        }
        if next.visible {
            match &item.drawing {
                Drawing::Text(run) => {
                    for part in &run.parts {
                        let state = write_part(&mut next.text, part, &self.time.1, &given);
                        next.parts.push((next.text.len(), state));
                    }
                }
                Drawing::Bar { formula, shape } => {
                    let mut value = formula.evaluate(&given);
                    value.state = value.state.max(next.state.unwrap_or(State::Live));
                    next.level = Some(shape.level(value));
                }
                Drawing::Trend { reading, history, shape } => {
                    self.columns.resize(shape.columns(), None);
                    self.observer.history(*history).trend(&mut self.columns);
                    // A past that outlived its reading is old in any case.
                    let state = match self.readings[*reading].state {
                        State::Waiting if self.columns.iter().any(Option::is_some) => State::Stale,
                        state => state.max(next.state.unwrap_or(State::Live)),
                    };
                    shape.strokes(&self.columns, state, &mut next.strokes);
                }
                Drawing::Line | Drawing::Invert => {}
            }
        }
        let differs = self.shown[index] != self.next;
        if differs {
            std::mem::swap(&mut self.shown[index], &mut self.next);
        }
        differs
    }

    /// Draws an item as it is to be shown; its pixels are dark before, or hold what stands below it.
    fn draw_item(&mut self, index: usize, item: &Item) {
        let shown = &self.shown[index];
        if !shown.visible {
            return;
        }
        match &item.drawing {
            Drawing::Text(run) => draw_text(&mut self.frame, run, shown, item.ink),
            Drawing::Bar { shape, .. } => {
                if let Some(level) = shown.level {
                    shape.draw(&mut self.frame, level);
                }
            }
            Drawing::Trend { shape, .. } => shape.draw(&mut self.frame, &shown.strokes),
            Drawing::Line => {
                self.frame.fill(item.ink, if shown.state.is_some() { Ink::Half } else { Ink::Full });
            }
            Drawing::Invert => self.frame.invert(item.ink),
        }
    }
}

/// Appends what a part shows, or its shape where it has no value, and gives its state.
fn write_part(out: &mut String, part: &Part, time: &ZonedDateTime, given: &Given<'_>) -> State {
    match part {
        Part::Clock(clock) => {
            clock.write(out, time);
            State::Live
        }
        Part::Time { formula, style, placeholder } => {
            let value = formula.evaluate(given);
            if value.is_known() {
                format::write_time(out, value.number, *style);
            } else {
                out.push_str(placeholder);
            }
            value.state
        }
        Part::Literal(text) => {
            out.push_str(text);
            State::Live
        }
        Part::Number { formula, format, placeholder } => {
            let value = formula.evaluate(given);
            if value.is_known() {
                format::write_number(out, value.number, format);
            } else {
                out.push_str(placeholder);
            }
            value.state
        }
        Part::Words { choice, format, placeholder } => {
            let mut state = State::Live;
            let mut choice = choice;
            loop {
                match choice {
                    Choice::Words(words) => {
                        format::write_words(out, words, format);
                        return state;
                    }
                    Choice::If(condition, then, otherwise) => {
                        let condition = condition.evaluate(given);
                        state = state.max(condition.state);
                        if !condition.is_known() {
                            out.push_str(placeholder);
                            return state;
                        }
                        choice = if condition.holds() { then } else { otherwise };
                    }
                }
            }
        }
    }
}

fn draw_text(frame: &mut Frame, run: &TextRun, shown: &Shown, ink: Rectangle) {
    let (left, right) = draw::covered_columns(&run.strike, &shown.text);
    let spare = run.area.size.width as i32 - (right - left);
    let indent = match run.align {
        Align::Start => 0,
        Align::Middle => spare.div_euclid(2),
        Align::End => spare,
    };
    let mut pen = Point::new(run.area.top_left.x + indent - left, run.baseline);
    let mut start = 0;
    let floor = shown.state.unwrap_or(State::Live);
    for (end, state) in &shown.parts {
        let text = &shown.text[start..*end];
        pen.x = draw::draw_field(frame, &run.strike, pen, text, floor.max(*state), ink);
        start = *end;
    }
}

/// A text as it can be read aloud: dashes where there is no value.
fn content(run: &TextRun, shown: &Shown) -> String {
    let mut content = String::new();
    let mut start = 0;
    for ((end, state), _) in shown.parts.iter().zip(&run.parts) {
        let text = &shown.text[start..*end];
        if *state > State::Stale {
            content.extend(text.chars().map(|c| if c == '0' { '–' } else { c }));
        } else {
            content.push_str(&icons::spelled(text));
        }
        start = *end;
    }
    content.replace(format::FIGURE_SPACE, " ")
}
