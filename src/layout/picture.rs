//! What the items of a screen show, and the frame that they are drawn in: again only what changed, and only where it did.
//!
//! What enters are a screen and what is known; what leaves is the frame. Once a screen and its longest texts were shown, drawing
//! allocates nothing.

use jiff::ZonedDateTime;

use crate::draw::{self, Clipped, Frame, Ink, Level, Point, Rectangle, Size, Strokes};
use crate::faces::icons;
use crate::formulas::Given;
use crate::language::Span;
use crate::language::model::{Align, Choice};
use crate::readings::State;
use crate::readings::history::Figure;

use super::format;
use super::observer::Observer;
use super::program::{Drawing, Inputs, Item, Part, Screen, TextRun};

/// What is known when a picture is drawn.
#[derive(Clone, Copy)]
pub(super) struct Known<'a> {
    /// What expressions look at.
    pub given: Given<'a>,
    /// The past, for trends.
    pub observer: &'a Observer,
    /// The civil time, for clocks.
    pub time: &'a ZonedDateTime,
}

/// The frame, and what each item of the screen in it shows.
#[derive(Clone, Debug)]
pub(super) struct Picture {
    frame: Frame,
    shown: Vec<Shown>,
    /// What an item is about to show, kept to be used again.
    next: Shown,
    /// Where items that meet one another look otherwise than in the frame, kept to be used again.
    damaged: Vec<Rectangle>,
    /// What a history gives for a trend, kept to be used again.
    columns: Vec<Option<(f64, f64)>>,
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
    /// The column at which a text's pen starts.
    pen: i32,
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

impl Picture {
    /// A dark frame.
    pub fn new(size: Size) -> Self {
        Self {
            frame: Frame::new(size),
            shown: Vec::new(),
            next: Shown::default(),
            damaged: Vec::new(),
            columns: Vec::new(),
        }
    }

    /// The frame.
    pub fn frame(&self) -> &Frame {
        &self.frame
    }

    /// Whether the item of the screen with this index is drawn: all conditions around it hold.
    pub fn is_drawn(&self, index: usize) -> bool {
        self.shown.get(index).is_some_and(|shown| shown.visible)
    }

    /// Draws a screen from nothing, or nothing without one.
    pub fn draw(&mut self, screen: Option<&Screen>, known: Known<'_>) {
        self.frame.put_out();
        let items = screen.map_or(&[][..], |screen| &screen.items);
        // What is left over from a screen with more items keeps its buffers for the next turn.
        self.shown.resize(items.len().max(self.shown.len()), Shown::default());
        for (index, item) in items.iter().enumerate() {
            self.refresh(index, item, known);
            draw_item(&mut self.frame.clipped(item.ink), item, &self.shown[index]);
        }
    }

    /// Draws again, in the groups in which an item changed, what lies where it did; tells whether there was any.
    pub fn redraw(&mut self, screen: &Screen, changed: &Inputs, known: Known<'_>) -> bool {
        let mut redrawn = false;
        for group in &screen.groups {
            self.damaged.clear();
            for &index in group {
                let item = &screen.items[index];
                let touched = item.inputs.meets(changed) || item.clocks().next().is_some();
                if touched && self.refresh(index, item, known) {
                    self.damaged.push(damage(item, &self.next, &self.shown[index]));
                }
            }
            // One after the other: what lies between two of them may belong to another group.
            for damage in &self.damaged {
                let mut place = self.frame.clipped(*damage);
                place.fill(*damage, Ink::Off);
                for &index in group {
                    let item = &screen.items[index];
                    draw_item(&mut place.clipped(item.ink), item, &self.shown[index]);
                }
                redrawn = true;
            }
        }
        redrawn
    }

    /// Works out what an item shows now, and tells whether that differs from before, which `next` then holds.
    fn refresh(&mut self, index: usize, item: &Item, Known { given, observer, time }: Known<'_>) -> bool {
        let next = &mut self.next;
        next.visible = true;
        next.state = None;
        next.level = None;
        next.strokes.clear();
        next.text.clear();
        next.pen = 0;
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
                        let state = write_part(&mut next.text, part, time, &given);
                        next.parts.push((next.text.len(), state));
                    }
                    next.pen = pen(run, &next.text);
                }
                Drawing::Bar { formula, shape } => {
                    let mut value = formula.evaluate(&given);
                    value.state = value.state.max(next.state.unwrap_or(State::Live));
                    next.level = Some(shape.level(value));
                }
                Drawing::Trend { source, history, shape } => {
                    self.columns.resize(shape.columns(), None);
                    observer.history(*history).trend(&mut self.columns);
                    // A past that outlived its reading is old in any case.
                    let state = match source.of(&given).state {
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

    /// What the item with this index says, where it is drawn and says anything.
    pub fn said(&self, index: usize, item: &Item, Known { given, observer, .. }: Known<'_>) -> Option<Said> {
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
                let value = formula.evaluate(&given);
                let content = if value.is_known() { value.number.to_string() } else { String::new() };
                Some(Said { kind: "bar", span: item.span, content, state: value.state.max(floor) })
            }
            Drawing::Trend { source, history, .. } => {
                let history = observer.history(*history);
                let ends = history.figure(Figure::Lowest).zip(history.figure(Figure::Highest));
                let content = ends.map_or(String::new(), |(lowest, highest)| format!("{lowest}..{highest}"));
                let state = source.of(&given).state.max(floor);
                Some(Said { kind: "trend", span: item.span, content, state })
            }
            Drawing::Line | Drawing::Invert => None,
        }
    }
}

impl Shown {
    /// The strength of a text's ink where all of it has the same and no part of it stands for something unknown.
    fn strength(&self) -> Option<State> {
        let floor = self.state.unwrap_or(State::Live);
        let mut states = self.parts.iter().map(|(_, state)| floor.max(*state));
        let first = states.next().filter(|state| *state <= State::Stale)?;
        states.all(|state| state == first).then_some(first)
    }
}

/// Where an item looks different that showed `before` and shows `now`.
fn damage(item: &Item, before: &Shown, now: &Shown) -> Rectangle {
    if before.visible && now.visible {
        match (&item.drawing, before.level, now.level) {
            (Drawing::Bar { shape, .. }, Some(before), Some(now)) => return shape.changed(before, now),
            (Drawing::Text(run), ..) if before.strength().is_some() && before.strength() == now.strength() => {
                let (left, right) =
                    draw::changed_columns(&run.strike, (before.pen, &before.text), (now.pen, &now.text));
                let Rectangle { top_left, size } = item.ink;
                let columns = Size::new(right.abs_diff(left), size.height);
                return Rectangle::new(Point::new(left, top_left.y), columns).intersection(&item.ink);
            }
            _ => {}
        }
    }
    item.ink
}

/// Draws an item as it is to be shown; its pixels are dark before, or hold what stands below it.
fn draw_item(frame: &mut Clipped<'_>, item: &Item, shown: &Shown) {
    if !shown.visible {
        return;
    }
    match &item.drawing {
        Drawing::Text(run) => draw_text(frame, run, shown),
        Drawing::Bar { shape, .. } => {
            if let Some(level) = shown.level {
                shape.draw(frame, level);
            }
        }
        Drawing::Trend { shape, .. } => shape.draw(frame, &shown.strokes),
        Drawing::Line => frame.fill(item.ink, if shown.state.is_some() { Ink::Half } else { Ink::Full }),
        Drawing::Invert => frame.invert(item.ink),
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

/// The column at which the pen starts for `text` to stand where its run is aligned.
fn pen(run: &TextRun, text: &str) -> i32 {
    let (left, right) = draw::covered_columns(&run.strike, text);
    let spare = run.area.size.width as i32 - (right - left);
    let indent = match run.align {
        Align::Start => 0,
        Align::Middle => spare.div_euclid(2),
        Align::End => spare,
    };
    run.area.top_left.x + indent - left
}

fn draw_text(frame: &mut Clipped<'_>, run: &TextRun, shown: &Shown) {
    let mut pen = Point::new(shown.pen, run.baseline);
    let mut start = 0;
    let floor = shown.state.unwrap_or(State::Live);
    for (end, state) in &shown.parts {
        let text = &shown.text[start..*end];
        pen.x = draw::draw_field(frame, &run.strike, pen, text, floor.max(*state));
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
