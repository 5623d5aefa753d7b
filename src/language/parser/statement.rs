//! Statements and blocks, and where reading goes on after a mistake.

use super::super::syntax::{Block, Expression, ExpressionKind, NamedArgument, Spanned, Statement};
use super::super::tokens::{Token, TokenKind};
use super::super::{Finding, Span};
use super::mistakes::{self, quoted};
use super::{MAX_DEPTH, Parser};

impl Parser<'_> {
    /// The statements up to a closing brace or the end of the file; the brace is left for the caller. At the top level, where
    /// no block is open, a closing brace is a mistake.
    pub(super) fn statements(&mut self) -> Vec<Statement> {
        let mut statements = Vec::new();
        while !self.gives_up() {
            self.skip_newlines();
            let token = self.peek();
            match token.kind {
                TokenKind::End => break,
                TokenKind::BlockClose if self.depth > 0 => break,
                TokenKind::BlockClose => {
                    self.report(
                        Finding::error("unexpected token", token.span, "expected a statement, found `}`")
                            .help("no block is open here; delete the brace"),
                    );
                    self.advance();
                }
                TokenKind::Name if !self.is_named(self.position) => statements.push(self.statement()),
                _ => self.no_statement(),
            }
        }
        statements
    }

    /// Reports something that begins no statement, and passes over it; the block that it may have is checked all the same.
    fn no_statement(&mut self) {
        let finding = self.unexpected("a statement");
        let finding = if self.is_named(self.position) {
            finding.help("a named argument follows its statement directly, before the block")
        } else if self.is_infix(self.token_at(self.position)) {
            finding.help("an expression goes on after an operator at the end of a line, or between parentheses")
        } else {
            finding.or_help("a statement begins with a word, as in `text \"Brine\"`")
        };
        self.report(finding);
        self.recover(false);
        if self.at(TokenKind::BlockOpen) {
            self.block();
        }
    }

    fn statement(&mut self) -> Statement {
        let token = self.advance();
        let word = Spanned::new(self.slice(token.span).to_string(), token.span);
        let mut statement =
            Statement { word, definition: None, plain: Vec::new(), named: Vec::new(), block: None, span: token.span };
        self.plain_arguments(&mut statement);
        self.definition(&mut statement);
        self.named_arguments(&mut statement);
        let end = self.previous().span;
        statement.span = token.span.to(Span { start: token.span.start, end: end.end.max(token.span.end) });
        if self.at(TokenKind::BlockOpen) {
            let block = self.block();
            statement.span = statement.span.to(block.span);
            statement.block = Some(block);
        }
        statement
    }

    fn plain_arguments(&mut self, statement: &mut Statement) {
        self.assign_ends = true;
        loop {
            let token = self.peek();
            if ends_arguments(token.kind) || token.kind == TokenKind::Assign || self.is_named(self.position) {
                break;
            }
            let value = if token.kind.begins_value() {
                self.expression()
            } else {
                let finding = self.unexpected("an argument or the end of the line");
                self.fail(finding.or_help("an argument is a number, a name, a text, a call, or `name: value`"))
            };
            match value {
                Ok(value) => statement.plain.push(value),
                Err(_) => {
                    statement.plain.push(self.damaged_from(token));
                    self.recover(true);
                    break;
                }
            }
        }
        self.assign_ends = false;
    }

    /// `= expression` of a `value` statement. Elsewhere `=` is a mistake for `:`, and is read as one.
    fn definition(&mut self, statement: &mut Statement) {
        let is_value = statement.word.value == "value";
        let token = self.peek();
        if is_value && statement.plain.is_empty() && self.is_named(self.position) {
            let name = self.advance();
            let colon = self.advance();
            let written = self.slice(name.span).to_string();
            self.report(
                Finding::error(
                    "unexpected token",
                    colon.span,
                    format!("expected `=` after `value {written}`, found `:`"),
                )
                .help(format!("write `value {written} = …`")),
            );
            statement.plain.push(Expression { kind: ExpressionKind::Name(written), span: name.span });
            statement.definition = Some(self.value_or_recover());
            return;
        }
        if token.kind != TokenKind::Assign {
            return;
        }
        if is_value {
            if statement.plain.is_empty() {
                let finding = self.unexpected("a name after `value`").help("write `value name = …`");
                self.report(finding);
            }
            self.advance();
            statement.definition = Some(self.value_or_recover());
            return;
        }
        let last_name = match statement.plain.last() {
            Some(Expression { kind: ExpressionKind::Name(name), span }) => Some(Spanned::new(name.clone(), *span)),
            _ => None,
        };
        let finding = Finding::error("unexpected token", token.span, "expected `:` before the value, found `=`");
        match last_name {
            Some(name) => {
                self.report(finding.help(format!("write `{}: …`", name.value)));
                statement.plain.pop();
                self.advance();
                let value = self.value_or_recover();
                statement.named.push(NamedArgument { name, value });
            }
            None => {
                self.report(finding.help("only a `value` statement takes `=`; an argument is written `name: value`"));
                self.recover(true);
            }
        }
    }

    fn named_arguments(&mut self, statement: &mut Statement) {
        loop {
            let next = self.after_newlines(self.position);
            if self.is_named(next) {
                self.position = next;
                let argument = self.named_argument();
                if matches!(argument.value.kind, ExpressionKind::Damaged) {
                    self.recover(true);
                }
                statement.named.push(argument);
                continue;
            }
            let token = self.peek();
            if token.kind == TokenKind::Newline && self.token_at(next).kind == TokenKind::BlockOpen {
                let brace = self.token_at(next).span;
                self.report(
                    Finding::error("unexpected token", brace, "expected a statement, found `{` on a line of its own")
                        .help(format!(
                            "put the brace at the end of the line that `{}` stands on",
                            statement.word.value
                        )),
                );
                self.position = next;
                break;
            }
            if ends_arguments(token.kind) {
                break;
            }
            let finding = self.after_last_argument(statement, token);
            self.report(finding);
            self.recover(true);
        }
    }

    /// The finding for something that follows the last argument and belongs to none.
    fn after_last_argument(&mut self, statement: &Statement, token: Token) -> Finding {
        let expected = match statement.named.last() {
            Some(last) => format!("an argument with a name after the value of {}", quoted(&last.name.value)),
            None => "an argument with a name or the end of the line".to_string(),
        };
        let finding = self.unexpected(&expected);
        match token.kind {
            TokenKind::Name => {
                let written = quoted(self.slice(token.span));
                finding.or_help(format!("give {written} a colon and a value, or put it before the named arguments"))
            }
            TokenKind::Assign => finding.or_help("only a `value` statement takes `=`; to compare write `==`"),
            _ => finding.or_help("arguments without a name stand before those with one"),
        }
    }

    /// `name: value`, the name being known to be there.
    pub(super) fn named_argument(&mut self) -> NamedArgument {
        let name = self.advance().span;
        self.advance();
        let name = Spanned::new(self.slice(name).to_string(), name);
        let value = self.argument_value(&name.value);
        NamedArgument { name, value }
    }

    /// What stands after `name:`; damaged, and reported, where there is nothing or it cannot be read.
    pub(super) fn argument_value(&mut self, name: &str) -> Expression {
        let token = self.peek();
        let shown: String = name.chars().take(32).collect();
        if name == "unit" {
            return self.unit_argument();
        }
        if !token.kind.begins_value() || self.is_named(self.position) {
            let finding = self
                .unexpected_in_expression(&format!("a value after `{shown}:`"))
                .or_help(format!("write the value on the same line, or delete `{shown}:`"));
            self.report(finding);
            let end = self.previous().span.end;
            return Expression { kind: ExpressionKind::Damaged, span: Span { start: end, end } };
        }
        self.value_or_damaged()
    }

    /// What stands after `unit:`.
    fn unit_argument(&mut self) -> Expression {
        if let Some(unit) = self.accept(TokenKind::Unit) {
            let written = super::number::normalized_unit(self.slice(unit.span));
            return Expression { kind: ExpressionKind::Unit(written), span: unit.span };
        }
        let token = self.peek();
        let finding = self.unexpected("a unit after `unit:`");
        self.report(match token.kind {
            TokenKind::TextOpen => finding.help("write the unit without quotes: `unit: °C`"),
            _ => finding.or_help("a unit is written as on a label: `°C`, `%`, `hPa`, `m/s`, `µg/m³`"),
        });
        if token.kind == TokenKind::TextOpen && self.expression().is_err() {
            self.recover(true);
        }
        self.damaged_from(token)
    }

    /// An expression, or what is left of one after a mistake.
    fn value_or_damaged(&mut self) -> Expression {
        let token = self.peek();
        match self.expression() {
            Ok(value) => value,
            Err(_) => self.damaged_from(token),
        }
    }

    /// The same, going on behind the mistake.
    fn value_or_recover(&mut self) -> Expression {
        let value = self.value_or_damaged();
        if matches!(value.kind, ExpressionKind::Damaged) {
            self.recover(true);
        }
        value
    }

    /// A damaged expression from `token` to what was read last.
    pub(super) fn damaged_from(&self, token: Token) -> Expression {
        let end = self.previous().span.end;
        let start = token.span.start.min(end);
        Expression { kind: ExpressionKind::Damaged, span: Span { start, end } }
    }

    /// Goes on to the next place where sense can be made again: a block, the end of a block, the end of the line, or, if
    /// `at_names`, a named argument on this line or at the start of the next.
    fn recover(&mut self, at_names: bool) {
        self.parens = 0;
        self.fields.clear();
        loop {
            let kind = self.token_at(self.position).kind;
            if ends_arguments(kind) || at_names && self.is_named(self.position) {
                return;
            }
            self.position += 1;
        }
    }

    /// Goes on to the end of the line, or a brace of a block before it.
    pub(super) fn skip_line(&mut self) {
        while !ends_arguments(self.token_at(self.position).kind) {
            self.position += 1;
        }
    }

    /// A block, its brace being known to be there.
    fn block(&mut self) -> Block {
        let open = self.advance().span;
        if self.depth >= MAX_DEPTH {
            self.report(mistakes::too_deep(open));
            return self.skipped_block(open);
        }
        self.depth += 1;
        let statements = self.statements();
        self.depth -= 1;
        let close = match self.accept(TokenKind::BlockClose) {
            Some(close) => close.span,
            None => {
                self.unclosed_block(open);
                let end = self.previous().span.end;
                return Block { statements, span: Span { start: open.start, end: end.max(open.end) } };
            }
        };
        if self.shifted_block.is_none() && self.is_shifted(open, close) {
            self.shifted_block = Some(open);
        }
        Block { statements, span: open.to(close) }
    }

    /// Passes over a block that is too deep, whatever stands in it, without going deeper.
    fn skipped_block(&mut self, open: Span) -> Block {
        let mut depth = 1;
        while depth > 0 {
            let token = self.token_at(self.position);
            match token.kind {
                TokenKind::BlockOpen => depth += 1,
                TokenKind::BlockClose => depth -= 1,
                TokenKind::End => {
                    self.unclosed_reported = true;
                    break;
                }
                _ => {}
            }
            self.position += 1;
        }
        Block { statements: Vec::new(), span: open.to(self.previous().span) }
    }

    /// Reports a block without its closing brace, once a file; the place is the block whose brace seems to be missing, going
    /// by how far the lines are indented.
    fn unclosed_block(&mut self, open: Span) {
        if self.unclosed_reported || self.gives_up() {
            return;
        }
        self.unclosed_reported = true;
        let place = self.shifted_block.unwrap_or(open);
        self.report(
            Finding::error("unclosed block", place, "expected `}` before the end of the file, found none")
                .label("this block is not closed")
                .help("close the block with `}`"),
        );
    }

    /// Whether the closing brace is the first on its line and stands further left than the line that opened the block.
    fn is_shifted(&self, open: Span, close: Span) -> bool {
        let first_on_line = self.position >= 2 && self.token_at(self.position - 2).kind == TokenKind::Newline;
        first_on_line && self.indent(close.start) < self.indent(open.start)
    }

    /// How many blanks the line begins with that holds the byte `at`.
    fn indent(&self, at: u32) -> usize {
        let before = &self.text[..at as usize];
        let line = &before[before.rfind('\n').map_or(0, |newline| newline + 1)..];
        line.len() - line.trim_start_matches([' ', '\t']).len()
    }
}

/// Whether no argument of a statement can begin or go on with `kind`.
fn ends_arguments(kind: TokenKind) -> bool {
    matches!(kind, TokenKind::Newline | TokenKind::BlockOpen | TokenKind::BlockClose | TokenKind::End)
}
