//! A statement's arguments by name and place, with findings for what is unknown, doubled, missing or of the wrong kind.
//!
//! What enters are syntax nodes; what leaves are plain numbers, words and lengths. Damaged nodes were reported by the parser
//! and are passed over in silence.

use std::time::Duration;

use crate::formulas::Bounds;
use crate::language::syntax::{Expression, ExpressionKind, NamedArgument, Span, Statement, UnaryOperator};
use crate::language::words::{self, ELEMENTS, OF_ELEMENTS, Word};
use crate::language::{Finding, nearest};
use crate::units::{self, Unit};

/// The arguments of one statement.
pub(super) struct Arguments<'a> {
    pub(super) statement: &'a Statement,
}

impl<'a> Arguments<'a> {
    /// The arguments of `statement`, which may be those of its row in `table`, and if it is an element, those of all elements.
    pub(super) fn new(statement: &'a Statement, table: &[Word], findings: &mut Vec<Finding>) -> Self {
        let word = &statement.word.value;
        let row = words::find(table, word);
        let plain = row.map_or(0, |row| row.plain.len());
        let mut allowed = row.map(Word::arguments).unwrap_or_default();
        if words::find(&ELEMENTS, word).is_some() {
            allowed.extend(OF_ELEMENTS.map(|(name, _)| name));
        }
        let allowed = allowed.as_slice();
        check_names(&format!("`{word}`"), &statement.named, allowed, findings);
        if let Some(extra) = statement.plain.get(plain)
            && extra.kind != ExpressionKind::Damaged
        {
            findings.push(
                Finding::error(
                    "unexpected argument",
                    extra.span,
                    format!("`{word}` takes no further plain argument here"),
                )
                .label("not expected")
                .help(named_help(word, allowed)),
            );
        }
        if let Some(definition) = statement.definition.as_ref().filter(|_| word != "value") {
            findings.push(
                Finding::error("unexpected definition", definition.span, format!("`{word}` takes no `=`"))
                    .help("only `value NAME = …` defines something"),
            );
        }
        Self { statement }
    }

    /// The argument of that name.
    pub(super) fn named(&self, name: &str) -> Option<&'a Expression> {
        self.statement.named.iter().find(|argument| argument.name.value == name).map(|argument| &argument.value)
    }

    /// Whether the parser reported a part of this statement: what seems to be missing may only not have been understood.
    pub(super) fn is_damaged(&self) -> bool {
        let named = self.statement.named.iter().map(|argument| &argument.value);
        named.chain(&self.statement.plain).any(|argument| argument.kind == ExpressionKind::Damaged)
    }

    /// The argument in that place, counted from 0; a finding that it is missing otherwise.
    pub(super) fn plain(
        &self,
        index: usize,
        what: &str,
        example: &str,
        findings: &mut Vec<Finding>,
    ) -> Option<&'a Expression> {
        let found = self.statement.plain.get(index);
        if found.is_none() && !self.is_damaged() {
            let word = &self.statement.word;
            findings.push(
                Finding::error("missing argument", word.span, format!("`{}` needs {what}", word.value))
                    .label(format!("{what} expected after this"))
                    .help(format!("write, for example, `{example}`")),
            );
        }
        found
    }
}

/// Reports names that are not allowed, and names that stand twice.
pub(super) fn check_names(owner: &str, named: &[NamedArgument], allowed: &[&'static str], findings: &mut Vec<Finding>) {
    for (index, argument) in named.iter().enumerate() {
        let name = &argument.name;
        if !allowed.contains(&name.value.as_str()) {
            let help = match nearest(&name.value, allowed.iter().copied()) {
                Some(near) => format!("did you mean `{near}:`?"),
                None => named_help(owner.trim_matches('`'), allowed),
            };
            findings.push(
                Finding::error("unknown argument", name.span, format!("{owner} has no argument `{}`", name.value))
                    .label("unknown")
                    .help(help),
            );
        } else if let Some(first) = named[..index].iter().find(|earlier| earlier.name.value == name.value) {
            findings.push(
                Finding::error("argument given twice", name.span, format!("`{}:` is given twice", name.value))
                    .label("again here")
                    .related(first.name.span, "first here"),
            );
        }
    }
}

fn named_help(word: &str, allowed: &[&'static str]) -> String {
    match allowed {
        [] => format!("`{word}` takes no named arguments"),
        names => {
            format!("`{word}` takes {}", names.iter().map(|name| format!("`{name}:`")).collect::<Vec<_>>().join(", "))
        }
    }
}

/// What a node is, in words, for "expected X, found Y".
pub(super) fn described(expression: &Expression) -> String {
    match &expression.kind {
        ExpressionKind::Number { unit: None, .. } => "a number".into(),
        ExpressionKind::Number { unit: Some(unit), .. } => format!("a number in {}", unit.value),
        ExpressionKind::Dimensions { .. } => "a width and height".into(),
        ExpressionKind::Text(_) => "a text".into(),
        ExpressionKind::Bool(_) => "a truth value".into(),
        ExpressionKind::Name(name) => format!("the name `{name}`"),
        ExpressionKind::Unit(unit) => format!("the unit `{unit}`"),
        ExpressionKind::Tuple(_) => "a pair in parentheses".into(),
        ExpressionKind::Range(..) => "a range".into(),
        ExpressionKind::Call { name, .. } => format!("`{}(…)`", name.value),
        _ => "an expression".into(),
    }
}

/// Reports that something else was expected; says nothing about a damaged node.
pub(super) fn expected(what: &str, example: &str, found: &Expression, findings: &mut Vec<Finding>) {
    if found.kind != ExpressionKind::Damaged {
        findings.push(
            Finding::error("wrong kind", found.span, format!("expected {what}, found {}", described(found)))
                .label(format!("expected {what}"))
                .help(format!("write, for example, `{example}`")),
        );
    }
}

/// A unit by its written form, or a finding.
pub(super) fn unit_named(text: &str, span: Span, findings: &mut Vec<Finding>) -> Option<Unit> {
    let unit = units::lookup(text);
    if unit.is_none() {
        let near = units::nearest(text);
        let finding = Finding::error("unknown unit", span, format!("`{text}` is no known unit")).label("unknown unit");
        findings.push(if near.is_empty() {
            finding.help("units are written as usual, for example °C, %, hPa, kW, L/min; layouts/README.md lists them")
        } else {
            let near: Vec<String> = near.iter().map(|unit| format!("`{unit}`")).collect();
            finding.help(format!("did you mean {}?", near.join(" or ")))
        });
    }
    unit
}

/// A number written in the file, in `unit`; a number without a unit is taken to be in it.
pub(super) fn number_in(expression: &Expression, unit: Unit, what: &str, findings: &mut Vec<Finding>) -> Option<f64> {
    let (negative, literal) = match &expression.kind {
        ExpressionKind::Unary(UnaryOperator::Negate, inner) => (true, inner.as_ref()),
        _ => (false, expression),
    };
    let ExpressionKind::Number { value, unit: written } = &literal.kind else {
        let example = if unit.is_bare() { "10".to_string() } else { format!("10{unit}") };
        expected(what, &example, expression, findings);
        return None;
    };
    let value = if negative { -value } else { *value };
    let Some(written) = written else { return Some(value) };
    let own = unit_named(&written.value, written.span, findings)?.in_the_sense_of(unit);
    let converted = units::convert(value, own, unit);
    if converted.is_none() {
        let wanted = if unit.is_bare() { "a bare number".to_string() } else { unit.to_string() };
        findings.push(
            Finding::error("unlike units", written.span, format!("{own} cannot be given in {wanted}"))
                .label(format!("this is in {own}"))
                .help(format!("write the number in {wanted}, or leave its unit out")),
        );
    }
    converted
}

/// A range written in the file, in `unit`, from the lesser to the greater number. A unit behind the second number goes for both.
pub(super) fn range_in(expression: &Expression, unit: Unit, findings: &mut Vec<Finding>) -> Option<Bounds> {
    let ExpressionKind::Range(low, high) = &expression.kind else {
        expected("a range", "0..100", expression, findings);
        return None;
    };
    let mut low = low.as_ref().clone();
    if let (ExpressionKind::Number { unit: first @ None, .. }, ExpressionKind::Number { unit: second, .. }) =
        (&mut low.kind, &high.kind)
    {
        first.clone_from(second);
    }
    let (from, to) = (number_in(&low, unit, "a number", findings)?, number_in(high, unit, "a number", findings)?);
    if from >= to {
        findings.push(
            Finding::error("empty range", expression.span, "a range goes from the lesser to the greater number")
                .label(if from > to { "the other way round" } else { "both ends are the same" })
                .help(format!("write `{}..{}`", to.min(from), to.max(from))),
        );
        return None;
    }
    Some(Bounds { low: from, high: to })
}

/// A span of time written in the file.
pub(super) fn duration(expression: &Expression, example: &str, findings: &mut Vec<Finding>) -> Option<Duration> {
    let second = units::lookup("s")?;
    let ExpressionKind::Number { unit: Some(_), .. } = expression.kind else {
        expected("a time with its unit", example, expression, findings);
        return None;
    };
    let seconds = number_in(expression, second, "a time", findings)?;
    let duration = Duration::try_from_secs_f64(seconds).ok().filter(|duration| !duration.is_zero());
    if duration.is_none() {
        findings.push(
            Finding::error(
                "out of range",
                expression.span,
                "a time must be greater than zero and less than many years",
            )
            .help(format!("write, for example, `{example}`")),
        );
    }
    duration
}

/// Whole pixels written in the file, from `least` to `most`.
pub(super) fn pixels(expression: &Expression, least: u32, most: u32, findings: &mut Vec<Finding>) -> Option<u32> {
    let ExpressionKind::Number { value, unit: None } = expression.kind else {
        expected("a number of pixels", "8", expression, findings);
        return None;
    };
    if value.fract() != 0.0 || !(f64::from(least)..=f64::from(most)).contains(&value) {
        findings.push(
            Finding::error(
                "out of range",
                expression.span,
                format!("expected a whole number from {least} to {most}, found {value}"),
            )
            .label(format!("from {least} to {most}")),
        );
        return None;
    }
    Some(value as u32)
}

/// One of several words, or a finding that lists them.
pub(super) fn one_of<T: Copy>(
    expression: &Expression,
    words: &[(&'static str, T)],
    findings: &mut Vec<Finding>,
) -> Option<T> {
    let list = words.iter().map(|(word, _)| format!("`{word}`")).collect::<Vec<_>>().join(", ");
    let ExpressionKind::Name(name) = &expression.kind else {
        expected(&format!("one of {list}"), words[0].0, expression, findings);
        return None;
    };
    let found = words.iter().find(|(word, _)| word == name).map(|(_, value)| *value);
    if found.is_none() {
        let help = match nearest(name, words.iter().map(|(word, _)| *word)) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("write one of {list}"),
        };
        findings.push(
            Finding::error("unknown word", expression.span, format!("`{name}` is not one of {list}"))
                .label("unknown")
                .help(help),
        );
    }
    found
}
