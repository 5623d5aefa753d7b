//! Numbers: from digits and unit as written to their value.

use super::super::Finding;
use super::super::Span;
use super::super::syntax::{Expression, ExpressionKind, Spanned};
use super::super::tokens::{Token, TokenKind};
use super::Parser;
use super::mistakes::quoted;

impl Parser<'_> {
    /// A number token as an expression; `sign` is the minus before it, where it belongs to the number. A decimal comma, and a
    /// unit after a space, are reported and then read as what they mean.
    pub(super) fn number(&mut self, sign: Option<Token>) -> Expression {
        let token = self.advance();
        let mut written = self.slice(token.span);
        let mut span = token.span;
        let mut joined = String::new();
        if let Some(fraction) = self.decimal_comma(token) {
            span = span.to(fraction);
            joined = self.slice(span).replacen(',', ".", 1);
            self.report(
                Finding::error(
                    "bad number",
                    span,
                    format!("expected a decimal point, found the comma in {}", quoted(self.slice(span))),
                )
                .help(format!("write {}", quoted(&joined))),
            );
        }
        if !joined.is_empty() {
            written = &joined;
        }
        let digits = written.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(written.len());
        let (digits, unit) = written.split_at(digits);
        let mut unit = (!unit.is_empty())
            .then(|| Spanned::new(normalized_unit(unit), Span::new(span.end as usize - unit.len(), span.end as usize)));
        if unit.is_none()
            && let Some(apart) = self.unit_apart(span)
        {
            unit = Some(Spanned::new(normalized_unit(self.slice(apart)), apart));
            span = span.to(apart);
        }
        let value: f64 = digits.parse().unwrap_or(f64::INFINITY);
        let span = sign.map_or(span, |sign| sign.span.to(span));
        if !value.is_finite() {
            self.report(
                Finding::error(
                    "bad number",
                    span,
                    format!("expected a number within ±1.79e308, found {}", quoted(digits)),
                )
                .help("no reading needs that many digits"),
            );
            return Expression { kind: ExpressionKind::Damaged, span };
        }
        let value = if sign.is_some() { -value } else { value };
        Expression { kind: ExpressionKind::Number { value, unit }, span }
    }

    /// If a comma and digits follow `number` without a space, outside parentheses: takes them and says where they end.
    fn decimal_comma(&mut self, number: Token) -> Option<Span> {
        let comma = self.token_at(self.position);
        let fraction = self.token_at(self.position + 1);
        let adjacent = comma.span.start == number.span.end && fraction.span.start == comma.span.end;
        let whole = self.slice(number.span).bytes().all(|byte| byte.is_ascii_digit());
        let kinds = comma.kind == TokenKind::Comma && fraction.kind == TokenKind::Number;
        let one_point = !self.slice(fraction.span).contains('.');
        if self.parens > 0 || !(kinds && adjacent && whole && one_point) {
            return None;
        }
        self.position += 2;
        Some(fraction.span)
    }

    /// If a sign that can only be a unit follows after a space: takes it and reports the space.
    fn unit_apart(&mut self, number: Span) -> Option<Span> {
        let unit = self.accept(TokenKind::Unit)?.span;
        let together = quoted(&format!("{}{}", self.slice(number), self.slice(unit)));
        self.report(
            Finding::error(
                "unit apart",
                unit,
                format!("expected the unit right behind its number, found a space before {}", quoted(self.slice(unit))),
            )
            .help(format!("write {together}")),
        );
        Some(unit)
    }

    /// `128x32` as an expression.
    pub(super) fn dimensions(&mut self) -> Expression {
        let span = self.advance().span;
        let written = self.slice(span);
        let sides = written.split_once('x').and_then(|(width, height)| {
            let width: u32 = width.parse().ok()?;
            let height: u32 = height.parse().ok()?;
            Some((width, height))
        });
        let kind = match sides {
            Some((width, height)) => ExpressionKind::Dimensions { width, height },
            None => {
                self.report(
                    Finding::error(
                        "bad number",
                        span,
                        format!("expected a width and a height in pixels, found {}", quoted(written)),
                    )
                    .help("panels have a few hundred pixels a side, as in `128x32`"),
                );
                ExpressionKind::Damaged
            }
        };
        Expression { kind, span }
    }
}

/// A unit with the two code points of the micro sign made one: U+03BC, the Greek letter, becomes U+00B5.
pub(super) fn normalized_unit(written: &str) -> String {
    written.replace('\u{3bc}', "\u{b5}")
}
