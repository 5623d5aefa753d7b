//! The wording of what can be wrong with the grammar: "expected …, found …", and what to write instead.
//!
//! In come tokens and what stands before and behind them, out come findings. Nothing is read on or passed over here.

use super::super::tokens::{ForeignOperator, NumberMistake, Token, TokenKind};
use super::super::{Finding, Span};
use super::{MAX_DEPTH, MAX_OPERATORS, Parser};

/// The longest piece of a file that a message quotes, in characters.
const MAX_QUOTED: usize = 32;

/// `text` in backquotes, cut where it is long, control characters escaped.
pub(super) fn quoted(text: &str) -> String {
    let mut shown: String = text.chars().take(MAX_QUOTED).flat_map(shown_character).collect();
    if text.chars().nth(MAX_QUOTED).is_some() {
        shown.push('…');
    }
    format!("`{shown}`")
}

/// A character as a message shows it: what cannot be seen is written as its code point.
fn shown_character(c: char) -> Vec<char> {
    if c.is_control() || (c.is_whitespace() && c != ' ') { c.escape_unicode().collect() } else { vec![c] }
}

pub(super) fn too_deep(span: Span) -> Finding {
    Finding::error("nesting too deep", span, format!("expected at most {MAX_DEPTH} levels of nesting, found more"))
        .help("define parts of the expression as a `value` of their own, or put fewer blocks inside each other")
}

pub(super) fn too_long(span: Span) -> Finding {
    let message = format!("expected at most {MAX_OPERATORS} operators in an expression, found more");
    Finding::error("expression too long", span, message).help("define parts of it as a `value` of their own")
}

impl Finding {
    /// The same finding with `help`, where it has none yet.
    pub(super) fn or_help(self, help: impl Into<String>) -> Self {
        if self.help.is_some() { self } else { self.help(help) }
    }
}

impl Parser<'_> {
    /// What `token` is called in "found …".
    pub(super) fn describe(&self, token: Token) -> String {
        match token.kind {
            TokenKind::Newline => "the end of the line".into(),
            TokenKind::End => "the end of the file".into(),
            TokenKind::TextOpen => "a text".into(),
            TokenKind::FieldCut => "the end of the text".into(),
            TokenKind::TextCut => "the end of the line".into(),
            TokenKind::Format => "`:`".into(),
            _ => quoted(self.slice(token.span)),
        }
    }

    /// Where the caret goes for `token`: behind what was read last, where it is the end of something.
    pub(super) fn caret(&self, token: Token) -> Span {
        match token.kind {
            TokenKind::TextOpen => token.span.to(self.text_end()),
            TokenKind::Newline | TokenKind::End | TokenKind::FieldCut | TokenKind::TextCut => {
                let end = self.previous().span.end;
                Span { start: end, end }
            }
            TokenKind::Format => Span { start: token.span.start.saturating_sub(1), end: token.span.start },
            _ => token.span,
        }
    }

    /// The quote that ends the text that begins at this point, or the place where its line cuts it off.
    fn text_end(&self) -> Span {
        let mut depth = 0;
        for token in &self.tokens[self.position..] {
            match token.kind {
                TokenKind::TextOpen => depth += 1,
                TokenKind::TextClose | TokenKind::TextCut if depth == 1 => return token.span,
                TokenKind::TextClose | TokenKind::TextCut => depth -= 1,
                TokenKind::Newline => break,
                _ => {}
            }
        }
        self.token_at(self.position).span
    }

    /// The next token; but the line break before it, where one has been passed over in vain: nothing that could go on with
    /// the line stands on the next.
    fn offending(&mut self) -> Token {
        let token = self.peek();
        let line_break = self.tokens[..self.position].last().filter(|before| before.kind == TokenKind::Newline);
        let ends = matches!(token.kind, TokenKind::BlockOpen | TokenKind::BlockClose | TokenKind::End);
        match line_break {
            Some(&line_break) if ends || self.is_named(self.position) => line_break,
            _ => token,
        }
    }

    /// "expected …, found …" for the next token, with the help that fits it.
    pub(super) fn unexpected(&mut self, expected: &str) -> Finding {
        let token = self.peek();
        self.unexpected_token(expected, token)
    }

    /// The same within an expression that may have gone on from line to line.
    pub(super) fn unexpected_in_expression(&mut self, expected: &str) -> Finding {
        let token = self.offending();
        self.unexpected_token(expected, token)
    }

    fn unexpected_token(&self, expected: &str, token: Token) -> Finding {
        let before = self.previous();
        let message = format!("expected {expected}, found {}", self.describe(token));
        let finding = Finding::error("unexpected token", self.caret(token), message);
        match self.help_for(token, before) {
            Some(help) => finding.help(help),
            None => finding,
        }
    }

    /// The same where a value must begin: says after what.
    pub(super) fn missing_value(&mut self) -> Finding {
        let before = self.previous();
        let operator = matches!(
            before.kind,
            TokenKind::Foreign(_)
                | TokenKind::Plus
                | TokenKind::Minus
                | TokenKind::Star
                | TokenKind::Slash
                | TokenKind::Less
                | TokenKind::LessOrEqual
                | TokenKind::Greater
                | TokenKind::GreaterOrEqual
                | TokenKind::Equal
                | TokenKind::NotEqual
                | TokenKind::Assign
                | TokenKind::Range
                | TokenKind::ParenOpen
                | TokenKind::Comma
        ) || before.kind.is_keyword();
        if !operator {
            return self.unexpected_in_expression("a value").or_help("write a number, a name, a text or a call");
        }
        let after = quoted(self.slice(before.span));
        let finding = self.unexpected_in_expression(&format!("a value after {after}"));
        match before.kind {
            TokenKind::Range => finding.or_help("a range has a value on both sides: `8..16`"),
            _ => finding.or_help(format!("write the value that belongs there, or delete {after}")),
        }
    }

    fn help_for(&self, token: Token, before: Token) -> Option<String> {
        let written = self.slice(token.span);
        let next = self.token_at(self.position + 1);
        Some(match token.kind {
            TokenKind::Comma if self.parens == 0 => {
                "arguments are separated by spaces; commas stand only between parentheses".into()
            }
            TokenKind::Unit if before.kind == TokenKind::Number => {
                format!("a unit follows its number without a space: `{}{written}`", self.slice(before.span))
            }
            TokenKind::Unit => {
                "a unit stands right behind a number (`8°C`), after `unit:` or after `as`; there is no remainder operator"
                    .into()
            }
            TokenKind::Name if before.kind == TokenKind::Number && written.chars().count() <= 5 => format!(
                "if {} is a unit, write it without a space: `{}{written}`",
                quoted(written),
                self.slice(before.span)
            ),
            TokenKind::ParenClose if self.parens == 0 => "no parenthesis is open here; delete it".into(),
            TokenKind::Slash if next.kind == TokenKind::Slash => "a comment begins with `#`".into(),
            TokenKind::Range => "a range has a value on both sides: `8..16`".into(),
            TokenKind::Plus => "a number needs no `+`".into(),
            TokenKind::Name | TokenKind::TextOpen if before.kind == TokenKind::BlockClose => {
                "start the next statement on a line of its own".into()
            }
            kind if kind.is_keyword() && self.parens == 0 => {
                format!("{} is kept for expressions and cannot be a name", quoted(written))
            }
            TokenKind::Stray => return stray_help(written),
            _ => return None,
        })
    }
}

/// What to write instead of a character that has no meaning.
fn stray_help(written: &str) -> Option<String> {
    let help = match written.chars().next()? {
        '.' if written.len() > 1 => "a range has two points: `8..16`",
        '.' => "there are no parts after a point here; a number has digits on both sides of its point",
        '–' | '—' => "write `8..16` for a range, and `-` for minus",
        '“' | '”' | '„' | '‟' | '«' | '»' | '\'' | '‘' | '’' | '`' => {
            "a text stands between straight double quotes: `\"…\"`"
        }
        ';' => "a statement ends with its line",
        '[' | ']' => "use parentheses: `(71, 8)`",
        '{' => "a brace within a field begins nothing; for a brace to be shown write `{{`",
        '^' => "there are no powers; multiply: `a * a`",
        '?' => "a choice is written `if a then b else c`",
        '\\' => "a line goes on by itself where the next one begins with a named argument",
        '\u{a0}' | '\u{2007}' | '\u{202f}' => "this is a space that does not break; write an ordinary space",
        c if c.is_whitespace() || c.is_control() || c == '\u{200b}' || c == '\u{feff}' => {
            "this character cannot be seen; delete it"
        }
        _ => return None,
    };
    Some(help.into())
}

/// The finding for an operator of another language, which is read as what it means.
pub(super) fn foreign(operator: ForeignOperator, written: &str, span: Span) -> Finding {
    let here = match operator {
        ForeignOperator::And => "and",
        ForeignOperator::Or => "or",
        ForeignOperator::Not => "not",
        ForeignOperator::LessOrEqual => "<=",
        ForeignOperator::GreaterOrEqual => ">=",
        ForeignOperator::NotEqual => "!=",
        ForeignOperator::Multiply => "*",
        ForeignOperator::Divide => "/",
    };
    Finding::error("unknown operator", span, format!("expected `{here}`, found {}", quoted(written)))
        .help(format!("write `{here}`"))
}

/// The finding for a number gone wrong.
pub(super) fn bad_number(mistake: NumberMistake, written: &str, span: Span) -> Finding {
    let (message, help) = match mistake {
        NumberMistake::NothingBeforePoint => (
            format!("expected a digit before the point, found {}", quoted(written)),
            format!("write {}", quoted(&format!("0{written}"))),
        ),
        NumberMistake::NothingAfterPoint => (
            format!("expected a digit after the point, found {}", quoted(written)),
            format!("write {}; a range has two points: `8..16`", quoted(&format!("{written}0"))),
        ),
        NumberMistake::TwoPoints => (
            format!("expected one decimal point, found {}", quoted(written)),
            "a range has two points side by side: `8..16`".into(),
        ),
        NumberMistake::Exponent => {
            (format!("expected a number written in full, found {}", quoted(written)), in_full(written))
        }
        NumberMistake::Underscore => (
            format!("expected a number without `_`, found {}", quoted(written)),
            format!("write {}", quoted(&written.replace('_', ""))),
        ),
        NumberMistake::DigitAfterUnit => (
            format!("expected the unit to end, found a digit in {}", quoted(written)),
            "a power in a unit is written `m²` or `m^2`; a number has one unit".into(),
        ),
        NumberMistake::Dimensions => (
            format!("expected a width and a height, found {}", quoted(written)),
            "write whole pixels with an `x` between, as in `128x32`; a product is written `a * b`".into(),
        ),
    };
    Finding::error("bad number", span, message).help(help)
}

/// How to write a number with an exponent.
fn in_full(written: &str) -> String {
    match written.parse::<f64>() {
        Ok(value) if value == 0.0 || (1e-9..1e12).contains(&value) => format!("write `{value}`"),
        _ => "write all its digits".into(),
    }
}
