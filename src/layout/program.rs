//! A compiled layout: every element with its pixels, its strike and the readings that it depends on.
//!
//! A program is plain data that never changes; a [`Renderer`](super::Renderer) runs it.

use std::sync::Arc;
use std::time::Duration;

use crate::draw::{BarShape, Rectangle, Size, TrendShape};
use crate::faces::Strike;
use crate::formulas::{Bounds, Compiled, Input, Look, Observed, Source, TimeStyle};
use crate::language::Span;
use crate::language::model::{Align, Choice};
use crate::language::syntax::Format;
use crate::panel::Glass;
use crate::readings::ReadingSpec;

use super::brightness::Dim;
use super::past::Past;
use crate::language::clock::Clock;

/// A layout, ready to be drawn.
#[derive(Clone, Debug)]
pub struct Program {
    /// The panel's pixels.
    pub size: Size,
    /// The panel's glass, where the file says how large it is.
    pub glass: Option<Glass>,
    /// How far the picture is shifted to each side as time goes by, in pixels: so far from the edges nothing stands.
    pub shift: u32,
    /// What has to be heard from the broker; [`Compiled::Reading`] counts in this order.
    pub readings: Vec<ReadingSpec>,
    /// What is kept of the past.
    pub histories: Vec<Past>,
    /// What is observed of the readings; [`Compiled::Observed`] counts in this order.
    pub observed: Vec<Observed>,
    /// Those observations, by their places in that order, that are not only written as times.
    pub looked_at_closely: Inputs,
    /// What is computed, in an order in which each looks only at what stands before it.
    pub values: Vec<DerivedValue>,
    /// When the panel is less bright.
    pub dims: Vec<Dim>,
    /// The screens, in the order of the file.
    pub screens: Vec<Screen>,
}

/// A value that is computed once for all elements that show it.
#[derive(Clone, Debug)]
pub struct DerivedValue {
    /// The name in the file.
    pub name: String,
    /// How it is computed.
    pub formula: Compiled,
    /// Results outside are faulty.
    pub range: Option<Bounds>,
    /// The readings that it depends on, directly or through other values.
    pub inputs: Inputs,
}

/// One picture out of several.
#[derive(Clone, Debug)]
pub struct Screen {
    /// The name in the file.
    pub name: String,
    /// While this holds, the screen takes over.
    pub when: Option<Compiled>,
    /// How long it is shown before the next one's turn.
    pub turn: Duration,
    /// What is drawn, in this order.
    pub items: Vec<Item>,
    /// Items whose ink may meet, by index and in drawing order: when one of them changes, all of them are drawn again. Each
    /// item is in exactly one group.
    pub groups: Vec<Vec<usize>>,
}

/// One thing that is drawn.
#[derive(Clone, Debug)]
pub struct Item {
    /// What is drawn.
    pub drawing: Drawing,
    /// All pixels that it may touch.
    pub ink: Rectangle,
    /// It is drawn while all of these hold.
    pub when: Vec<Compiled>,
    /// The readings that it depends on.
    pub inputs: Inputs,
    /// The element that it is a part of.
    pub element: usize,
    /// The element's place in the file.
    pub span: Span,
}

/// What an item draws.
#[derive(Clone, Debug)]
pub enum Drawing {
    /// Characters.
    Text(TextRun),
    /// A bar.
    Bar {
        /// The number that it shows.
        formula: Compiled,
        /// Its geometry.
        shape: BarShape,
    },
    /// What a reading or a value was, as a line.
    Trend {
        /// Whose past it is.
        source: Source,
        /// Its history.
        history: usize,
        /// Its geometry.
        shape: TrendShape,
    },
    /// Lit pixels that never change: a rule, or one side of a frame.
    Line,
    /// Lit and dark exchanged.
    Invert,
}

impl Drawing {
    /// What it is, in words.
    pub fn words(&self) -> &'static str {
        match self {
            Self::Line => "a line that never changes",
            Self::Invert => "lit and dark exchanged by `invert:`",
            Self::Text(_) => "a text",
            Self::Bar { .. } => "a bar",
            Self::Trend { .. } => "a trend",
        }
    }
}

/// A text with its strike and its place.
#[derive(Clone, Debug)]
pub struct TextRun {
    /// The glyphs.
    pub strike: Arc<Strike>,
    /// Literals and fields.
    pub parts: Vec<Part>,
    /// The first row below the baseline.
    pub baseline: i32,
    /// Where it stands from left to right within the item's box.
    pub align: Align,
    /// The box in which it is aligned.
    pub area: Rectangle,
}

/// A part of a text.
#[derive(Clone, Debug)]
pub enum Part {
    /// Always the same characters.
    Literal(String),
    /// A number.
    Number {
        /// How it is computed, in the unit shown.
        formula: Compiled,
        /// How it is written.
        format: Format,
        /// Its shape where there is no number.
        placeholder: String,
    },
    /// The time of day or the date.
    Clock(Clock),
    /// A time in seconds, written in its own way.
    Time {
        /// How it is computed.
        formula: Compiled,
        /// How it is written.
        style: TimeStyle,
        /// Its shape where nothing is known.
        placeholder: String,
    },
    /// One of several texts.
    Words {
        /// Which text.
        choice: Choice,
        /// How it is written.
        format: Format,
        /// Its shape where nothing is known.
        placeholder: String,
    },
}

/// A set of readings, of what is observed of them and of their histories, by index, in this order.
#[derive(Clone, Debug, Default)]
pub struct Inputs(Vec<u64>);

impl Inputs {
    /// Adds a reading.
    pub fn insert(&mut self, index: usize) {
        if self.0.len() <= index / 64 {
            self.0.resize(index / 64 + 1, 0);
        }
        self.0[index / 64] |= 1 << (index % 64);
    }

    /// Adds all readings of another set.
    pub fn extend(&mut self, other: &Inputs) {
        if self.0.len() < other.0.len() {
            self.0.resize(other.0.len(), 0);
        }
        self.0.iter_mut().zip(&other.0).for_each(|(own, other)| *own |= other);
    }

    /// Adds what an expression depends on, directly or through values, in a program of so many readings.
    pub fn add<'a>(&mut self, formula: &Compiled, readings: usize, of_value: impl Fn(usize) -> &'a Inputs) {
        formula.inputs(&mut |input| self.add_input(input, readings, &of_value));
    }

    /// Adds one thing that an expression looks at, in a program of so many readings.
    pub fn add_input<'a>(&mut self, input: Input, readings: usize, of_value: impl Fn(usize) -> &'a Inputs) {
        match input {
            Input::Reading(reading) => self.insert(reading),
            Input::Observed(observed) => self.insert(readings + observed),
            Input::Value(value) => self.extend(of_value(value)),
        }
    }

    /// Whether both have a reading in common.
    pub fn meets(&self, other: &Inputs) -> bool {
        self.0.iter().zip(&other.0).any(|(a, b)| a & b != 0)
    }

    /// Whether this one belongs to it.
    pub fn contains(&self, index: usize) -> bool {
        self.0.get(index / 64).is_some_and(|word| word >> (index % 64) & 1 == 1)
    }

    /// Whether there is no reading at all.
    pub fn is_empty(&self) -> bool {
        self.0.iter().all(|word| *word == 0)
    }

    /// Takes all readings out.
    pub fn clear(&mut self) {
        self.0.clear();
    }
}

impl Program {
    /// The same program with one of its screens, by its place, shown whatever its condition says.
    pub fn alone(&self, screen: usize) -> Program {
        let screens = self.screens.get(screen).map(|screen| Screen { when: None, ..screen.clone() });
        Program { screens: screens.into_iter().collect(), ..self.clone() }
    }

    /// Whether a reading has a past in this program, or belongs to a value that has one.
    pub fn is_looked_back_at(&self, reading: usize) -> bool {
        self.histories.iter().any(|past| past.readings.contains(reading))
    }

    /// The readings behind a set: its own, and those that what it holds is observed of, in the order of the file.
    pub fn readings_behind(&self, inputs: &Inputs) -> Vec<usize> {
        let mut all = inputs.clone();
        let mut seen = vec![false; self.observed.len()];
        let next = |all: &Inputs, seen: &[bool]| {
            (0..seen.len()).find(|place| !seen[*place] && all.contains(self.readings.len() + place))
        };
        while let Some(place) = next(&all, &seen) {
            seen[place] = true;
            match &self.observed[place] {
                Observed::Window { source, .. } | Observed::Characteristic { source, .. } => {
                    all.add_input((*source).into(), self.readings.len(), |value| &self.values[value].inputs);
                }
                Observed::Age(reading) | Observed::Rejects(reading) => all.insert(*reading),
                Observed::Since(condition) => all.extend(&self.inputs_of(condition)),
                Observed::Until(_)
                | Observed::TimeOfDay
                | Observed::Link
                | Observed::Sun { .. }
                | Observed::MoonPhase => {}
            }
        }
        (0..self.readings.len()).filter(|index| all.contains(*index)).collect()
    }

    /// What may change the picture while the screen of this place is shown: what its elements, all screens' conditions, what dims the panel
    /// and all observed conditions look at. Without such a screen, the conditions alone.
    pub fn watched(&self, screen: usize) -> Inputs {
        let mut watched = self.screens.get(screen).map(Screen::inputs).unwrap_or_default();
        let screens = self.screens.iter().filter_map(|screen| screen.when.as_ref());
        let observed = self.observed.iter().filter_map(|observed| match observed {
            Observed::Since(condition) => Some(condition),
            _ => None,
        });
        let dims = self.dims.iter().map(|dim| &dim.when);
        screens.chain(observed).chain(dims).for_each(|condition| watched.extend(&self.inputs_of(condition)));
        for (index, observed) in self.observed.iter().enumerate() {
            if let Observed::Window { history, .. } | Observed::Characteristic { history, .. } = observed
                && watched.contains(self.readings.len() + index)
            {
                watched.insert(self.readings.len() + self.observed.len() + history);
            }
        }
        watched
    }

    /// The observations, by their places, that expressions look at: all but those that are only written as times.
    pub(super) fn find_looked_at_closely(&self) -> Inputs {
        let mut closely = Inputs::default();
        let mut look = |formula: &Compiled| {
            formula.inputs(&mut |input| {
                if let Input::Observed(place) = input {
                    closely.insert(place);
                }
            });
        };
        self.values.iter().for_each(|value| look(&value.formula));
        for observed in &self.observed {
            if let Observed::Since(condition) = observed {
                look(condition);
            }
        }
        self.dims.iter().for_each(|dim| look(&dim.when));
        for screen in &self.screens {
            screen.when.iter().for_each(&mut look);
            for item in &screen.items {
                item.when.iter().for_each(&mut look);
                match &item.drawing {
                    Drawing::Text(run) => run.parts.iter().for_each(|part| match part {
                        Part::Number { formula, .. } => look(formula),
                        Part::Words { choice, .. } => choice.conditions(&mut look),
                        Part::Literal(_) | Part::Clock(_) | Part::Time { .. } => {}
                    }),
                    Drawing::Bar { formula, .. } => look(formula),
                    Drawing::Trend { .. } | Drawing::Line | Drawing::Invert => {}
                }
            }
        }
        closely
    }

    /// How closely the observation of this place is looked at.
    pub fn look(&self, observation: usize) -> Look {
        if self.looked_at_closely.contains(observation) { Look::Close } else { Look::Glance }
    }

    /// What an expression depends on, directly or through values.
    pub fn inputs_of(&self, formula: &Compiled) -> Inputs {
        let mut inputs = Inputs::default();
        inputs.add(formula, self.readings.len(), |value| &self.values[value].inputs);
        inputs
    }
}

impl Screen {
    /// What its elements depend on.
    pub fn inputs(&self) -> Inputs {
        let mut inputs = Inputs::default();
        self.items.iter().for_each(|item| inputs.extend(&item.inputs));
        inputs
    }

    /// All clocks on it.
    pub fn clocks(&self) -> impl Iterator<Item = &Clock> {
        self.items.iter().flat_map(Item::clocks)
    }
}

impl Item {
    /// All clocks in it.
    pub fn clocks(&self) -> impl Iterator<Item = &Clock> {
        let parts = match &self.drawing {
            Drawing::Text(run) => run.parts.as_slice(),
            _ => &[],
        };
        parts.iter().filter_map(|part| if let Part::Clock(clock) = part { Some(clock) } else { None })
    }
}

impl Choice {
    /// Calls `each` with every text that can come out.
    pub fn texts<'a>(&'a self, each: &mut dyn FnMut(&'a str)) {
        match self {
            Choice::Words(words) => each(words),
            Choice::If(_, then, otherwise) => {
                then.texts(each);
                otherwise.texts(each);
            }
        }
    }

    /// Calls `each` with every condition.
    pub fn conditions<'a>(&'a self, each: &mut dyn FnMut(&'a Compiled)) {
        if let Choice::If(condition, then, otherwise) = self {
            each(condition);
            then.conditions(each);
            otherwise.conditions(each);
        }
    }
}
