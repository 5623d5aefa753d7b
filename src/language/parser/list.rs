//! Lists between parentheses: the arguments of a call, the parts of a tuple, a grouped expression.

use super::super::syntax::{Expression, ExpressionKind, NamedArgument, Spanned};
use super::super::tokens::TokenKind;
use super::super::{Finding, Span};
use super::mistakes::quoted;
use super::{MAX_DEPTH, Parsed, Parser, Reported};

/// How many tokens are looked through for the parenthesis that closes a list with a mistake in it.
const MAX_LOOKAHEAD: usize = 1000;

/// What a list between parentheses holds.
#[derive(Default)]
pub(super) struct List {
    /// Items without a name, in order.
    pub(super) plain: Vec<Expression>,
    /// Items with a name, in order.
    pub(super) named: Vec<NamedArgument>,
    /// Whether there is a comma, so that a single item is a list of one.
    pub(super) has_comma: bool,
    /// From parenthesis to parenthesis.
    pub(super) span: Span,
}

impl Parser<'_> {
    /// A list between parentheses, the opening one being known to be there.
    pub(super) fn list(&mut self) -> Parsed<List> {
        let open = self.advance().span;
        let first = self.position;
        let fields = self.fields.len();
        self.parens += 1;
        let parens = self.parens;
        let assign_ends = std::mem::replace(&mut self.assign_ends, false);
        let mut list = List::default();
        let too_deep = self.depth >= MAX_DEPTH;
        let result = self.nested(|parser| parser.items(open, &mut list));
        self.assign_ends = assign_ends;
        self.fields.truncate(fields);
        self.parens = parens - 1;
        let close = match result {
            Ok(close) => close,
            Err(reported) => {
                let Some(index) = self.matching_paren(if too_deep { usize::MAX } else { MAX_LOOKAHEAD }) else {
                    self.back_to_first_line_break(first);
                    if too_deep && self.fields.is_empty() {
                        self.skip_line();
                    }
                    return Err(reported);
                };
                self.position = index + 1;
                let close = self.token_at(index).span;
                list.plain.push(Expression { kind: ExpressionKind::Damaged, span: open.to(close) });
                close
            }
        };
        list.span = open.to(close);
        Ok(list)
    }

    /// The items up to the closing parenthesis, whose place is the result.
    fn items(&mut self, open: Span, list: &mut List) -> Parsed<Span> {
        loop {
            if let Some(close) = self.accept(TokenKind::ParenClose) {
                return Ok(close.span);
            }
            let token = self.peek();
            if let Some(name) = self.item_name()? {
                let value = self.argument_value(&name.value);
                list.named.push(NamedArgument { name, value });
            } else {
                let value = self.expression()?;
                if let Some(named) = list.named.last() {
                    let finding = Finding::error(
                        "unexpected token",
                        token.span,
                        format!("expected a name after {}, found an argument without one", quoted(&named.name.value)),
                    );
                    self.report(finding.help("arguments without a name stand before those with one"));
                }
                list.plain.push(value);
            }
            if self.accept(TokenKind::Comma).is_some() {
                list.has_comma = true;
                continue;
            }
            if self.at(TokenKind::ParenClose) {
                continue;
            }
            let damaged = list.named.last().is_some_and(|named| matches!(named.value.kind, ExpressionKind::Damaged));
            if damaged {
                return Err(Reported);
            }
            let finding = self.unexpected_in_expression("`,` or `)`");
            if self.matching_paren(MAX_LOOKAHEAD).is_some() {
                let finding = finding.or_help("arguments between parentheses are separated by commas: `(a, b)`");
                return self.fail(finding.related(open, "within this parenthesis"));
            }
            return self.fail(
                Finding::error("unclosed parenthesis", open, "expected `)` to close this parenthesis, found none")
                    .label("not closed")
                    .help("close it with `)`"),
            );
        }
    }

    /// The name of an item and its colon, if it has one: a word, or a quoted text where the word is none of the language's
    /// (`words("in use": 1)`).
    fn item_name(&mut self) -> Parsed<Option<Spanned<String>>> {
        let token = self.peek();
        if self.is_named(self.position) {
            self.position += 2;
            return Ok(Some(Spanned::new(self.slice(token.span).to_string(), token.span)));
        }
        let kind = |ahead: usize| self.token_at(self.position + ahead).kind;
        let empty = kind(1) == TokenKind::TextClose && kind(2) == TokenKind::Colon;
        let filled = kind(1) == TokenKind::Literal && kind(2) == TokenKind::TextClose && kind(3) == TokenKind::Colon;
        if token.kind != TokenKind::TextOpen || !(empty || filled) {
            return Ok(None);
        }
        self.advance();
        let name = match self.accept(TokenKind::Literal) {
            Some(literal) => self.literal(literal.span),
            None => String::new(),
        };
        let close = self.advance();
        self.advance();
        Ok(Some(Spanned::new(name, token.span.to(close.span))))
    }

    /// The index of the parenthesis that closes the list in hand, if there is one before the next brace, the end of the field
    /// or the end of the file, and at most `limit` tokens ahead.
    fn matching_paren(&self, limit: usize) -> Option<usize> {
        let mut depth = 0;
        let mut fields = 0;
        for (index, token) in self.tokens.iter().enumerate().skip(self.position).take(limit) {
            match token.kind {
                TokenKind::FieldOpen => fields += 1,
                TokenKind::FieldClose | TokenKind::FieldCut if fields == 0 => return None,
                TokenKind::FieldClose | TokenKind::FieldCut => fields -= 1,
                TokenKind::BlockOpen | TokenKind::BlockClose | TokenKind::End => return None,
                TokenKind::ParenOpen => depth += 1,
                TokenKind::ParenClose if depth == 0 => return Some(index),
                TokenKind::ParenClose => depth -= 1,
                _ => {}
            }
        }
        None
    }

    /// After a parenthesis that nothing closes: the lines below are statements of their own.
    fn back_to_first_line_break(&mut self, first: usize) {
        let line_break = self.tokens[first..self.position].iter().position(|token| token.kind == TokenKind::Newline);
        if let Some(ahead) = line_break {
            self.position = first + ahead;
        }
    }
}
