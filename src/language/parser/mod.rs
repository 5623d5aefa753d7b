//! Tokens to syntax tree, by recursive descent, with a way on after each mistake.
//!
//! In comes the text of a layout file, out come a [`Document`] and the findings, in the order of the file. A mistake is reported
//! once: what is missing becomes [`ExpressionKind::Damaged`](super::syntax::ExpressionKind::Damaged), and reading goes on at the
//! next named argument, block or line. Depth, length and the number of findings are bounded, so that no input can exhaust the
//! stack, the memory or the reader's patience.

mod expression;
mod format;
mod list;
mod mistakes;
mod number;
mod statement;
mod text;

#[cfg(test)]
mod corpus;
#[cfg(test)]
mod shapes;
#[cfg(test)]
mod torture;

pub use format::parse_format;

use super::source;
use super::syntax::Document;
use super::tokens::{Token, TokenKind, tokenize};
use super::{Finding, Span};

/// How deep blocks, parentheses, fields and conditions may be nested, all counted together.
pub const MAX_DEPTH: usize = 64;

/// How many operators one expression may hold, fields and parentheses within it included: this bounds the height of its tree.
pub const MAX_OPERATORS: usize = 256;

/// How many findings are reported for one file.
pub const MAX_FINDINGS: usize = 100;

/// Something is wrong here and has been reported; whoever gets this looks for a place to go on from.
struct Reported;

type Parsed<T> = Result<T, Reported>;

/// The syntax tree of a layout file, and what is wrong with it. Findings stand in the order of the file; an empty list means
/// that the whole text follows the grammar. Takes time in proportion to the text.
pub fn parse(text: &str) -> (Document, Vec<Finding>) {
    if let Some(finding) = source::refuse(text.as_bytes()) {
        return (Document::default(), vec![finding]);
    }
    let mut parser = Parser::new(text);
    let statements = parser.statements();
    let mut findings = parser.findings;
    findings.sort_by_key(|finding| finding.span.start);
    if findings.len() >= MAX_FINDINGS {
        findings.truncate(MAX_FINDINGS);
        let last = findings.last().map_or_else(Span::default, |finding| finding.span);
        findings.push(
            Finding::error("too many findings", last, format!("gave up after {MAX_FINDINGS} mistakes"))
                .help("mend these first, then check again"),
        );
    }
    (Document { statements }, findings)
}

struct Parser<'a> {
    text: &'a str,
    /// Never empty: the last one is [`TokenKind::End`].
    tokens: Vec<Token>,
    position: usize,
    findings: Vec<Finding>,
    /// Nested constructs open at this point.
    depth: usize,
    /// Parentheses open at this point; within them a line break means nothing.
    parens: usize,
    /// Operators so far in the outermost expression.
    operators: usize,
    /// Expressions open around this point.
    open_expressions: usize,
    /// Whether `=` ends an expression here instead of being a mistyped `==`.
    assign_ends: bool,
    /// The opening braces of the fields around this point.
    fields: Vec<Span>,
    /// The first block whose closing brace stands further left than the line that opened it.
    shifted_block: Option<Span>,
    /// Whether a block without its closing brace has been reported.
    unclosed_reported: bool,
}

impl<'a> Parser<'a> {
    fn new(text: &'a str) -> Self {
        let mut tokens = tokenize(text);
        tokens.retain(|token| token.kind != TokenKind::Comment);
        Self {
            text,
            tokens,
            position: 0,
            findings: Vec::new(),
            depth: 0,
            parens: 0,
            operators: 0,
            open_expressions: 0,
            assign_ends: false,
            fields: Vec::new(),
            shifted_block: None,
            unclosed_reported: false,
        }
    }

    fn report(&mut self, finding: Finding) {
        if self.findings.len() < MAX_FINDINGS {
            self.findings.push(finding);
        }
    }

    /// Reports `finding` where an expression or a part of it cannot be had.
    fn fail<T>(&mut self, finding: Finding) -> Parsed<T> {
        self.report(finding);
        Err(Reported)
    }

    /// Whether so much is wrong that reading on is pointless.
    fn gives_up(&self) -> bool {
        self.findings.len() >= MAX_FINDINGS
    }

    /// The token with this index, line breaks included; past the end, the end.
    fn token_at(&self, index: usize) -> Token {
        let last = self.tokens.len() - 1;
        self.tokens[index.min(last)]
    }

    /// The next token. Within parentheses line breaks are passed over.
    fn peek(&mut self) -> Token {
        if self.parens > 0 {
            self.skip_newlines();
        }
        self.token_at(self.position)
    }

    fn at(&mut self, kind: TokenKind) -> bool {
        self.peek().kind == kind
    }

    /// Takes the next token; the end of the file stays where it is.
    fn advance(&mut self) -> Token {
        let token = self.peek();
        if token.kind != TokenKind::End {
            self.position += 1;
        }
        token
    }

    /// Takes the next token if it is a `kind`.
    fn accept(&mut self, kind: TokenKind) -> Option<Token> {
        self.at(kind).then(|| self.advance())
    }

    /// The token taken last, line breaks left out; at the start of the file, an empty line break there.
    fn previous(&self) -> Token {
        let taken = self.tokens[..self.position].iter().rev().find(|token| token.kind != TokenKind::Newline);
        taken.copied().unwrap_or(Token { kind: TokenKind::Newline, span: Span::default() })
    }

    fn skip_newlines(&mut self) {
        self.position = self.after_newlines(self.position);
    }

    /// The first token from `index` on that is no line break.
    fn after_newlines(&self, index: usize) -> usize {
        let line_breaks = self.tokens[index..].iter().take_while(|token| token.kind == TokenKind::Newline).count();
        index + line_breaks
    }

    /// Whether a named argument begins at the token with this index: a name (here keywords are names, too) and a colon.
    fn is_named(&self, index: usize) -> bool {
        let first = self.token_at(index).kind;
        (first == TokenKind::Name || first.is_keyword()) && self.token_at(index + 1).kind == TokenKind::Colon
    }

    fn slice(&self, span: Span) -> &'a str {
        self.text.get(span.range()).unwrap_or_default()
    }

    /// Runs `read` one level deeper, unless that is too deep.
    fn nested<T>(&mut self, read: impl FnOnce(&mut Self) -> Parsed<T>) -> Parsed<T> {
        if self.depth >= MAX_DEPTH {
            let span = self.peek().span;
            return self.fail(mistakes::too_deep(span));
        }
        self.depth += 1;
        let result = read(self);
        self.depth -= 1;
        result
    }

    /// Counts an operator against [`MAX_OPERATORS`].
    fn count_operator(&mut self, span: Span) -> Parsed<()> {
        self.operators += 1;
        if self.operators > MAX_OPERATORS {
            return self.fail(mistakes::too_long(span));
        }
        Ok(())
    }
}
