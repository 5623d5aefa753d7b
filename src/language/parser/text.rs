//! Quoted texts: literal pieces, escapes and fields.

use super::super::syntax::{Expression, ExpressionKind, Format, Piece, Spanned};
use super::super::tokens::{Token, TokenKind};
use super::super::{Finding, Span};
use super::format::parse_format;
use super::mistakes::quoted;
use super::{Parsed, Parser};

impl Parser<'_> {
    /// A text, its opening quote being known to be there. A text that its line cuts off is damaged; what was left of the line
    /// has no tokens, so that the caller can go on.
    pub(super) fn quoted_text(&mut self) -> Expression {
        let open = self.advance();
        let mut pieces = Vec::new();
        loop {
            let token = self.advance();
            match token.kind {
                TokenKind::Literal => {
                    let literal = self.literal(token.span);
                    pieces.push(Piece::Literal(Spanned::new(literal, token.span)));
                }
                TokenKind::FieldOpen => pieces.push(self.field(token)),
                TokenKind::TextClose => {
                    let span = open.span.to(token.span);
                    return Expression { kind: ExpressionKind::Text(pieces), span };
                }
                _ => {
                    // The lexer ends a text in no other way than `TextCut`.
                    self.text_cut(open, token);
                    return Expression { kind: ExpressionKind::Damaged, span: open.span.to(token.span) };
                }
            }
        }
    }

    /// Reports a text that does not end on its line, unless a field within it has been reported for that already.
    fn text_cut(&mut self, open: Token, cut: Token) {
        let before = self.position.checked_sub(2).map(|index| self.token_at(index).kind);
        if before == Some(TokenKind::FieldCut) {
            return;
        }
        match self.fields.first() {
            Some(&field) => self.report(unclosed_field(field, "the end of the line")),
            None => self.report(
                Finding::error(
                    "unfinished text",
                    open.span.to(cut.span),
                    "expected `\"` at the end of the text, found the end of the line",
                )
                .help("a text ends on the line that it begins on; a line break in it is written `\\n`"),
            ),
        }
    }

    /// A field, its opening brace having been taken.
    fn field(&mut self, open: Token) -> Piece {
        let parens = std::mem::replace(&mut self.parens, 0);
        let assign_ends = std::mem::replace(&mut self.assign_ends, false);
        let fields = self.fields.len();
        self.fields.push(open.span);
        let first = self.position;
        let result = self.nested(|parser| parser.field_inside(open));
        self.fields.truncate(fields);
        self.parens = parens;
        self.assign_ends = assign_ends;
        if let Ok((value, format, close)) = result {
            return Piece::Field { value, format, span: open.span.to(close) };
        }
        let start = self.token_at(first).span.start.max(open.span.end);
        let close = self.skip_field();
        let inside = Span { start: start.min(close.start), end: close.start };
        let value = Expression { kind: ExpressionKind::Damaged, span: inside };
        Piece::Field { value, format: Format::default(), span: open.span.to(close) }
    }

    /// What stands between the braces, and the closing one.
    fn field_inside(&mut self, open: Token) -> Parsed<(Expression, Format, Span)> {
        let token = self.peek();
        if matches!(token.kind, TokenKind::FieldClose | TokenKind::Format) {
            let finding =
                Finding::error("empty field", open.span.to(token.span), "expected a value after `{`, found nothing")
                    .help("write what to show, as in `{temp:.1}`; braces to be shown are written `{{` and `}}`");
            return self.fail(finding);
        }
        let value = self.expression()?;
        let format = match self.accept(TokenKind::Format) {
            Some(token) => self.format(token),
            None => Format::default(),
        };
        let token = self.peek();
        match token.kind {
            TokenKind::FieldClose => {
                self.advance();
                Ok((value, format, token.span))
            }
            TokenKind::FieldCut => {
                // A nested text that its line cut off has been reported with the outermost field.
                if self.previous().kind != TokenKind::TextCut {
                    let found = match self.token_at(self.position + 1).kind {
                        TokenKind::TextClose => "the end of the text",
                        _ => "the end of the line",
                    };
                    self.report(unclosed_field(open.span, found));
                }
                self.advance();
                Ok((value, format, token.span))
            }
            _ => {
                let finding = self.unexpected("`}` or `:` and a format");
                self.fail(finding.or_help("a field shows one value; write each value in braces of its own"))
            }
        }
    }

    fn format(&mut self, token: Token) -> Format {
        match parse_format(self.slice(token.span), token.span.start as usize) {
            Ok(format) => format,
            Err(finding) => {
                self.report(*finding);
                Format::default()
            }
        }
    }

    /// Passes over what is left of the field in hand; the result is its closing brace, or where it is cut off.
    fn skip_field(&mut self) -> Span {
        let mut depth = 0;
        loop {
            let token = self.token_at(self.position);
            match token.kind {
                TokenKind::FieldOpen => depth += 1,
                TokenKind::FieldClose | TokenKind::FieldCut if depth == 0 => {
                    self.position += 1;
                    return token.span;
                }
                TokenKind::FieldClose | TokenKind::FieldCut => depth -= 1,
                TokenKind::End => return token.span,
                _ => {}
            }
            self.position += 1;
        }
    }

    /// The characters that the literal at `span` stands for.
    pub(super) fn literal(&mut self, span: Span) -> String {
        let written = self.slice(span);
        let mut shown = String::with_capacity(written.len());
        let mut at = 0;
        while let Some(c) = written[at..].chars().next() {
            let rest = &written[at..];
            let length = match c {
                '{' => {
                    shown.push('{');
                    2
                }
                '}' => {
                    if !rest.starts_with("}}") {
                        let brace = Span::new(span.start as usize + at, span.start as usize + at + 1);
                        self.report(
                            Finding::error("unexpected token", brace, "expected `}}` in a text, found a single `}`")
                                .help("write `}}` for a brace; a field begins with `{`"),
                        );
                    }
                    shown.push('}');
                    if rest.starts_with("}}") { 2 } else { 1 }
                }
                '\\' => {
                    let (escaped, length) = escape(rest);
                    match escaped {
                        Some(c) => shown.push(c),
                        None => {
                            let place = Span::new(span.start as usize + at, span.start as usize + at + length);
                            self.report(bad_escape(&rest[..length], place));
                        }
                    }
                    length
                }
                '\t' => {
                    shown.push(' ');
                    1
                }
                _ => {
                    shown.push(c);
                    c.len_utf8()
                }
            };
            at = (at + length).min(written.len());
        }
        shown
    }
}

/// The character that the escape at the start of `text` stands for, if any, and the escape's length in bytes.
fn escape(text: &str) -> (Option<char>, usize) {
    let Some(c) = text[1..].chars().next() else { return (None, 1) };
    let simple = match c {
        '"' | '\\' => Some(c),
        'n' => Some('\n'),
        _ => None,
    };
    if c != 'u' || simple.is_some() {
        return (simple, 1 + c.len_utf8());
    }
    let digits = text.strip_prefix("\\u{").and_then(|rest| rest.split_once('}')).map(|(digits, _)| digits);
    let Some(digits) = digits.filter(|digits| digits.bytes().all(|byte| byte.is_ascii_hexdigit())) else {
        return (None, 2);
    };
    let escaped = u32::from_str_radix(digits, 16).ok().and_then(char::from_u32).filter(|c| !c.is_control());
    (escaped, 3 + digits.len() + 1)
}

fn bad_escape(written: &str, span: Span) -> Finding {
    let help = match written.as_bytes().get(1) {
        Some(b'u') => "write the code point of a character that can be shown, as in `\\u{b0}`",
        _ => "there are `\\\"`, `\\\\`, `\\n` and `\\u{…}`",
    };
    Finding::error("bad escape", span, format!("expected an escape, found {}", quoted(written))).help(help)
}

fn unclosed_field(open: Span, found: &str) -> Finding {
    Finding::error("unclosed field", open, format!("expected `}}` at the end of the field, found {found}"))
        .label("the field begins here")
        .help("end the field with `}`; a brace to be shown is written `{{`")
}
