//! Expressions: names resolved, units checked and converted, conditions kept apart from numbers and from texts.
//!
//! What enters are syntax nodes and the names in scope; what leaves is a compiled expression with its unit, or nothing, and
//! then a finding says why (a damaged node was reported before).

use std::cell::RefCell;

use crate::formulas::{Bounds, Compiled, Function, Kind, Operator};
use crate::language::syntax::{BinaryOperator, Expression, ExpressionKind, Piece, Span, UnaryOperator};
use crate::language::{Finding, clock, model::Choice, nearest};
use crate::units::{self, Conversion, Unit, difference_of};

use super::arguments::{check_names, described, unit_named};
use super::curve;
use super::windows::{self, Observations};

/// The names that an expression may use.
#[derive(Default)]
pub(super) struct Scope {
    pub(super) names: Vec<Name>,
}

/// A reading or a value that was declared before.
pub(super) struct Name {
    pub(super) name: String,
    pub(super) span: Span,
    /// How it is looked at.
    pub(super) source: Compiled,
    pub(super) kind: NameKind,
    /// Where it is looked at.
    pub(super) uses: RefCell<Vec<Span>>,
}

/// What a name stands for; `Unknown` where its own statement was wrong, so that its uses are not reported once more.
#[derive(Clone, Copy)]
pub(super) enum NameKind {
    Number(Unit),
    Truth,
    Unknown,
}

impl Scope {
    /// Declares a name, or reports that it exists already.
    pub(super) fn declare(&mut self, name: Name, findings: &mut Vec<Finding>) {
        if let Some(first) = self.names.iter().find(|known| known.name == name.name) {
            findings.push(
                Finding::error(
                    "name given twice",
                    name.span,
                    format!("`{}` is the name of something else already", name.name),
                )
                .label("again here")
                .related(first.span, "first here")
                .help("give each reading and each value a name of its own"),
            );
        } else {
            self.names.push(name);
        }
    }

    /// Warns of what nothing looks at.
    pub(super) fn report_unused(&self, findings: &mut Vec<Finding>) {
        let unused = self
            .names
            .iter()
            .filter(|known| known.uses.borrow().is_empty() && !matches!(known.kind, NameKind::Unknown));
        findings.extend(unused.map(|known| {
            Finding::warning("never used", known.span, format!("nothing in this layout looks at `{}`", known.name))
                .label("never used")
                .help("show it, compute with it, or take it out")
        }));
    }

    /// All names, in the order of the file.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        self.names.iter().map(|name| name.name.as_str())
    }
}

/// A checked expression.
#[derive(Clone, Debug)]
pub(super) enum Checked {
    /// A number in a unit.
    Number(Compiled, Unit),
    /// A number written without a unit: it takes the unit of what it meets.
    Literal(f64),
    /// A number written with a unit.
    Quantity(f64, Unit),
    /// A condition.
    Truth(Compiled),
    /// A text.
    Words(Choice),
}

impl Checked {
    /// As a number with its unit, a literal in the unit `meeting` it; `None` for conditions and texts.
    pub(super) fn number(self, meeting: Unit) -> Option<(Compiled, Unit)> {
        match self {
            Checked::Number(compiled, unit) => Some((compiled, unit)),
            Checked::Literal(value) => Some((Compiled::Constant(value), meeting)),
            Checked::Quantity(value, unit) => Some((Compiled::Constant(value), unit.in_the_sense_of(meeting))),
            Checked::Truth(_) | Checked::Words(_) => None,
        }
    }

    /// The unit, where it has one of its own.
    fn unit(&self) -> Option<Unit> {
        match self {
            Checked::Number(_, unit) | Checked::Quantity(_, unit) => Some(*unit),
            _ => None,
        }
    }

    fn described(&self) -> &'static str {
        match self {
            Checked::Number(..) | Checked::Literal(_) | Checked::Quantity(..) => "a number",
            Checked::Truth(_) => "a condition",
            Checked::Words(_) => "a text",
        }
    }
}

/// Checks expressions against a scope, collecting findings.
pub(super) struct Expressions<'a> {
    pub(super) scope: &'a Scope,
    pub(super) findings: &'a mut Vec<Finding>,
    pub(super) observations: &'a mut Observations,
    pub(super) reading_bounds: &'a [Bounds],
    pub(super) value_bounds: &'a [Bounds],
}

impl Expressions<'_> {
    /// A number with its unit.
    pub(super) fn number(&mut self, expression: &Expression) -> Option<(Compiled, Unit)> {
        let checked = self.check(expression)?;
        let found = checked.described();
        let number = checked.number(Unit::BARE);
        if number.is_none() {
            self.findings.push(
                Finding::error("wrong kind", expression.span, format!("expected a number, found {found}"))
                    .label("a number expected"),
            );
        }
        number
    }

    /// A number, converted to `unit`; a finding where it cannot be.
    pub(super) fn number_in(&mut self, expression: &Expression, unit: Unit) -> Option<Compiled> {
        let checked = self.check(expression)?;
        let found = checked.described();
        let Some((compiled, own)) = checked.number(unit) else {
            self.findings.push(
                Finding::error("wrong kind", expression.span, format!("expected a number in {unit}, found {found}"))
                    .label(format!("a number in {unit} expected")),
            );
            return None;
        };
        let conversion = units::conversion(own, unit);
        if conversion.is_none() {
            self.findings.push(unlike(expression.span, own, unit));
        }
        conversion.map(|conversion| converted(compiled, conversion))
    }

    /// A condition.
    pub(super) fn condition(&mut self, expression: &Expression) -> Option<Compiled> {
        match self.check(expression)? {
            Checked::Truth(compiled) => Some(compiled),
            other => {
                self.findings.push(
                    Finding::error(
                        "wrong kind",
                        expression.span,
                        format!("expected a condition, found {}", other.described()),
                    )
                    .label("a condition expected")
                    .help("compare it with something, for example `> 10`"),
                );
                None
            }
        }
    }

    /// Anything.
    pub(super) fn check(&mut self, expression: &Expression) -> Option<Checked> {
        let span = expression.span;
        match &expression.kind {
            ExpressionKind::Damaged => None,
            ExpressionKind::Number { value, unit: None } => Some(Checked::Literal(*value)),
            ExpressionKind::Number { value, unit: Some(unit) } => {
                unit_named(&unit.value, unit.span, self.findings).map(|unit| Checked::Quantity(*value, unit))
            }
            ExpressionKind::Bool(truth) => Some(Checked::Truth(Compiled::Constant(f64::from(*truth)))),
            ExpressionKind::Text(pieces) => self.words(pieces),
            ExpressionKind::Name(name) => self.name(name, span),
            ExpressionKind::Call { name, plain, named } => {
                check_names(&format!("`{}`", name.value), named, &[], self.findings);
                self.call(&name.value, name.span, plain, span)
            }
            ExpressionKind::Unary(UnaryOperator::Negate, inner) => match self.check(inner)? {
                Checked::Literal(value) => Some(Checked::Literal(-value)),
                Checked::Quantity(value, unit) => Some(Checked::Quantity(-value, unit)),
                Checked::Number(compiled, unit) => {
                    let negative = binary(Operator::Subtract, Compiled::Constant(0.0), compiled);
                    Some(Checked::Number(negative, unit))
                }
                other => self.wrong_operand("-", "numbers", inner.span, &other),
            },
            ExpressionKind::Unary(UnaryOperator::Not, inner) => {
                self.condition(inner).map(|compiled| Checked::Truth(Compiled::Not(Box::new(compiled))))
            }
            ExpressionKind::Binary(operator, left, right) => self.binary(*operator, left, right, span),
            ExpressionKind::If { condition, then, otherwise } => {
                let condition = self.condition(condition);
                let (then_checked, otherwise_checked) = (self.check(then), self.check(otherwise));
                self.conditional(condition?, then_checked?, otherwise_checked?, then, otherwise)
            }
            ExpressionKind::Convert { value, unit } => {
                let checked = self.check(value);
                let target = unit_named(&unit.value, unit.span, self.findings)?;
                let checked = checked?;
                // A bare literal has no unit to convert from.
                let target = checked.unit().map_or(target, |own| target.in_the_sense_of(own));
                let found = checked.described();
                let Some((compiled, own)) = checked.number(target) else {
                    self.findings.push(Finding::error("wrong kind", value.span, format!("{found} has no unit")));
                    return None;
                };
                let Some(conversion) = units::conversion(own, target) else {
                    self.findings.push(unlike(span, own, target));
                    return None;
                };
                Some(Checked::Number(converted(compiled, conversion), target))
            }
            ExpressionKind::Dimensions { .. }
            | ExpressionKind::Unit(_)
            | ExpressionKind::Tuple(_)
            | ExpressionKind::Range(..) => {
                self.findings.push(
                    Finding::error(
                        "wrong kind",
                        span,
                        format!("expected something to compute, found {}", described(expression)),
                    )
                    .label("not possible here"),
                );
                None
            }
        }
    }

    fn name(&mut self, name: &str, span: Span) -> Option<Checked> {
        let Some(known) = self.scope.names.iter().find(|known| known.name == name) else {
            let finding =
                Finding::error("unknown name", span, format!("nothing here is called `{name}`")).label("unknown");
            self.findings.push(match nearest(name, self.scope.names()) {
                Some(near) => finding.help(format!("did you mean `{near}`?")),
                None => finding
                    .help(format!("declare it first, for example `reading {name} from: \"cellar/brine/climate\"`")),
            });
            return None;
        };
        known.uses.borrow_mut().push(span);
        match known.kind {
            NameKind::Number(unit) => Some(Checked::Number(known.source.clone(), unit)),
            NameKind::Truth => Some(Checked::Truth(known.source.clone())),
            NameKind::Unknown => None,
        }
    }

    fn words(&mut self, pieces: &[Piece]) -> Option<Checked> {
        let mut words = String::new();
        for piece in pieces {
            match piece {
                Piece::Literal(text) => words.push_str(&text.value),
                Piece::Field { span, .. } => {
                    self.findings.push(
                        Finding::error("field in a field", *span, "a text within an expression cannot hold fields")
                            .label("not possible here")
                            .help("put the field into the outer text, beside this one"),
                    );
                    return None;
                }
            }
        }
        Some(Checked::Words(Choice::Words(words)))
    }

    fn call(&mut self, name: &str, name_span: Span, plain: &[Expression], span: Span) -> Option<Checked> {
        if name == curve::NAME {
            return self.interpolate(plain, span);
        }
        if let Some(checked) = self.observe(name, plain, span) {
            return checked;
        }
        let Some(function) = Function::named(name) else {
            if name == clock::NAME {
                self.findings.push(
                    Finding::error(
                        "clock in an expression",
                        span,
                        "`clock(…)` is a text of its own and cannot be computed with",
                    )
                    .help("write it alone between braces: `{clock(\"%H:%M\")}`"),
                );
                return None;
            }
            let finding = Finding::error("unknown function", name_span, format!("there is no function `{name}`"))
                .label("unknown");
            self.findings.push(match nearest(name, functions()) {
                Some(near) => finding.help(format!("did you mean `{near}`?")),
                None => {
                    let names: Vec<String> = functions().map(|name| format!("`{name}`")).collect();
                    finding.help(format!("the functions are {}", names.join(", ")))
                }
            });
            return None;
        };
        let parameters = function.parameters;
        if plain.len() != parameters.len() {
            let names: Vec<&str> = parameters.iter().map(|parameter| parameter.name).collect();
            let wanted = format!("`{name}` takes {}: {}", count(parameters.len(), "argument"), names.join(", "));
            self.findings.push(
                Finding::error("wrong number of arguments", span, wanted).label(format!("{} given", plain.len())),
            );
            return None;
        }
        let mut shared: Option<Unit> = None;
        let mut arguments = Vec::with_capacity(plain.len());
        for (argument, parameter) in plain.iter().zip(parameters) {
            let argument = match parameter.kind {
                Kind::Bare => self.number_in(argument, Unit::BARE),
                Kind::In(unit) => units::lookup(unit).and_then(|unit| self.number_in(argument, unit)),
                Kind::SameAsFirst => match shared {
                    Some(unit) => self.number_in(argument, unit),
                    None => self.number(argument).map(|(compiled, unit)| {
                        shared = Some(unit);
                        compiled
                    }),
                },
            };
            arguments.push(argument);
        }
        let arguments: Option<Vec<Compiled>> = arguments.into_iter().collect();
        let unit = match function.result {
            Kind::Bare => Unit::BARE,
            Kind::In(unit) => units::lookup(unit)?,
            Kind::SameAsFirst => shared?,
        };
        Some(Checked::Number(Compiled::Call(function, arguments?.into()), unit))
    }

    fn binary(
        &mut self,
        operator: BinaryOperator,
        left: &Expression,
        right: &Expression,
        span: Span,
    ) -> Option<Checked> {
        use BinaryOperator as B;
        if matches!(operator, B::And | B::Or) {
            let (left, right) = (self.condition(left), self.condition(right));
            let operator = if operator == B::And { Operator::And } else { Operator::Or };
            return Some(Checked::Truth(binary(operator, left?, right?)));
        }
        let (a, b) = (self.check(left), self.check(right));
        let (a, b) = (a?, b?);
        for (checked, side) in [(&a, left), (&b, right)] {
            if matches!(checked, Checked::Truth(_) | Checked::Words(_)) {
                return self.wrong_operand(operator.symbol(), "numbers", side.span, checked);
            }
        }
        if let (Checked::Literal(a), Checked::Literal(b)) = (&a, &b)
            && let Some(value) = fold(operator, *a, *b)
        {
            return Some(Checked::Literal(value));
        }
        // A number without a unit takes the one that makes sense beside the other operand.
        let (meeting_a, meeting_b) = match operator {
            B::Multiply | B::Divide => (Unit::BARE, Unit::BARE),
            B::Add => (b.unit().map_or(Unit::BARE, difference_of), a.unit().map_or(Unit::BARE, difference_of)),
            B::Subtract => (b.unit().unwrap_or(Unit::BARE), a.unit().map_or(Unit::BARE, difference_of)),
            _ => (b.unit().unwrap_or(Unit::BARE), a.unit().unwrap_or(Unit::BARE)),
        };
        // A written quantity such as `2°C` means a difference only where it is compared with one.
        let compared = !matches!(operator, B::Add | B::Subtract | B::Multiply | B::Divide);
        let literal = |checked: Checked, meeting: Unit| match checked {
            Checked::Quantity(value, unit) if !compared => Some((Compiled::Constant(value), unit)),
            other => other.number(meeting),
        };
        let ((a, unit_a), (b, unit_b)) = (literal(a, meeting_a)?, literal(b, meeting_b)?);
        let sum = |operator: Operator, sum: units::Sum| {
            Checked::Number(binary(operator, converted(a.clone(), sum.left), converted(b.clone(), sum.right)), sum.unit)
        };
        let product = |operator: Operator, product: units::Product| {
            Checked::Number(converted(binary(operator, a.clone(), b.clone()), product.scale), product.unit)
        };
        let settled = std::cell::Cell::new(None);
        let comparison = |operator: Operator, swap: bool, conversion: Conversion| {
            let b = converted(b.clone(), conversion);
            let (left, right) = if swap { (b, a.clone()) } else { (a.clone(), b) };
            settled.set(foregone(operator, self.bounds(&left), self.bounds(&right)));
            Checked::Truth(binary(operator, left, right))
        };
        let result = match operator {
            B::Add => units::add(unit_a, unit_b).map(|units| sum(Operator::Add, units)),
            B::Subtract => units::subtract(unit_a, unit_b).map(|units| sum(Operator::Subtract, units)),
            B::Multiply => units::multiply(unit_a, unit_b).map(|units| product(Operator::Multiply, units)),
            B::Divide => units::divide(unit_a, unit_b).map(|units| product(Operator::Divide, units)),
            B::Less => units::compare(unit_a, unit_b).map(|to| comparison(Operator::Less, false, to)),
            B::LessOrEqual => units::compare(unit_a, unit_b).map(|to| comparison(Operator::LessOrEqual, false, to)),
            B::Greater => units::compare(unit_a, unit_b).map(|to| comparison(Operator::Less, true, to)),
            B::GreaterOrEqual => units::compare(unit_a, unit_b).map(|to| comparison(Operator::LessOrEqual, true, to)),
            B::Equal => units::compare(unit_a, unit_b).map(|to| comparison(Operator::Equal, false, to)),
            B::NotEqual => units::compare(unit_a, unit_b).map(|to| comparison(Operator::NotEqual, false, to)),
            B::And | B::Or => return None,
        };
        if let Some(holds) = settled.get() {
            let finding = if holds {
                Finding::warning("always holds", span, "this holds whatever the readings are")
            } else {
                Finding::warning("never holds", span, "this can never hold")
            };
            self.findings
                .push(finding.label("by the ranges of both sides").help("mend the number, the unit or the `range:`"));
        }
        match result {
            Ok(checked) => Some(checked),
            Err(mismatch) => {
                self.findings.push(
                    Finding::error("unlike units", span, mismatch.to_string())
                        .related(left.span, label_of(unit_a))
                        .related(right.span, label_of(unit_b)),
                );
                None
            }
        }
    }

    fn conditional(
        &mut self,
        condition: Compiled,
        then: Checked,
        otherwise: Checked,
        then_at: &Expression,
        otherwise_at: &Expression,
    ) -> Option<Checked> {
        let choose = |then, otherwise| Compiled::If(Box::new([condition.clone(), then, otherwise]));
        match (then, otherwise) {
            (Checked::Words(then), Checked::Words(otherwise)) => {
                Some(Checked::Words(Choice::If(condition, Box::new(then), Box::new(otherwise))))
            }
            (Checked::Truth(then), Checked::Truth(otherwise)) => Some(Checked::Truth(choose(then, otherwise))),
            (then, otherwise) => {
                let kinds = (then.described(), otherwise.described());
                let meeting = then.unit().or(otherwise.unit()).unwrap_or(Unit::BARE);
                let (Some((then, unit)), Some((otherwise, other))) = (then.number(meeting), otherwise.number(meeting))
                else {
                    self.findings.push(
                        Finding::error(
                            "wrong kind",
                            otherwise_at.span,
                            format!("the two branches differ: {} and {}", kinds.0, kinds.1),
                        )
                        .label(kinds.1)
                        .related(then_at.span, kinds.0),
                    );
                    return None;
                };
                let Some(conversion) = units::conversion(other, unit) else {
                    self.findings.push(unlike(otherwise_at.span, other, unit).related(then_at.span, label_of(unit)));
                    return None;
                };
                Some(Checked::Number(choose(then, converted(otherwise, conversion)), unit))
            }
        }
    }

    fn wrong_operand(&mut self, operator: &str, wanted: &str, span: Span, found: &Checked) -> Option<Checked> {
        let message = format!("`{operator}` works on {wanted}, found {}", found.described());
        self.findings.push(Finding::error("wrong kind", span, message).label(found.described()));
        None
    }
}

/// The names of all functions that an expression may call.
pub fn functions() -> impl Iterator<Item = &'static str> + Clone {
    Function::all().map(|function| function.name).chain([curve::NAME]).chain(windows::names())
}

/// What a comparison comes to where the bounds of both sides leave no choice.
fn foregone(operator: Operator, left: Bounds, right: Bounds) -> Option<bool> {
    let apart = left.high < right.low || right.high < left.low;
    match operator {
        Operator::Less if left.high < right.low => Some(true),
        Operator::Less if left.low >= right.high => Some(false),
        Operator::LessOrEqual if left.high <= right.low => Some(true),
        Operator::LessOrEqual if left.low > right.high => Some(false),
        Operator::Equal if apart => Some(false),
        Operator::NotEqual if apart => Some(true),
        _ => None,
    }
}

/// Two numbers without units, computed at once; `None` for comparisons and where the result is not finite.
fn fold(operator: BinaryOperator, a: f64, b: f64) -> Option<f64> {
    let value = match operator {
        BinaryOperator::Add => a + b,
        BinaryOperator::Subtract => a - b,
        BinaryOperator::Multiply => a * b,
        BinaryOperator::Divide => a / b,
        _ => return None,
    };
    value.is_finite().then_some(value)
}

fn binary(operator: Operator, left: Compiled, right: Compiled) -> Compiled {
    Compiled::Binary(operator, Box::new(left), Box::new(right))
}

fn converted(compiled: Compiled, conversion: Conversion) -> Compiled {
    match compiled {
        compiled if conversion.is_identity() => compiled,
        Compiled::Constant(value) => Compiled::Constant(conversion.apply(value)),
        compiled => Compiled::Convert(Box::new(compiled), conversion),
    }
}

pub(super) fn unlike(span: Span, from: Unit, to: Unit) -> Finding {
    let name = |unit: Unit| if unit.is_bare() { "a bare number".to_string() } else { unit.to_string() };
    let finding = Finding::error("unlike units", span, format!("{} cannot be given in {}", name(from), name(to)))
        .label(label_of(from));
    if from.is_bare() { finding.help("give the reading its `unit:`") } else { finding }
}

fn label_of(unit: Unit) -> String {
    if unit.is_bare() { "this has no unit".into() } else { format!("this is in {unit}") }
}

fn count(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}
