//! The pasts that a program keeps: whose numbers, how far back, and when two programs keep the same one.
//!
//! What enters are a program and what its layout looks back at; what leaves is plain data that belongs to the program.

use std::collections::BTreeSet;

use crate::digest::digest;
use crate::formulas::{Bounds, Input, Observed, Source};
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
        let mut looking = vec![Vec::new(); self.histories.len()];
        for (place, observed) in self.observed.iter().enumerate() {
            if let Observed::Window { history, .. } | Observed::Characteristic { history, .. } = observed {
                looking[*history].push(place);
            }
        }
        let pasts = self.histories.iter().zip(looking).enumerate();
        let of_value = |(history, (past, observed)): (usize, (&Past, Vec<usize>))| match past.source {
            Source::Value(value) => Some(ComputedPast { history, value, observed }),
            Source::Reading(_) => None,
        };
        let mut computed: Vec<ComputedPast> = pasts.filter_map(of_value).collect();
        computed.sort_by_key(|past| past.value);
        computed
    }
}

/// The pasts that a layout looks back at, in its order.
pub(super) fn pasts(program: &Program, layout: &Layout) -> Vec<Past> {
    let histories = &layout.histories;
    let past = |(source, span): &(Source, Window)| {
        let behind = behind(program, *source);
        let mut readings = Inputs::default();
        let mut hold = None;
        for input in &behind {
            if let Input::Reading(reading) = input {
                readings.insert(*reading);
                // What is computed holds no longer than what it is computed from.
                let limits = [hold, program.readings[*reading].stale];
                hold = limits.into_iter().flatten().min();
            }
        }
        let identity = match source {
            Source::Reading(reading) => program.readings[*reading].identity(),
            // What it is computed from may be the whole file.
            Source::Value(value) => {
                let computation = computation(program, histories, *value, &behind);
                format!("{} {}", program.values[*value].name, digest(computation))
            }
        };
        let Bounds { low, high } = match source {
            Source::Reading(reading) => layout.readings[*reading].bounds,
            Source::Value(value) => layout.values[*value].bounds,
        };
        Past { source: *source, lookback: Lookback { identity, span: *span, hold, bounds: (low, high) }, readings }
    };
    histories.iter().map(past).collect()
}

/// All that numbers come from, themselves included.
fn behind(program: &Program, source: Source) -> BTreeSet<Input> {
    let mut behind = BTreeSet::new();
    let mut waiting = vec![Input::from(source)];
    while let Some(input) = waiting.pop() {
        if !behind.insert(input) {
            continue;
        }
        match input {
            Input::Reading(_) => {}
            Input::Value(value) => program.values[value].formula.inputs(&mut |input| waiting.push(input)),
            Input::Observed(observed) => match &program.observed[observed] {
                Observed::Window { source, .. } | Observed::Characteristic { source, .. } => {
                    waiting.push((*source).into())
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
    behind
}

/// How a value is computed and from what, in characters that do not tell where in the file anything stands.
fn computation(program: &Program, histories: &[(Source, Window)], value: usize, behind: &BTreeSet<Input>) -> String {
    let spelled = |value: usize| {
        let value = &program.values[value];
        format!("{} = {}", value.name, value.formula.spelled(&|input| spell(program, histories, input)))
    };
    let mut rest: Vec<String> = behind
        .iter()
        .filter_map(|input| match input {
            Input::Reading(reading) => {
                let spec = &program.readings[*reading];
                Some(format!("{}: {}", spec.name, spec.identity()))
            }
            Input::Value(other) if *other != value => Some(spelled(*other)),
            Input::Value(_) | Input::Observed(_) => None,
        })
        .collect();
    rest.sort();
    [spelled(value)].into_iter().chain(rest).collect::<Vec<_>>().join("; ")
}

/// What an expression looks at: names, or what is observed of them.
fn spell(program: &Program, histories: &[(Source, Window)], input: Input) -> String {
    let spell = |input| spell(program, histories, input);
    match input {
        Input::Reading(reading) => program.readings[reading].name.clone(),
        Input::Value(value) => program.values[value].name.clone(),
        Input::Observed(observed) => match &program.observed[observed] {
            Observed::Window { history, source, figure } => {
                format!("{figure:?}({}, {:?})", spell((*source).into()), histories[*history].1)
            }
            Observed::Characteristic { source, conversion, .. } => {
                format!("Characteristic({}, {conversion:?})", spell((*source).into()))
            }
            Observed::Age(reading) => format!("Age({})", spell(Input::Reading(*reading))),
            Observed::Rejects(reading) => format!("Rejects({})", spell(Input::Reading(*reading))),
            Observed::Since(condition) => format!("Since({})", condition.spelled(&spell)),
            other @ (Observed::Until(_)
            | Observed::Link
            | Observed::TimeOfDay
            | Observed::Sun { .. }
            | Observed::MoonPhase) => format!("{other:?}"),
        },
    }
}
