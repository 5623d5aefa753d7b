//! What is being written where the cursor stands, told from the text before it alone.
//!
//! What enters are a text and a byte; what leaves says which words can follow. The parser is not asked, since what is being written
//! mostly cannot be parsed yet: the tokens before the cursor tell which blocks, texts, calls and fields are open.

use crate::language::tokens::{Token, TokenKind, tokenize};
use crate::language::{Span, each};

/// A place in a text with what is open there.
#[derive(Debug, PartialEq)]
pub struct Cursor<'a> {
    /// The beginning of a word that stands there already, and its rest behind the cursor.
    pub typed: Span,
    /// Where the statement at the cursor begins; the cursor itself where none has begun.
    pub begins: usize,
    /// The statements whose blocks are open, the outermost first.
    pub around: Vec<Begun<'a>>,
    /// What can be written.
    pub slot: Slot<'a>,
}

/// A statement as far as it stands before the cursor.
#[derive(Clone, Debug, PartialEq)]
pub struct Begun<'a> {
    /// Its word.
    pub word: &'a str,
    /// Its named arguments so far.
    pub named: Vec<&'a str>,
    /// How many arguments without a name it has so far.
    pub plain: usize,
    /// Where it begins.
    start: usize,
}

/// What can be written at a place.
#[derive(Debug, PartialEq)]
pub enum Slot<'a> {
    /// A statement; or, where one stands before it, a named argument of that.
    Statement(Option<Begun<'a>>),
    /// A further argument of a statement, or more of the expression before it.
    Argument(Begun<'a>),
    /// The value of an argument.
    Value(Begun<'a>, Value<'a>),
    /// Something to be computed.
    Expression,
    /// An argument of a call: which one, and its name if it has one. With the statement and the argument that holds the call, outside
    /// of fields.
    Call(Call<'a>, Option<(Begun<'a>, Value<'a>)>),
    /// A unit.
    Unit,
    /// Characters of a text that is the value of an argument.
    Quoted(Begun<'a>, Value<'a>),
    /// Characters of a text that is an argument of a call.
    QuotedInCall(Call<'a>),
    /// Nothing that a list could help with.
    Nothing,
}

/// Which argument of a statement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Value<'a> {
    /// One without a name, counted from 0.
    Plain(usize),
    /// One with this name.
    Named(&'a str),
    /// What follows the `=` of a `value`.
    Definition,
}

/// A call that is open.
#[derive(Clone, Debug, PartialEq)]
pub struct Call<'a> {
    /// Its name.
    pub name: &'a str,
    /// How many arguments stand before.
    pub index: usize,
    /// The name of the argument, where it has one.
    pub argument: Option<&'a str>,
    /// Whether nothing of the argument stands before the cursor but what is typed.
    pub fresh: bool,
}

/// Something that was opened within a statement.
enum Open<'a> {
    Call(Call<'a>),
    Parenthesis,
    Text,
    Field,
}

struct Walk<'a> {
    text: &'a str,
    around: Vec<Begun<'a>>,
    begun: Option<Begun<'a>>,
    value: Option<Value<'a>>,
    open: Vec<Open<'a>>,
    /// Whether a statement may begin here.
    at_start: bool,
    /// Whether an operand stands directly before, so that an operator may follow.
    complete: bool,
}

/// What is being written at the byte `at` of `text`.
pub fn cursor_at(text: &str, at: usize) -> Cursor<'_> {
    let at = text.floor_char_boundary(at);
    // A letter in the place of the cursor takes the role that what will be written there has.
    let tokens = tokenize(&[&text[..at], "x"].concat());
    let last = tokens.iter().rposition(|token| token.span.start < token.span.end).unwrap_or(0);
    let mut walk =
        Walk { text, around: Vec::new(), begun: None, value: None, open: Vec::new(), at_start: true, complete: false };
    for (index, token) in tokens[..last].iter().enumerate() {
        walk.step(*token, tokens[index + 1], index.checked_sub(1).map(|before| tokens[before]));
    }
    let under = tokens[last];
    let rest = text[at..].find(|c: char| !(c.is_alphanumeric() || c == '_')).unwrap_or(text.len() - at);
    let typed = match under.kind {
        kind if kind == TokenKind::Name || kind.is_keyword() => Span::new(under.span.start as usize, at + rest),
        TokenKind::Unit => Span::new(under.span.start as usize, at),
        TokenKind::Literal => {
            let in_name = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '/' | '+');
            let rest = text[at..].find(|c| !in_name(c)).unwrap_or(text.len() - at);
            Span::new(under.span.start as usize, at + rest)
        }
        _ => Span::new(at, at),
    };
    let slot = walk.slot(under.kind);
    let begins = walk.begun.filter(|_| !walk.at_start).map_or(at, |begun| begun.start);
    Cursor { typed, begins, around: walk.around, slot }
}

impl<'a> Walk<'a> {
    fn slice(&self, token: Token) -> &'a str {
        self.text.get(token.span.range()).unwrap_or_default()
    }

    fn step(&mut self, token: Token, next: Token, before: Option<Token>) {
        let named = next.kind == TokenKind::Colon;
        let (free, calling) = (self.open.is_empty(), matches!(self.open.last(), Some(Open::Call(_))));
        match token.kind {
            TokenKind::TextOpen => {
                self.operand();
                self.open.push(Open::Text);
            }
            TokenKind::TextClose | TokenKind::TextCut => {
                while let Some(closed) = self.open.pop() {
                    if matches!(closed, Open::Text) {
                        break;
                    }
                }
                self.complete = true;
            }
            TokenKind::FieldOpen => {
                self.open.push(Open::Field);
                self.complete = false;
            }
            TokenKind::FieldClose | TokenKind::FieldCut => {
                while let Some(closed) = self.open.pop() {
                    if matches!(closed, Open::Field) {
                        break;
                    }
                }
            }
            TokenKind::ParenOpen => {
                let name =
                    before.filter(|before| before.kind == TokenKind::Name && before.span.end == token.span.start);
                if name.is_none() {
                    self.operand();
                }
                let call = |name| Call { name: self.slice(name), index: 0, argument: None, fresh: true };
                let opened = name.map_or(Open::Parenthesis, |name| Open::Call(call(name)));
                self.open.push(opened);
                self.complete = false;
            }
            TokenKind::ParenClose if matches!(self.open.last(), Some(Open::Call(_) | Open::Parenthesis)) => {
                self.open.pop();
                self.complete = true;
            }
            TokenKind::Comma if calling => {
                if let Some(Open::Call(call)) = self.open.last_mut() {
                    (call.index, call.argument, call.fresh) = (call.index + 1, None, true);
                }
                self.complete = false;
            }
            TokenKind::Name if calling && named => {
                let name = self.slice(token);
                if let Some(Open::Call(call)) = self.open.last_mut() {
                    (call.argument, call.fresh) = (Some(name), true);
                }
            }
            TokenKind::Colon => self.complete = false,
            TokenKind::Newline if free => self.at_start = true,
            TokenKind::BlockOpen => {
                self.open.clear();
                let empty = Begun { word: "", named: Vec::new(), plain: 0, start: token.span.start as usize };
                self.around.push(self.begun.take().unwrap_or(empty));
                (self.value, self.at_start) = (None, true);
            }
            TokenKind::BlockClose => {
                self.open.clear();
                self.around.pop();
                (self.begun, self.value, self.at_start) = (None, None, true);
            }
            TokenKind::Name if free && named && self.begun.is_some() => {
                let name = self.slice(token);
                self.begun.iter_mut().for_each(|begun| begun.named.push(name));
                (self.value, self.at_start, self.complete) = (Some(Value::Named(name)), false, false);
            }
            TokenKind::Name if free && self.at_start => {
                let start = token.span.start as usize;
                self.begun = Some(Begun { word: self.slice(token), named: Vec::new(), plain: 0, start });
                // The word is no operand, but what follows it is its first argument.
                (self.value, self.at_start, self.complete) = (None, false, true);
            }
            TokenKind::Assign if free => (self.value, self.complete) = (Some(Value::Definition), false),
            TokenKind::Newline | TokenKind::Comment | TokenKind::Literal | TokenKind::Format => {}
            TokenKind::If | TokenKind::Not => {
                self.operand();
                self.complete = false;
            }
            kind if kind.begins_value() && kind != TokenKind::Minus || kind == TokenKind::Unit => self.operand(),
            _ => self.complete = false,
        }
    }

    /// An operand begins, or is there.
    fn operand(&mut self) {
        let begins = !matches!(self.value, Some(Value::Named(_) | Value::Definition)) || self.complete;
        match self.open.last_mut() {
            Some(Open::Call(call)) => call.fresh = false,
            Some(_) => {}
            // A further operand behind a complete one is a further argument.
            None if begins && self.complete => {
                if let Some(begun) = &mut self.begun {
                    self.value = Some(Value::Plain(begun.plain));
                    begun.plain += 1;
                }
            }
            None => {}
        }
        self.complete = true;
    }

    /// The statement and the argument in hand.
    fn place(&self) -> Option<(Begun<'a>, Value<'a>)> {
        let begun = self.begun.clone()?;
        let value = self.value.unwrap_or(Value::Plain(begun.plain));
        Some((begun, value))
    }

    fn slot(&self, under: TokenKind) -> Slot<'a> {
        match under {
            TokenKind::Unit => return Slot::Unit,
            TokenKind::Literal => {
                return match (self.open.as_slice(), self.place()) {
                    ([Open::Text], Some((begun, value))) => Slot::Quoted(begun, value),
                    ([.., Open::Call(call), Open::Text], _) => Slot::QuotedInCall(call.clone()),
                    _ => Slot::Nothing,
                };
            }
            kind if kind == TokenKind::Name || kind.is_keyword() => {}
            _ => return Slot::Nothing,
        }
        let in_field = self.open.iter().any(|open| matches!(open, Open::Field));
        match (self.open.last(), self.begun.clone(), self.value) {
            (Some(Open::Call(call)), ..) if !self.complete => {
                Slot::Call(call.clone(), self.place().filter(|_| !in_field))
            }
            (Some(_), ..) if self.complete => Slot::Nothing,
            (Some(_), ..) => Slot::Expression,
            (None, begun, _) if self.at_start => Slot::Statement(begun),
            (None, Some(begun), _) if self.complete => Slot::Argument(begun),
            (None, Some(begun), Some(value)) => Slot::Value(begun, value),
            _ => Slot::Nothing,
        }
    }
}

impl Cursor<'_> {
    /// The names of the lists of `each` around the cursor.
    pub fn lists(&self) -> impl Iterator<Item = &str> {
        let around = self.around.iter().filter(|begun| begun.word == each::WORD);
        around.flat_map(|begun| begun.named.iter().copied())
    }

    /// The innermost statement around the cursor that is no `each`.
    pub fn holder(&self) -> Option<&str> {
        self.around.iter().rev().map(|begun| begun.word).find(|word| *word != each::WORD)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is typed, the words around it, and the slot in short.
    fn at(text: &str) -> (String, String, String) {
        let place = text.find('|').unwrap();
        let text = text.replacen('|', "", 1);
        let cursor = cursor_at(&text, place);
        let begun = |begun: &Begun<'_>| format!("{}/{}/{}", begun.word, begun.plain, begun.named.join(","));
        let slot = match &cursor.slot {
            Slot::Statement(None) => "statement".to_string(),
            Slot::Statement(Some(before)) => format!("statement or argument of {}", begun(before)),
            Slot::Argument(of) => format!("argument of {}", begun(of)),
            Slot::Value(of, value) => format!("{value:?} of {}", begun(of)),
            Slot::Call(call, of) => {
                let of = of.as_ref().map_or("a field".to_string(), |(of, value)| format!("{value:?} of {}", of.word));
                format!("{}({} {:?} {}) in {of}", call.name, call.index, call.argument, call.fresh)
            }
            Slot::Quoted(of, value) => format!("quoted {value:?} of {}", of.word),
            Slot::QuotedInCall(call) => format!("quoted {} of {}", call.index, call.name),
            other => format!("{other:?}").to_lowercase(),
        };
        let around: Vec<&str> = cursor.around.iter().map(|begun| begun.word).collect();
        (text[cursor.typed.range()].to_string(), around.join(" "), slot)
    }

    fn is(typed: &str, around: &str, slot: &str) -> (String, String, String) {
        (typed.into(), around.into(), slot.into())
    }

    #[test]
    fn statements() {
        assert_eq!(at("|"), is("", "", "statement"));
        assert_eq!(at("panel 128x32\nre|ad"), is("read", "", "statement or argument of panel/1/"));
        assert_eq!(at("screen s { te|"), is("te", "screen", "statement"));
        assert_eq!(at("screen s {\n  columns {\n    |\n"), is("", "screen columns", "statement"));
        assert_eq!(at("screen s { text \"a\" }\n|"), is("", "", "statement"));
    }

    #[test]
    fn arguments() {
        assert_eq!(at("reading temp |"), is("", "", "argument of reading/1/"));
        assert_eq!(at("reading temp from: \"a\" pi|"), is("pi", "", "argument of reading/1/from"));
        assert_eq!(at("reading temp\n  from: \"a\" |"), is("", "", "argument of reading/1/from"));
        assert_eq!(at("screen s { text \"{a:.1}°\" s|"), is("s", "screen", "argument of text/1/"));
        assert_eq!(at("screen s { text |"), is("", "screen", "argument of text/0/"));
        assert_eq!(at("reading temp from: \"a\" pick: number |"), is("", "", "argument of reading/1/from,pick"));
    }

    #[test]
    fn values() {
        assert_eq!(at("reading t pick: col|"), is("col", "", "Named(\"pick\") of reading/1/pick"));
        assert_eq!(at("screen s { text \"a\" align: |\n}"), is("", "screen", "Named(\"align\") of text/1/align"));
        assert_eq!(at("value dew = |"), is("", "", "Definition of value/1/"));
        assert_eq!(at("value dew = temp + d|"), is("d", "", "Definition of value/1/"));
        assert_eq!(at("screen s when: temp > 3 and |"), is("", "", "Named(\"when\") of screen/1/when"));
        assert_eq!(at("reading t unit: °|"), is("°", "", "unit"));
        assert_eq!(at("value f = t as |"), is("", "", "unit"));
        assert_eq!(at("screen s { bar temp - |"), is("", "screen", "Plain(0) of bar/1/"));
    }

    #[test]
    fn calls_and_fields() {
        assert_eq!(at("value d = dew_point(temp, r|"), is("r", "", "dew_point(1 None true) in Definition of value"));
        assert_eq!(at("value d = dew_point(temp, |)"), is("", "", "dew_point(1 None true) in Definition of value"));
        assert_eq!(
            at("reading t pick: column(2, decimal: |"),
            is("", "", "column(1 Some(\"decimal\") true) in Named(\"pick\") of reading")
        );
        assert_eq!(at("screen s { text \"5° {te|"), is("te", "screen", "expression"));
        assert_eq!(at("screen s { text \"5° {te|mp:.1}\" }"), is("temp", "screen", "expression"));
        assert_eq!(at("screen s { text \"{|\n"), is("", "screen", "expression"));
        assert_eq!(at("screen s { text \"{highest(temp, |)}\""), is("", "screen", "highest(1 None true) in a field"));
        assert_eq!(at("screen s { text \"{a}{temp.|"), is("temp.", "screen", "expression"));
        assert_eq!(at("screen s { text \"{if a > 1 then |"), is("", "screen", "expression"));
    }

    #[test]
    fn where_nothing_helps() {
        assert_eq!(at("# te|").2, "nothing");
        assert_eq!(at("screen s { text \"{temp:|}\"").2, "nothing");
        assert_eq!(at("screen s { text \"te|\"").2, "quoted Plain(0) of text");
        assert_eq!(at("screen s { icon \"do|or\"").0, "door");
        assert_eq!(at("screen s { icon \"do|\"").2, "quoted Plain(0) of icon");
        assert_eq!(at("screen s { text \"{clock(\"%H\", \"Asia/T|").2, "quoted 1 of clock");
        assert_eq!(at("reading t stale: 4|").2, "nothing");
    }

    #[test]
    fn what_is_broken_before_stays_in_its_line() {
        assert_eq!(at("reading t from: \"a\nscreen s { te|"), is("te", "screen", "statement"));
        assert_eq!(at("screen s { text \"{a\n text |"), is("", "screen", "argument of text/0/"));
    }
}
