//! The lexer: one pass over the text, with a stack of open fields instead of recursion.
//!
//! In comes the text of a layout file, out come its tokens. After a text that its line cuts off, the rest of that line has no
//! tokens but the braces at its end: nobody can say what is text there, and blocks must stay in step.

use super::super::Span;
use super::{ForeignOperator, NumberMistake, Token, TokenKind};

/// The tokens of `text`, comments included; the last one is [`TokenKind::End`]. Takes time in proportion to the text.
pub fn tokenize(text: &str) -> Vec<Token> {
    let mut lexer = Lexer { text, position: 0, tokens: Vec::new(), fields: Vec::new(), line: Line::default() };
    lexer.begin_line();
    if text.starts_with('\u{feff}') {
        lexer.position = '\u{feff}'.len_utf8();
    }
    while lexer.position < text.len() {
        lexer.token();
    }
    lexer.cut();
    lexer.push(TokenKind::End, text.len());
    lexer.tokens
}

/// Whether a name may begin with `c`.
fn begins_name(c: char) -> bool {
    c.is_alphabetic() || c == '_'
}

/// Whether a name may go on with `c`.
fn continues_name(c: char) -> bool {
    c.is_alphabetic() || c.is_ascii_digit() || c == '_'
}

/// Whether a unit may begin with `c`, or go on with it after `/`.
fn begins_unit(c: char) -> bool {
    c.is_alphabetic() || is_unit_sign(c)
}

/// Signs that stand in units and nowhere else.
fn is_unit_sign(c: char) -> bool {
    matches!(c, '°' | '%' | '‰' | '℃' | '℉' | '€' | '£' | '$')
}

/// Signs that a unit may go on with, but not begin: powers, and the numbers of atoms.
fn is_raised_or_lowered(c: char) -> bool {
    matches!(c, '⁰' | '¹' | '²' | '³' | '⁴'..='⁹' | '⁻' | '₀'..='₉')
}

/// What is known of the line in hand, for the way back after a text that does not end.
#[derive(Default)]
struct Line {
    /// The byte after its last one, the line break not counted.
    end: usize,
    /// Quotes on it that are not yet read.
    quotes_ahead: usize,
    /// Blocks that were opened on it and not closed again.
    open_blocks: usize,
}

struct Lexer<'a> {
    text: &'a str,
    position: usize,
    tokens: Vec<Token>,
    /// For each field that is open, the parentheses open within it.
    fields: Vec<u32>,
    line: Line,
}

impl<'a> Lexer<'a> {
    fn rest(&self) -> &'a str {
        &self.text[self.position..]
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    /// Adds a token from `self.position` to `end` and goes on from there.
    fn push(&mut self, kind: TokenKind, end: usize) {
        self.tokens.push(Token { kind, span: Span::new(self.position, end) });
        self.position = end;
    }

    fn previous(&self) -> Option<TokenKind> {
        self.tokens.last().map(|token| token.kind)
    }

    /// Looks the line over that begins at `self.position`.
    fn begin_line(&mut self) {
        let rest = &self.text.as_bytes()[self.position..];
        let length = rest.iter().position(|&byte| byte == b'\n').unwrap_or(rest.len());
        let quotes_ahead = rest[..length].iter().filter(|&&byte| byte == b'"').count();
        self.line = Line { end: self.position + length, quotes_ahead, open_blocks: 0 };
    }

    /// Reads one token, or blanks, outside the literal part of a text.
    fn token(&mut self) {
        let Some(c) = self.peek() else { return };
        let in_field = !self.fields.is_empty();
        let one = self.position + c.len_utf8();
        match c {
            ' ' | '\t' | '\r' => self.position = one,
            '\n' => {
                self.cut();
                self.push(TokenKind::Newline, one);
                self.begin_line();
            }
            '#' if !in_field => self.push(TokenKind::Comment, self.line.end),
            '"' => self.quote(),
            '{' if !in_field => {
                self.line.open_blocks += 1;
                self.push(TokenKind::BlockOpen, one);
            }
            '}' if in_field => {
                self.push(TokenKind::FieldClose, one);
                self.fields.pop();
                self.literal();
            }
            '}' => {
                self.line.open_blocks = self.line.open_blocks.saturating_sub(1);
                self.push(TokenKind::BlockClose, one);
            }
            '(' => {
                if let Some(parens) = self.fields.last_mut() {
                    *parens += 1;
                }
                self.push(TokenKind::ParenOpen, one);
            }
            ')' => {
                if let Some(parens) = self.fields.last_mut() {
                    *parens = parens.saturating_sub(1);
                }
                self.push(TokenKind::ParenClose, one);
            }
            ':' if self.fields.last() == Some(&0) => self.format(),
            ':' => {
                let names_unit = self
                    .tokens
                    .last()
                    .is_some_and(|token| token.kind == TokenKind::Name && &self.text[token.span.range()] == "unit");
                self.push(TokenKind::Colon, one);
                if names_unit {
                    self.unit_ahead();
                }
            }
            '0'..='9' => self.number(),
            '.' => self.point(),
            _ if is_unit_sign(c) => self.push(TokenKind::Unit, self.unit_end(self.position)),
            _ if begins_name(c) => self.name(),
            _ => self.sign(c),
        }
    }

    fn name(&mut self) {
        let rest = self.rest();
        let word = |from: usize| rest[from..].find(|c| !continues_name(c)).map_or(rest.len(), |end| from + end);
        let mut length = word(0);
        // A dot within a name, as in `temp.ripening`: between two of its parts, and never beside another dot.
        while let Some(part) = rest[length..].strip_prefix('.').filter(|part| part.starts_with(begins_name)) {
            length = word(rest.len() - part.len());
        }
        let kind = match &rest[..length] {
            "if" => TokenKind::If,
            "then" => TokenKind::Then,
            "else" => TokenKind::Else,
            "and" => TokenKind::And,
            "or" => TokenKind::Or,
            "not" => TokenKind::Not,
            "as" => TokenKind::As,
            "true" => TokenKind::True,
            "false" => TokenKind::False,
            _ => TokenKind::Name,
        };
        self.push(kind, self.position + length);
        if kind == TokenKind::As {
            self.unit_ahead();
        }
    }

    /// Reads the unit that must follow here, if there is one. After `unit:` a name with a colon is no unit, but the argument
    /// behind one that was left out.
    fn unit_ahead(&mut self) {
        self.position += self.rest().len() - self.rest().trim_start_matches([' ', '\t']).len();
        // `1/min` is a unit where one must follow; elsewhere it is a quotient.
        let one = self.rest().starts_with("1/") && self.rest()[2..].starts_with(begins_unit);
        let mut end = self.unit_end(self.position + if one { 2 } else { 0 });
        // Of several below the line, as in `µmol/(m²·s)`, all stand in parentheses.
        if end > self.position && self.text[end..].starts_with("/(") {
            let inner = self.unit_end(end + 2);
            if inner > end + 2 && self.text[inner..].starts_with(')') {
                end = inner + 1;
            }
        }
        let names_argument = self.previous() == Some(TokenKind::Colon)
            && self.text[end..].trim_start_matches([' ', '\t']).starts_with(':')
            && self.rest()[..end - self.position].chars().all(continues_name);
        if end > self.position && !names_argument {
            self.push(TokenKind::Unit, end);
        }
    }

    /// The byte after the unit that begins at `start`; `start` itself if none does.
    fn unit_end(&self, start: usize) -> usize {
        let mut end = start;
        let mut characters = self.text[start..].chars().peekable();
        while let Some(c) = characters.next() {
            let next = characters.peek().copied();
            let belongs = begins_unit(c)
                || end > start && is_raised_or_lowered(c)
                || end > start && matches!(c, '/' | '·') && next.is_some_and(begins_unit);
            if belongs {
                end += c.len_utf8();
            } else if end > start && c == '^' && next.is_some_and(|n| n.is_ascii_digit() || n == '-') {
                end += c.len_utf8();
                while let Some(exponent) = characters.next_if(|n| n.is_ascii_digit() || *n == '-') {
                    end += exponent.len_utf8();
                }
            } else {
                break;
            }
        }
        end
    }

    /// The byte after the digits that begin at `start`.
    fn digits_end(&self, start: usize) -> usize {
        let digits = self.text.as_bytes()[start..].iter().take_while(|byte| byte.is_ascii_digit()).count();
        start + digits
    }

    /// The byte after everything that hangs together with a number gone wrong.
    fn number_run_end(&self, start: usize) -> usize {
        let run = &self.text[start..];
        let mut previous = ' ';
        for (at, c) in run.char_indices() {
            let point = c == '.' && run[at + 1..].starts_with(|n: char| n.is_ascii_digit());
            let exponent_sign =
                matches!(c, '+' | '-') && matches!(previous, 'e' | 'E') && !run[at + 1..].starts_with([' ', '\t']);
            if !(continues_name(c) || is_unit_sign(c) || is_raised_or_lowered(c) || c == '×' || point || exponent_sign)
            {
                return start + at;
            }
            previous = c;
        }
        self.text.len()
    }

    fn number(&mut self) {
        let start = self.position;
        let whole_end = self.digits_end(start);
        let mut end = whole_end;
        let after = &self.text[whole_end..];
        if after.starts_with('.') && !after.starts_with("..") {
            end = self.digits_end(whole_end + 1);
            if end == whole_end + 1 {
                return self.push(TokenKind::BadNumber(NumberMistake::NothingAfterPoint), end);
            }
        }
        let suffix = &self.text[end..];
        let bytes = suffix.as_bytes();
        let second = suffix.chars().nth(1);
        let digit_second = second.is_some_and(|c| c.is_ascii_digit());
        let mistake = match suffix.chars().next() {
            Some('.') if digit_second => NumberMistake::TwoPoints,
            Some('_') => NumberMistake::Underscore,
            Some('e' | 'E') if digit_second => NumberMistake::Exponent,
            Some('e' | 'E')
                if matches!(second, Some('+' | '-')) && bytes.get(2).is_some_and(|byte| byte.is_ascii_digit()) =>
            {
                NumberMistake::Exponent
            }
            Some('x') if digit_second && end == whole_end => {
                let height_end = self.digits_end(end + 1);
                if !self.text[height_end..].starts_with(|c| continues_name(c) || is_unit_sign(c)) {
                    return self.push(TokenKind::Dimensions, height_end);
                }
                NumberMistake::Dimensions
            }
            Some('x' | 'X' | '×') if digit_second => NumberMistake::Dimensions,
            Some('x' | 'X' | '×') if !second.is_some_and(continues_name) => NumberMistake::Dimensions,
            _ => {
                let unit_end = self.unit_end(end);
                if !self.text[unit_end..].starts_with(|c: char| c.is_ascii_digit() || c == '_') {
                    return self.push(TokenKind::Number, unit_end);
                }
                NumberMistake::DigitAfterUnit
            }
        };
        self.push(TokenKind::BadNumber(mistake), self.number_run_end(start));
    }

    fn point(&mut self) {
        let rest = self.rest();
        if rest.starts_with("...") {
            let dots = rest.len() - rest.trim_start_matches('.').len();
            self.push(TokenKind::Stray, self.position + dots);
        } else if rest.starts_with("..") {
            self.push(TokenKind::Range, self.position + 2);
        } else if rest[1..].starts_with(|c: char| c.is_ascii_digit()) {
            let end = self.number_run_end(self.position);
            self.push(TokenKind::BadNumber(NumberMistake::NothingBeforePoint), end);
        } else {
            self.push(TokenKind::Stray, self.position + 1);
        }
    }

    fn sign(&mut self, c: char) {
        let rest = self.rest();
        let two = match rest.get(..2) {
            Some("<=") => Some(TokenKind::LessOrEqual),
            Some(">=") => Some(TokenKind::GreaterOrEqual),
            Some("==") => Some(TokenKind::Equal),
            Some("!=") => Some(TokenKind::NotEqual),
            Some("&&") => Some(TokenKind::Foreign(ForeignOperator::And)),
            Some("=>") => Some(TokenKind::Foreign(ForeignOperator::GreaterOrEqual)),
            Some("=<") => Some(TokenKind::Foreign(ForeignOperator::LessOrEqual)),
            Some("<>") => Some(TokenKind::Foreign(ForeignOperator::NotEqual)),
            Some("||") => Some(TokenKind::Foreign(ForeignOperator::Or)),
            _ => None,
        };
        if let Some(kind) = two {
            return self.push(kind, self.position + 2);
        }
        let kind = match c {
            ',' => TokenKind::Comma,
            '=' => TokenKind::Assign,
            '+' => TokenKind::Plus,
            '-' | '\u{2212}' => TokenKind::Minus,
            '*' => TokenKind::Star,
            '/' => TokenKind::Slash,
            '<' => TokenKind::Less,
            '>' => TokenKind::Greater,
            '&' => TokenKind::Foreign(ForeignOperator::And),
            '|' => TokenKind::Foreign(ForeignOperator::Or),
            '!' => TokenKind::Foreign(ForeignOperator::Not),
            '≤' => TokenKind::Foreign(ForeignOperator::LessOrEqual),
            '≥' => TokenKind::Foreign(ForeignOperator::GreaterOrEqual),
            '≠' => TokenKind::Foreign(ForeignOperator::NotEqual),
            '×' | '·' => TokenKind::Foreign(ForeignOperator::Multiply),
            '÷' => TokenKind::Foreign(ForeignOperator::Divide),
            _ => TokenKind::Stray,
        };
        self.push(kind, self.position + c.len_utf8());
    }

    /// A quote outside the literal part of a text: it begins a text, or ends one whose field lacks its brace.
    fn quote(&mut self) {
        let one = self.position + 1;
        self.line.quotes_ahead = self.line.quotes_ahead.saturating_sub(1);
        let ends_outer = !self.fields.is_empty()
            && self.previous().is_some_and(|kind| kind.ends_value() || kind == TokenKind::Format);
        if !ends_outer {
            self.push(TokenKind::TextOpen, one);
            return self.literal();
        }
        self.fields.pop();
        self.push(TokenKind::FieldCut, self.position);
        if self.line.quotes_ahead.is_multiple_of(2) && self.fields.is_empty() {
            self.push(TokenKind::TextClose, one);
        } else {
            // An odd number of quotes is left, so that nobody can say what is text on this line.
            self.push(TokenKind::TextCut, self.position);
            self.cut();
            self.give_up_line();
        }
    }

    /// Reads the literal part of a text, up to a field, the closing quote or the end of the line.
    fn literal(&mut self) {
        let bytes = self.text.as_bytes();
        let mut at = self.position;
        while at < self.line.end {
            let pair = bytes.get(at..(at + 2).min(self.line.end)).unwrap_or_default();
            match bytes[at] {
                b'\\' => at = self.escape_end(at),
                b'{' if pair == b"{{" => at += 2,
                b'}' if pair == b"}}" => at += 2,
                b'"' => {
                    self.push_literal(at);
                    self.line.quotes_ahead = self.line.quotes_ahead.saturating_sub(1);
                    return self.push(TokenKind::TextClose, at + 1);
                }
                // A brace at the end of the line opens a block: the quote before it is missing.
                b'{' if self.fields.is_empty() && self.text[at + 1..self.line.end].trim_start().is_empty() => break,
                b'{' => {
                    self.push_literal(at);
                    self.push(TokenKind::FieldOpen, at + 1);
                    return self.fields.push(0);
                }
                _ => at += 1,
            }
        }
        let rest = &self.text[self.position..self.line.end];
        let end = self.position + rest.trim_end_matches(['{', '}', ' ', '\t', '\r']).len();
        self.push_literal(end);
        self.push(TokenKind::TextCut, end);
        self.cut();
        self.give_up_line();
    }

    fn push_literal(&mut self, end: usize) {
        if end > self.position {
            self.push(TokenKind::Literal, end);
        }
    }

    /// The byte after the escape that begins at `start`, within the line.
    fn escape_end(&mut self, start: usize) -> usize {
        let line = &self.text[start..self.line.end];
        let after = line[1..].chars().next();
        if after == Some('"') {
            self.line.quotes_ahead = self.line.quotes_ahead.saturating_sub(1);
        }
        if let Some(code) = line.strip_prefix("\\u{") {
            let digits = code.bytes().take_while(u8::is_ascii_hexdigit).count();
            if code[digits..].starts_with('}') {
                return start + 3 + digits + 1;
            }
        }
        start + 1 + after.map_or(0, char::len_utf8)
    }

    /// What follows the `:` of a field, up to its brace, its text's quote or the end of the line.
    fn format(&mut self) {
        self.position += 1;
        let rest = &self.text[self.position..self.line.end];
        let length = rest.find(['}', '"']).unwrap_or(rest.trim_end_matches('\r').len());
        self.push(TokenKind::Format, self.position + length);
    }

    /// Ends each field and text that is still open.
    fn cut(&mut self) {
        while self.fields.pop().is_some() {
            self.push(TokenKind::FieldCut, self.position);
            self.push(TokenKind::TextCut, self.position);
        }
    }

    /// Passes over what is left of the line but the braces at its end: those that open a block, and those that close one
    /// that was opened on the same line.
    fn give_up_line(&mut self) {
        let rest = self.text[self.position..self.line.end].trim_end();
        let braces = rest.len() - rest.trim_end_matches(['{', '}', ' ', '\t']).len();
        let from = self.position + rest.len() - braces;
        for at in from..self.position + rest.len() {
            let kind = match self.text.as_bytes()[at] {
                b'{' => TokenKind::BlockOpen,
                b'}' if self.line.open_blocks > 0 => TokenKind::BlockClose,
                _ => continue,
            };
            match kind {
                TokenKind::BlockOpen => self.line.open_blocks += 1,
                _ => self.line.open_blocks -= 1,
            }
            self.tokens.push(Token { kind, span: Span::new(at, at + 1) });
        }
        self.position = self.line.end;
    }
}
