//! The pasts that a program keeps: whose numbers, how far back, and when two programs keep the same one.
//!
//! What enters are a program and what its layout looks back at; what leaves is plain data that belongs to the program.

use std::fmt::{Arguments, Write};

use crate::digest::digest;
use crate::formulas::{Bounds, Compiled, Deadline, Observed, Source};
use crate::language::model::Layout;
use crate::readings::ReadingSpec;
use crate::readings::history::{Lookback, Span as Window};

use super::program::{Inputs, Program};

/// A past that is kept.
#[derive(Clone, Debug)]
pub struct Past {
    /// Whose numbers.
    pub source: Source,
    /// How far back, and what makes it the same past in another program.
    pub lookback: Lookback,
    /// The readings behind those numbers: the reading itself, or those that the value is computed from.
    pub readings: Inputs,
}

/// The past of a value, and who looks at it.
#[derive(Clone, Debug)]
pub(super) struct ComputedPast {
    /// Its history.
    pub history: usize,
    /// The value.
    pub value: usize,
    /// The observations of that history.
    pub observed: Vec<usize>,
}

impl Program {
    /// The pasts of values, in the order in which the values are computed.
    pub(super) fn computed_pasts(&self) -> Vec<ComputedPast> {
        let mut computed = Vec::new();
        for value in 0..self.values.len() {
            for (history, past) in self.histories.iter().enumerate() {
                if past.source != Source::Value(value) {
                    continue;
                }
                let looks = |place: &usize| match &self.observed[*place] {
                    Observed::Window { history: of, .. } | Observed::Characteristic { history: of, .. } => {
                        *of == history
                    }
                    _ => false,
                };
                let observed = (0..self.observed.len()).filter(looks).collect();
                computed.push(ComputedPast { history, value, observed });
            }
        }
        computed
    }
}

/// The pasts that a layout looks back at, in its order.
pub(super) fn pasts(program: &Program, layout: &Layout) -> Vec<Past> {
    let identities = Identities::new(program, &layout.histories);
    let past = |(source, span): &(Source, Window)| {
        let (behind, Bounds { low, high }) = match *source {
            Source::Reading(reading) => (vec![reading], layout.readings[reading].bounds),
            Source::Value(value) => {
                (program.readings_behind(&program.values[value].inputs), layout.values[value].bounds)
            }
        };
        // What is computed holds no longer than what it is computed from.
        let hold = behind.iter().filter_map(|reading| program.readings[*reading].stale).min();
        let mut readings = Inputs::default();
        behind.into_iter().for_each(|reading| readings.insert(reading));
        let identity = identities.of(*source).to_string();
        Past { source: *source, lookback: Lookback { identity, span: *span, hold, bounds: (low, high) }, readings }
    };
    layout.histories.iter().map(past).collect()
}

/// What makes numbers the same numbers: of a reading, how it is heard; of a value, how it is computed from what has an identity itself. So
/// neither names count, nor where in the file anything stands.
struct Identities<'a> {
    program: &'a Program,
    histories: &'a [(Source, Window)],
    readings: Vec<String>,
    values: Vec<String>,
}

impl<'a> Identities<'a> {
    /// Those of all readings, and of values as far as a past needs them: each looks only at what stands before it.
    fn new(program: &'a Program, histories: &'a [(Source, Window)]) -> Self {
        let readings = program.readings.iter().map(ReadingSpec::identity).collect();
        let mut identities = Self { program, histories, readings, values: Vec::new() };
        let end = |(source, _): &(Source, Window)| if let Source::Value(value) = source { value + 1 } else { 0 };
        for value in &program.values[..histories.iter().map(end).max().unwrap_or(0)] {
            let mut text = String::new();
            identities.spell(&value.formula, &mut text);
            identities.values.push(digest(text));
        }
        identities
    }

    fn of(&self, source: Source) -> &str {
        match source {
            Source::Reading(reading) => &self.readings[reading],
            Source::Value(value) => &self.values[value],
        }
    }

    /// Appends words that stand for what is computed, each operation before what it is of.
    fn spell(&self, formula: &Compiled, text: &mut String) {
        match formula {
            Compiled::Constant(number) => word(text, format_args!("{number}")),
            Compiled::Reading(reading) => word(text, format_args!("{}", self.readings[*reading])),
            Compiled::Value(value) => word(text, format_args!("{}", self.values[*value])),
            Compiled::Observed(observed) => self.spell_observed(&self.program.observed[*observed], text),
            Compiled::Convert(inner, conversion) => {
                word(text, format_args!("converted {} {}", conversion.apply(0.0), conversion.apply(1.0)));
                self.spell(inner, text);
            }
            Compiled::Not(inner) => {
                word(text, format_args!("not"));
                self.spell(inner, text);
            }
            Compiled::Binary(operator, left, right) => {
                word(text, format_args!("{operator:?}"));
                self.spell(left, text);
                self.spell(right, text);
            }
            Compiled::If(parts) => {
                word(text, format_args!("if"));
                parts.iter().for_each(|part| self.spell(part, text));
            }
            Compiled::Interpolate(inner, curve) => {
                curve.points().iter().for_each(|(x, y)| word(text, format_args!("through {x} {y}")));
                self.spell(inner, text);
            }
            Compiled::Call(function, arguments) => {
                word(text, format_args!("{}", function.name));
                arguments.iter().for_each(|argument| self.spell(argument, text));
            }
        }
    }

    fn spell_observed(&self, observed: &Observed, text: &mut String) {
        match observed {
            Observed::Window { history, source, figure } => {
                let seconds = match self.histories[*history].1 {
                    Window::Last(length) => length.as_secs_f64(),
                    Window::Today => 0.0,
                };
                word(text, format_args!("{figure:?} {seconds} {}", self.of(*source)));
            }
            Observed::Characteristic { source, conversion, .. } => {
                let (zero, one) = (conversion.apply(0.0), conversion.apply(1.0));
                word(text, format_args!("characteristic {zero} {one} {}", self.of(*source)));
            }
            Observed::Age(reading) => word(text, format_args!("age {}", self.readings[*reading])),
            Observed::Rejects(reading) => word(text, format_args!("rejects {}", self.readings[*reading])),
            Observed::Since(condition) => {
                word(text, format_args!("since"));
                self.spell(condition, text);
            }
            Observed::Until(Deadline::Daily(at)) => word(text, format_args!("until {at}")),
            Observed::Until(Deadline::Once(at)) => word(text, format_args!("until {at}")),
            Observed::Link => word(text, format_args!("link")),
            Observed::TimeOfDay => word(text, format_args!("time")),
            Observed::Sun { event, latitude, longitude } => {
                word(text, format_args!("{event:?} {latitude} {longitude}"));
            }
            Observed::MoonPhase => word(text, format_args!("moon")),
        }
    }
}

fn word(text: &mut String, word: Arguments<'_>) {
    // Writing to a string cannot fail.
    let _ = text.write_fmt(word);
    text.push(';');
}
