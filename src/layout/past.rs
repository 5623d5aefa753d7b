//! The pasts that a program keeps: whose numbers, how far back, and when two programs keep the same one.
//!
//! What enters are a program and what its layout looks back at; what leaves is plain data that belongs to the program.

use crate::digest::digest;
use crate::formulas::{Bounds, Compiled, Deadline, Input, Observed, Source};
use crate::language::model::Layout;
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
    let past = |(source, span): &(Source, Window)| {
        let mut behind =
            Behind { program, histories: &layout.histories, found: Inputs::default(), spelled: String::new() };
        behind.look(*source);
        let mut readings = Inputs::default();
        let mut hold = None;
        for (reading, spec) in
            program.readings.iter().enumerate().filter(|(reading, _)| behind.found.contains(*reading))
        {
            readings.insert(reading);
            // What is computed holds no longer than what it is computed from.
            hold = [hold, spec.stale].into_iter().flatten().min();
        }
        let (identity, Bounds { low, high }) = match *source {
            Source::Reading(reading) => (program.readings[reading].identity(), layout.readings[reading].bounds),
            // What it is computed from may be the whole file.
            Source::Value(value) => {
                let name = &program.values[value].name;
                (format!("{name} {}", digest(&behind.spelled)), layout.values[value].bounds)
            }
        };
        Past { source: *source, lookback: Lookback { identity, span: *span, hold, bounds: (low, high) }, readings }
    };
    layout.histories.iter().map(past).collect()
}

/// What numbers come from, and how, in characters that follow the names and not the places in the file.
struct Behind<'a> {
    program: &'a Program,
    histories: &'a [(Source, Window)],
    /// Readings, observations and values, counted in this order.
    found: Inputs,
    spelled: String,
}

impl Behind<'_> {
    /// Looks at a reading or a value, and at all that it comes from.
    fn look(&mut self, source: Source) {
        let program = self.program;
        let (readings, observed) = (program.readings.len(), program.observed.len());
        let mut waiting = vec![Input::from(source)];
        while let Some(input) = waiting.pop() {
            let place = match input {
                Input::Reading(reading) => reading,
                Input::Observed(index) => readings + index,
                Input::Value(value) => readings + observed + value,
            };
            if self.found.contains(place) {
                continue;
            }
            self.found.insert(place);
            match input {
                Input::Reading(reading) => {
                    let spec = &program.readings[reading];
                    self.spell(&spec.name, &[]);
                    self.spell(&spec.identity(), &[]);
                }
                Input::Value(value) => {
                    let value = &program.values[value];
                    self.spell(&value.name, &[]);
                    self.spell_formula(&value.formula);
                    value.formula.inputs(&mut |input| waiting.push(input));
                }
                Input::Observed(index) => match &program.observed[index] {
                    Observed::Window { source, .. } | Observed::Characteristic { source, .. } => {
                        waiting.push((*source).into());
                    }
                    Observed::Age(reading) | Observed::Rejects(reading) => waiting.push(Input::Reading(*reading)),
                    Observed::Since(condition) => condition.inputs(&mut |input| waiting.push(input)),
                    Observed::Until(_)
                    | Observed::Link
                    | Observed::TimeOfDay
                    | Observed::Sun { .. }
                    | Observed::MoonPhase => {}
                },
            }
        }
    }

    /// Appends a word and numbers.
    fn spell(&mut self, word: &str, numbers: &[u64]) {
        self.spelled.push_str(word);
        for number in numbers {
            self.spelled.push(' ');
            self.spelled.push_str(&number.to_string());
        }
        self.spelled.push(';');
    }

    fn spell_formula(&mut self, formula: &Compiled) {
        match formula {
            Compiled::Constant(number) => self.spell("number", &[number.to_bits()]),
            Compiled::Reading(reading) => self.spell(&self.program.readings[*reading].name, &[]),
            Compiled::Value(value) => self.spell(&self.program.values[*value].name, &[]),
            Compiled::Observed(observed) => self.spell_observed(&self.program.observed[*observed]),
            Compiled::Convert(inner, conversion) => {
                self.spell("convert", &[conversion.apply(0.0).to_bits(), conversion.apply(1.0).to_bits()]);
                self.spell_formula(inner);
            }
            Compiled::Not(inner) => {
                self.spell("not", &[]);
                self.spell_formula(inner);
            }
            Compiled::Binary(operator, left, right) => {
                self.spell("operator", &[*operator as u64]);
                self.spell_formula(left);
                self.spell_formula(right);
            }
            Compiled::If(parts) => {
                self.spell("if", &[]);
                parts.iter().for_each(|part| self.spell_formula(part));
            }
            Compiled::Interpolate(inner, curve) => {
                let points = curve.points().iter().flat_map(|(x, y)| [x.to_bits(), y.to_bits()]);
                self.spell("interpolate", &points.collect::<Vec<u64>>());
                self.spell_formula(inner);
            }
            Compiled::Call(function, arguments) => {
                self.spell(function.name, &[]);
                arguments.iter().for_each(|argument| self.spell_formula(argument));
            }
        }
    }

    fn spell_observed(&mut self, observed: &Observed) {
        match observed {
            Observed::Window { history, source, figure } => {
                let length = match self.histories[*history].1 {
                    Window::Last(length) => length.as_secs(),
                    Window::Today => 0,
                };
                self.spell("window", &[*figure as u64, length]);
                self.spell_source(*source);
            }
            Observed::Characteristic { source, conversion, .. } => {
                self.spell("characteristic", &[conversion.apply(0.0).to_bits(), conversion.apply(1.0).to_bits()]);
                self.spell_source(*source);
            }
            Observed::Age(reading) => {
                self.spell("age", &[]);
                self.spell_source(Source::Reading(*reading));
            }
            Observed::Rejects(reading) => {
                self.spell("rejects", &[]);
                self.spell_source(Source::Reading(*reading));
            }
            Observed::Since(condition) => {
                self.spell("since", &[]);
                self.spell_formula(condition);
            }
            Observed::Until(Deadline::Daily(at)) => self.spell("daily", &[at.hour() as u64, at.minute() as u64]),
            Observed::Until(Deadline::Once(at)) => {
                let date = [at.year() as u64, at.month() as u64, at.day() as u64];
                self.spell("once", &[date[0], date[1], date[2], at.hour() as u64, at.minute() as u64]);
            }
            Observed::Link => self.spell("link", &[]),
            Observed::TimeOfDay => self.spell("time", &[]),
            Observed::Sun { event, latitude, longitude } => {
                self.spell("sun", &[*event as u64, latitude.to_bits(), longitude.to_bits()]);
            }
            Observed::MoonPhase => self.spell("moon", &[]),
        }
    }

    fn spell_source(&mut self, source: Source) {
        match source {
            Source::Reading(reading) => self.spell(&self.program.readings[reading].name, &[]),
            Source::Value(value) => self.spell(&self.program.values[value].name, &[]),
        }
    }
}
