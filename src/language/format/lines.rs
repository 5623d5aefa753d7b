//! Tokens to lines: where a line ends, how deep it stands, and where one blank stands between two tokens.
//!
//! In comes the text of a layout, out come its lines, each cut before its named arguments. Where the file's own line break
//! is not known to be free, it stays.

use super::super::tokens::{Token, TokenKind, tokenize};

/// A line of the canonical form; without pieces and comment it is blank.
#[derive(Debug, Default)]
pub(super) struct Line {
    /// Blanks before it.
    indent: usize,
    /// What stands on it: the statement's word and plain arguments, then one piece for each named argument.
    pieces: Vec<String>,
    /// The comment at its end.
    comment: Option<String>,
}

impl Line {
    fn is_blank(&self) -> bool {
        self.pieces.is_empty() && self.comment.is_none()
    }

    /// Whether a reading stands here from its word to its last argument, in no more than `columns`.
    pub(super) fn is_whole_reading(&self, columns: usize) -> bool {
        self.pieces.first().is_some_and(|head| head.starts_with("reading ")) && self.width() <= columns
    }

    /// The characters before the comment.
    pub(super) fn width(&self) -> usize {
        let blanks = self.indent + self.pieces.len().saturating_sub(1);
        blanks + self.pieces.iter().map(|piece| width(piece)).sum::<usize>()
    }

    /// The name of the argument that piece `at` gives.
    pub(super) fn argument(&self, at: usize) -> Option<&str> {
        self.pieces.get(at)?.split_once(':').map(|(name, _)| name)
    }

    /// The characters of piece `at`.
    pub(super) fn piece_width(&self, at: usize) -> usize {
        self.pieces.get(at).map_or(0, |piece| width(piece))
    }

    /// Fills piece `at` with blanks up to `to` characters.
    pub(super) fn pad(&mut self, at: usize, to: usize) {
        if let Some(piece) = self.pieces.get_mut(at) {
            *piece += &" ".repeat(to.saturating_sub(width(piece)));
        }
    }

    /// Writes the line, on several where it is longer than `columns`.
    pub(super) fn write(&self, out: &mut String, columns: usize) {
        let mut row = " ".repeat(self.indent);
        for (at, piece) in self.pieces.iter().enumerate() {
            if at > 0 && width(&row) + 1 + width(piece) > columns {
                out.push_str(row.trim_end());
                out.push('\n');
                row = " ".repeat(self.indent + 4);
            } else if at > 0 {
                row.push(' ');
            }
            row += piece;
        }
        if let Some(comment) = &self.comment {
            row += if self.pieces.is_empty() { "" } else { " " };
            row += comment;
        }
        out.push_str(row.trim_end());
        out.push('\n');
    }
}

/// Characters, as an editor counts columns.
fn width(text: &str) -> usize {
    text.chars().count()
}

/// The lines of `text`, which parses without an error.
pub(super) fn lines(text: &str) -> Vec<Line> {
    let mut builder = Builder { text, ..Builder::default() };
    let tokens = tokenize(text);
    let mut at = 0;
    while at < tokens.len() {
        at = builder.take(&tokens, at);
    }
    builder.end_line(false);
    while builder.lines.last().is_some_and(Line::is_blank) {
        builder.lines.pop();
    }
    builder.lines
}

#[derive(Default)]
struct Builder<'a> {
    text: &'a str,
    lines: Vec<Line>,
    line: Line,
    /// Blocks that are open.
    depth: usize,
    /// Parentheses that are open.
    parens: usize,
    /// Whether the line in hand goes on with the statement of the line before.
    continues: bool,
    /// The token before, on this line.
    previous: Option<Token>,
    /// Line breaks since the last line ended.
    breaks: usize,
}

impl Builder<'_> {
    /// Takes the token at `at`, and gives the place of the next one.
    fn take(&mut self, tokens: &[Token], at: usize) -> usize {
        let token = tokens[at];
        match token.kind {
            TokenKind::End => {}
            TokenKind::Newline => return self.line_break(tokens, at),
            TokenKind::Comment => {
                self.begin();
                self.line.comment = Some(self.text[token.span.range()].trim_end().to_string());
            }
            TokenKind::BlockOpen => {
                self.add(token, "{", false);
                self.depth += 1;
                self.close_row(tokens, at);
            }
            TokenKind::BlockClose => {
                self.end_line(false);
                self.depth = self.depth.saturating_sub(1);
                while self.lines.last().is_some_and(Line::is_blank) {
                    self.lines.pop();
                }
                self.breaks = 0;
                self.add(token, "}", false);
                self.close_row(tokens, at);
            }
            TokenKind::TextOpen => {
                let end = text_end(tokens, at);
                let span = token.span.to(tokens[end].span);
                let whole = self.text[span.range()].to_string();
                self.add(token, &whole, false);
                self.previous = Some(tokens[end]);
                return end + 1;
            }
            kind => {
                let named = self.parens == 0 && names_argument(tokens, at) && self.previous.is_some();
                let written = self.text[token.span.range()].to_string();
                self.add(token, &written, named);
                match kind {
                    TokenKind::ParenOpen => self.parens += 1,
                    TokenKind::ParenClose => self.parens = self.parens.saturating_sub(1),
                    _ => {}
                }
            }
        }
        at + 1
    }

    /// Ends the line behind a brace, unless a comment follows on it.
    fn close_row(&mut self, tokens: &[Token], at: usize) {
        if tokens.get(at + 1).is_none_or(|next| next.kind != TokenKind::Comment) {
            self.end_line(false);
        }
    }

    /// Takes the line break at `at`, with those behind it where the statement goes on, and gives the place of the next token.
    fn line_break(&mut self, tokens: &[Token], at: usize) -> usize {
        if self.line.is_blank() {
            self.breaks += 1;
            return at + 1;
        }
        let next = at + tokens[at..].iter().take_while(|token| token.kind == TokenKind::Newline).count();
        let open = self.parens > 0 || self.previous.is_some_and(|token| !ends_line(token.kind));
        let named = names_argument(tokens, next) && self.previous.is_some_and(|token| !is_brace(token.kind));
        let before_comment = tokens.get(next).is_some_and(|token| token.kind == TokenKind::Comment);
        if (open || named) && self.line.comment.is_none() && !before_comment {
            return next;
        }
        self.end_line(open || named);
        self.breaks = 1;
        at + 1
    }

    /// Puts a blank line before the line in hand where the file has one, but not at the start of a block or of the file.
    fn begin(&mut self) {
        if !self.line.is_blank() {
            return;
        }
        let opens = self.lines.last().is_none_or(|line| line.pieces.last().is_some_and(|piece| piece.ends_with('{')));
        if self.breaks > 1 && !opens {
            self.lines.push(Line::default());
        }
        self.breaks = 0;
        self.line.indent = 2 * self.depth + if self.continues { 4 } else { 0 };
    }

    fn add(&mut self, token: Token, written: &str, named: bool) {
        self.begin();
        let blank = self.previous.is_some_and(|previous| self.blank_between(previous, token));
        match self.line.pieces.last_mut() {
            Some(piece) if !named => {
                piece.push_str(if blank { " " } else { "" });
                piece.push_str(written);
            }
            _ => self.line.pieces.push(written.to_string()),
        }
        self.previous = Some(token);
    }

    fn end_line(&mut self, continues: bool) {
        if !self.line.is_blank() {
            self.lines.push(std::mem::take(&mut self.line));
            self.breaks = 0;
        }
        self.continues = continues;
        self.previous = None;
    }

    /// Whether a blank stands between two tokens; where either form may mean something else, as the file has it.
    fn blank_between(&self, before: Token, after: Token) -> bool {
        use TokenKind as T;
        match (before.kind, after.kind) {
            (T::ParenOpen, _) | (_, T::ParenClose | T::Comma | T::Colon) => false,
            (T::Comma | T::Colon, _) | (_, T::BlockOpen) => true,
            (a, b) if is_operator(a) || is_operator(b) => true,
            _ => before.span.end < after.span.start,
        }
    }
}

/// The place of the quote that ends the text that begins at `start`.
fn text_end(tokens: &[Token], start: usize) -> usize {
    let mut open = 0usize;
    for (at, token) in tokens.iter().enumerate().skip(start) {
        match token.kind {
            TokenKind::TextOpen => open += 1,
            TokenKind::TextClose | TokenKind::TextCut => open = open.saturating_sub(1),
            _ => {}
        }
        if open == 0 {
            return at;
        }
    }
    start
}

fn names_argument(tokens: &[Token], at: usize) -> bool {
    let kind = |at: usize| tokens.get(at).map(|token| token.kind);
    let name = kind(at).is_some_and(|kind| kind == TokenKind::Name || kind.is_keyword());
    name && kind(at + 1) == Some(TokenKind::Colon)
}

fn is_brace(kind: TokenKind) -> bool {
    matches!(kind, TokenKind::BlockOpen | TokenKind::BlockClose)
}

/// Operators that mean the same with and without blanks around them.
fn is_operator(kind: TokenKind) -> bool {
    use TokenKind as T;
    matches!(
        kind,
        T::Assign
            | T::Plus
            | T::Star
            | T::Less
            | T::LessOrEqual
            | T::Greater
            | T::GreaterOrEqual
            | T::Equal
            | T::NotEqual
    )
}

/// Whether a line may end with this token without the expression going on.
fn ends_line(kind: TokenKind) -> bool {
    use TokenKind as T;
    !(is_operator(kind) || matches!(kind, T::Minus | T::Slash | T::And | T::Or))
}
