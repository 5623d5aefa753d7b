//! Expressions, from `if` down to single values.

use super::super::syntax::{BinaryOperator, Expression, ExpressionKind, Spanned, UnaryOperator};
use super::super::tokens::{ForeignOperator, Token, TokenKind};
use super::super::{Finding, Span};
use super::mistakes::{self, quoted};
use super::{Parsed, Parser};

/// How tightly operators bind, from the loosest to the tightest.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Level {
    Or,
    And,
    Comparison,
    Range,
    Sum,
    Product,
    /// What no operator with two operands reaches.
    Operand,
}

impl Level {
    /// The level of what stands to the right of an operator of this level.
    fn tighter(self) -> Level {
        match self {
            Level::Or => Level::And,
            Level::And => Level::Comparison,
            Level::Comparison => Level::Range,
            Level::Range => Level::Sum,
            Level::Sum => Level::Product,
            Level::Product | Level::Operand => Level::Operand,
        }
    }
}

/// An operator between two operands.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Infix {
    Range,
    Binary(BinaryOperator),
}

impl Parser<'_> {
    /// A whole expression.
    pub(super) fn expression(&mut self) -> Parsed<Expression> {
        if self.open_expressions == 0 {
            self.operators = 0;
        }
        self.open_expressions += 1;
        let result = if self.at(TokenKind::If) { self.conditional() } else { self.binary(Level::Or) };
        self.open_expressions -= 1;
        result
    }

    /// `if a then b else c`, the `if` being known to be there. `then` and `else` may begin a line.
    fn conditional(&mut self) -> Parsed<Expression> {
        self.nested(|parser| {
            let start = parser.advance().span;
            parser.count_operator(start)?;
            parser.skip_newlines();
            let condition = parser.binary(Level::Or)?;
            parser.part_of_if(TokenKind::Then, "`then`")?;
            let then = parser.expression()?;
            parser.part_of_if(TokenKind::Else, "`else`")?;
            let otherwise = parser.expression()?;
            let span = start.to(otherwise.span);
            let kind = ExpressionKind::If {
                condition: Box::new(condition),
                then: Box::new(then),
                otherwise: Box::new(otherwise),
            };
            Ok(Expression { kind, span })
        })
    }

    fn part_of_if(&mut self, kind: TokenKind, name: &str) -> Parsed<()> {
        let next = self.after_newlines(self.position);
        if self.token_at(next).kind == kind {
            self.position = next + 1;
            self.skip_newlines();
            return Ok(());
        }
        let finding = self.unexpected(name);
        self.fail(finding.or_help("a choice is written `if a then b else c`"))
    }

    /// Operands with operators of at least `level` between them.
    fn binary(&mut self, level: Level) -> Parsed<Expression> {
        let mut left = self.prefix()?;
        // Comparisons and ranges do not chain: the operator read last on their level, and its right side.
        let mut chain: Option<(Level, Span, Span)> = None;
        loop {
            let token = self.peek();
            let Some((infix, of)) = self.infix(token) else { break };
            if of < level {
                break;
            }
            self.advance();
            self.report_spelling(token);
            self.count_operator(token.span)?;
            self.skip_newlines();
            let right = self.binary(of.tighter())?;
            let span = left.span.to(right.span);
            if let Some((Level::Comparison | Level::Range, first, middle)) = chain.filter(|(last, ..)| *last == of) {
                let finding = self.chained(of, first, token, middle, right.span);
                self.report(finding);
                left = Expression { kind: ExpressionKind::Damaged, span };
                continue;
            }
            chain = Some((of, left.span.to(token.span), right.span));
            let (a, b) = (Box::new(left), Box::new(right));
            let kind = match infix {
                Infix::Range => ExpressionKind::Range(a, b),
                Infix::Binary(operator) => ExpressionKind::Binary(operator, a, b),
            };
            left = Expression { kind, span };
        }
        Ok(left)
    }

    /// The finding for `a < b < c`: `first` is `a <`, `middle` is `b`.
    fn chained(&self, level: Level, first: Span, operator: Token, middle: Span, last: Span) -> Finding {
        let written = quoted(self.slice(operator.span));
        if level == Level::Range {
            return Finding::error(
                "chained operator",
                operator.span,
                format!("expected one `..`, found another {written}"),
            )
            .help("a range has two ends: `8..16`");
        }
        let [first, middle, last] = [first, middle, last].map(|span| self.slice(span));
        Finding::error(
            "chained operator",
            operator.span,
            format!("expected a single comparison, found another {written}"),
        )
        .help(
            if first.len() + 2 * middle.len() + last.len() < 80
                && ![first, middle, last].iter().any(|part| part.contains('\n'))
            {
                format!("write `{first} {middle} and {middle} {} {last}`", self.slice(operator.span))
            } else {
                "compare twice, with `and` between: `a < b and b < c`".into()
            },
        )
    }

    /// The operator that `token` stands for, if it can stand between operands, and its level. Operators of other languages
    /// count as what they mean, and so does `=` where `==` must be meant.
    fn infix(&self, token: Token) -> Option<(Infix, Level)> {
        use BinaryOperator::*;
        let (operator, level) = match token.kind {
            TokenKind::Range => return Some((Infix::Range, Level::Range)),
            TokenKind::Or => (Or, Level::Or),
            TokenKind::And => (And, Level::And),
            TokenKind::Less => (Less, Level::Comparison),
            TokenKind::LessOrEqual => (LessOrEqual, Level::Comparison),
            TokenKind::Greater => (Greater, Level::Comparison),
            TokenKind::GreaterOrEqual => (GreaterOrEqual, Level::Comparison),
            TokenKind::Equal => (Equal, Level::Comparison),
            TokenKind::NotEqual => (NotEqual, Level::Comparison),
            TokenKind::Assign if !self.assign_ends => (Equal, Level::Comparison),
            TokenKind::Plus => (Add, Level::Sum),
            TokenKind::Minus => (Subtract, Level::Sum),
            TokenKind::Star => (Multiply, Level::Product),
            TokenKind::Slash if self.token_at(self.position + 1).kind != TokenKind::Slash => (Divide, Level::Product),
            TokenKind::Foreign(foreign) => match foreign {
                ForeignOperator::And => (And, Level::And),
                ForeignOperator::Or => (Or, Level::Or),
                ForeignOperator::Not => return None,
                ForeignOperator::LessOrEqual => (LessOrEqual, Level::Comparison),
                ForeignOperator::GreaterOrEqual => (GreaterOrEqual, Level::Comparison),
                ForeignOperator::NotEqual => (NotEqual, Level::Comparison),
                ForeignOperator::Multiply => (Multiply, Level::Product),
                ForeignOperator::Divide => (Divide, Level::Product),
            },
            _ => return None,
        };
        Some((Infix::Binary(operator), level))
    }

    /// Whether `token` can stand between operands.
    pub(super) fn is_infix(&self, token: Token) -> bool {
        self.infix(token).is_some()
    }

    /// Reports an operator that is read as what it means, but written otherwise.
    fn report_spelling(&mut self, token: Token) {
        match token.kind {
            TokenKind::Foreign(foreign) => {
                self.report(mistakes::foreign(foreign, self.slice(token.span), token.span));
            }
            TokenKind::Assign => self.report(
                Finding::error("unknown operator", token.span, "expected `==` to compare, found `=`")
                    .help("write `==`"),
            ),
            _ => {}
        }
    }

    /// An operand with the operators before it.
    fn prefix(&mut self) -> Parsed<Expression> {
        let token = self.peek();
        let next = self.token_at(self.position + 1);
        match token.kind {
            TokenKind::Minus if next.kind == TokenKind::Number && next.span.start == token.span.end => {
                self.advance();
                let number = self.number(Some(token));
                self.postfix(number)
            }
            TokenKind::Minus => self.unary(UnaryOperator::Negate, |parser| parser.prefix()),
            TokenKind::Not => self.unary(UnaryOperator::Not, |parser| parser.binary(Level::Comparison)),
            TokenKind::Foreign(ForeignOperator::Not) => {
                self.report_spelling(token);
                self.unary(UnaryOperator::Not, |parser| parser.prefix())
            }
            _ => {
                let value = self.primary()?;
                self.postfix(value)
            }
        }
    }

    fn unary(
        &mut self,
        operator: UnaryOperator,
        operand: impl FnOnce(&mut Self) -> Parsed<Expression>,
    ) -> Parsed<Expression> {
        let token = self.advance();
        self.count_operator(token.span)?;
        self.skip_newlines();
        let operand = self.nested(operand)?;
        let span = token.span.to(operand.span);
        Ok(Expression { kind: ExpressionKind::Unary(operator, Box::new(operand)), span })
    }

    /// `value as unit`, as often as it follows.
    fn postfix(&mut self, mut value: Expression) -> Parsed<Expression> {
        while let Some(token) = self.accept(TokenKind::As) {
            self.count_operator(token.span)?;
            let Some(unit) = self.accept(TokenKind::Unit) else {
                let next = self.peek();
                let finding = self.unexpected("a unit after `as`");
                let help = match next.kind {
                    TokenKind::TextOpen => "write the unit without quotes: `temp as °F`",
                    _ => "a unit is written as on a label: `temp as °F`, `wind as km/h`",
                };
                return self.fail(finding.help(help));
            };
            let span = value.span.to(unit.span);
            let unit = Spanned::new(super::number::normalized_unit(self.slice(unit.span)), unit.span);
            value = Expression { kind: ExpressionKind::Convert { value: Box::new(value), unit }, span };
        }
        Ok(value)
    }

    fn primary(&mut self) -> Parsed<Expression> {
        let token = self.peek();
        let leaf = |kind| Expression { kind, span: token.span };
        match token.kind {
            TokenKind::Number => Ok(self.number(None)),
            TokenKind::Dimensions => Ok(self.dimensions()),
            TokenKind::BadNumber(mistake) => {
                self.report(mistakes::bad_number(mistake, self.slice(token.span), token.span));
                self.advance();
                Ok(leaf(ExpressionKind::Damaged))
            }
            TokenKind::True | TokenKind::False if !self.is_named(self.position) => {
                self.advance();
                Ok(leaf(ExpressionKind::Bool(token.kind == TokenKind::True)))
            }
            TokenKind::Name if !self.is_named(self.position) => self.name_or_call(),
            TokenKind::TextOpen => Ok(self.quoted_text()),
            TokenKind::ParenOpen => self.group_or_tuple(),
            TokenKind::If => {
                self.report(
                    Finding::error("unexpected token", token.span, "expected a value, found `if` within an expression")
                        .help("put the choice in parentheses: `(if a then b else c)`"),
                );
                self.conditional()
            }
            _ => {
                let finding = self.missing_value();
                self.fail(finding)
            }
        }
    }

    fn name_or_call(&mut self) -> Parsed<Expression> {
        let token = self.advance();
        let name = self.slice(token.span).to_string();
        if !self.at(TokenKind::ParenOpen) {
            return Ok(Expression { kind: ExpressionKind::Name(name), span: token.span });
        }
        let list = self.list()?;
        let span = token.span.to(list.span);
        let name = Spanned::new(name, token.span);
        Ok(Expression { kind: ExpressionKind::Call { name, plain: list.plain, named: list.named }, span })
    }

    /// `(a)` is `a`; `(a, b)` is a tuple.
    fn group_or_tuple(&mut self) -> Parsed<Expression> {
        let mut list = self.list()?;
        let span = list.span;
        if let Some(named) = list.named.first() {
            self.report(
                Finding::error(
                    "unexpected token",
                    named.name.span,
                    format!("expected a value, found the name {}", quoted(&format!("{}:", named.name.value))),
                )
                .help("names stand between the parentheses of a call: `words(open: 1, closed: 0)`"),
            );
            return Ok(Expression { kind: ExpressionKind::Damaged, span });
        }
        match list.plain.pop() {
            None => {
                self.report(
                    Finding::error("unexpected token", span, "expected a value between parentheses, found nothing")
                        .help("write a value, or delete the parentheses"),
                );
                Ok(Expression { kind: ExpressionKind::Damaged, span })
            }
            Some(only) if list.plain.is_empty() && !list.has_comma => Ok(Expression { kind: only.kind, span }),
            Some(last) => {
                list.plain.push(last);
                Ok(Expression { kind: ExpressionKind::Tuple(list.plain), span })
            }
        }
    }
}
