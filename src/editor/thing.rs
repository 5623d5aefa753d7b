//! What stands at a place in a layout: a word, an argument's name, a call, a name, a unit, a text.
//!
//! What enters are a syntax tree and a byte; what leaves is the innermost part that says something there, with what is around it.

use crate::language::syntax::{Document, Expression, ExpressionKind, NamedArgument, Piece, Spanned, Statement};
use crate::language::tokens::{TokenKind, tokenize};
use crate::language::{Span, each};

/// A part of a layout that something can be said about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind<'a> {
    /// The word that a statement begins with.
    Word,
    /// The name of an argument; of one in a call, with the call's name.
    Argument(Option<&'a str>),
    /// The name of a call.
    Call,
    /// A name; with the argument that it is the value of, if that is a named one.
    Name(Option<&'a str>),
    /// A unit.
    Unit(&'a str),
    /// The text of a statement; within a field only where nothing else stands.
    Text,
}

/// A part of a layout and where it stands.
#[derive(Clone, Debug)]
pub struct Thing<'a> {
    /// What it is.
    pub kind: Kind<'a>,
    /// Where it stands.
    pub span: Span,
    /// Whether it is a part of the tree, and not of text that could not be read.
    pub parsed: bool,
    /// The statements around it, from the outermost to the one that it belongs to.
    pub around: Vec<&'a Statement>,
}

/// What stands at the byte `at`, or ends there. In text that could not be read, names and calls are told from its tokens.
pub fn thing_at<'a>(document: &'a Document, text: &str, at: usize) -> Option<Thing<'a>> {
    let mut search = Search { at: at as u32, around: Vec::new(), argument: None, damaged: false };
    if let Some((kind, span)) = search.statements(&document.statements) {
        return Some(Thing { kind, span, parsed: true, around: search.around });
    }
    let tokens = tokenize(text);
    let found = tokens.iter().position(|token| token.kind == TokenKind::Name && search.touches(token.span))?;
    let kind = match tokens.get(found + 1).map(|next| next.kind) {
        Some(TokenKind::ParenOpen) => Kind::Call,
        _ => Kind::Name(None),
    };
    let mut around = Vec::new();
    let mut statements = document.statements.as_slice();
    while let Some(statement) = statements.iter().find(|statement| search.touches(statement.span)) {
        around.push(statement);
        statements = statement.block.as_ref().map_or(&[], |block| &block.statements);
    }
    Some(Thing { kind, span: tokens[found].span, parsed: false, around })
}

struct Search<'a> {
    at: u32,
    around: Vec<&'a Statement>,
    argument: Option<&'a str>,
    /// Whether the place is in text that could not be read.
    damaged: bool,
}

type Found<'a> = Option<(Kind<'a>, Span)>;

impl<'a> Search<'a> {
    fn touches(&self, span: Span) -> bool {
        span.start <= self.at && self.at <= span.end
    }

    fn statements(&mut self, statements: &'a [Statement]) -> Found<'a> {
        statements.iter().find_map(|statement| {
            if !self.touches(statement.span) {
                return None;
            }
            self.around.push(statement);
            let found = self.statement(statement);
            if found.is_none() {
                self.around.pop();
            }
            found
        })
    }

    fn statement(&mut self, statement: &'a Statement) -> Found<'a> {
        if self.touches(statement.word.span) {
            return Some((Kind::Word, statement.word.span));
        }
        if let Some(found) = statement.plain.iter().chain(&statement.definition).find_map(|one| self.expression(one)) {
            return Some(found);
        }
        self.named(&statement.named, None)
            .or_else(|| statement.block.as_ref().and_then(|block| self.statements(&block.statements)))
    }

    fn named(&mut self, arguments: &'a [NamedArgument], call: Option<&'a str>) -> Found<'a> {
        arguments.iter().find_map(|NamedArgument { name, value }| {
            if self.touches(name.span) {
                return Some((Kind::Argument(call), name.span));
            }
            let before = self.argument.replace(&name.value);
            let found = self.expression(value);
            self.argument = before;
            found
        })
    }

    fn expression(&mut self, expression: &'a Expression) -> Found<'a> {
        if !self.touches(expression.span) {
            return None;
        }
        let span = expression.span;
        let unit = |search: &Self, unit: &'a Spanned<String>| {
            search.touches(unit.span).then_some((Kind::Unit(&unit.value), unit.span))
        };
        match &expression.kind {
            ExpressionKind::Number { unit: Some(written), .. } => unit(self, written),
            ExpressionKind::Unit(written) => Some((Kind::Unit(written), span)),
            ExpressionKind::Name(_) => Some((Kind::Name(self.argument), span)),
            ExpressionKind::Text(pieces) => {
                let fields = pieces.iter().find_map(|piece| match piece {
                    Piece::Field { value, .. } => self.expression(value),
                    Piece::Literal(_) => None,
                });
                fields.or((!self.damaged).then_some((Kind::Text, span)))
            }
            ExpressionKind::Tuple(items) => items.iter().find_map(|item| self.expression(item)),
            ExpressionKind::Call { name, plain, named } => {
                if self.touches(name.span) {
                    return Some((Kind::Call, name.span));
                }
                plain.iter().find_map(|one| self.expression(one)).or_else(|| self.named(named, Some(&name.value)))
            }
            ExpressionKind::Unary(_, inner) => self.expression(inner),
            ExpressionKind::Binary(_, left, right) | ExpressionKind::Range(left, right) => {
                self.expression(left).or_else(|| self.expression(right))
            }
            ExpressionKind::If { condition, then, otherwise } => {
                self.expression(condition).or_else(|| self.expression(then)).or_else(|| self.expression(otherwise))
            }
            ExpressionKind::Convert { value, unit: written } => self.expression(value).or_else(|| unit(self, written)),
            ExpressionKind::Damaged => {
                self.damaged = true;
                None
            }
            ExpressionKind::Number { unit: None, .. } | ExpressionKind::Dimensions { .. } | ExpressionKind::Bool(_) => {
                None
            }
        }
    }
}

/// Calls `found` with each name in the arguments of statements, and with the statements around it, the innermost last. The words in
/// the lists of an `each` are no names.
pub fn each_name<'a>(
    statements: &'a [Statement],
    around: &mut Vec<&'a Statement>,
    found: &mut dyn FnMut(&[&'a Statement], &'a str, Span),
) {
    for statement in statements {
        around.push(statement);
        if statement.word.value != each::WORD {
            let values = statement.named.iter().map(|argument| &argument.value);
            for expression in statement.plain.iter().chain(&statement.definition).chain(values) {
                names_in(expression, &mut |name, span| found(around, name, span));
            }
        }
        if let Some(block) = &statement.block {
            each_name(&block.statements, around, found);
        }
        around.pop();
    }
}

fn names_in<'a>(expression: &'a Expression, found: &mut dyn FnMut(&'a str, Span)) {
    match &expression.kind {
        ExpressionKind::Name(name) => found(name, expression.span),
        ExpressionKind::Text(pieces) => {
            for piece in pieces {
                if let Piece::Field { value, .. } = piece {
                    names_in(value, found);
                }
            }
        }
        ExpressionKind::Tuple(items) => items.iter().for_each(|item| names_in(item, found)),
        ExpressionKind::Call { plain, named, .. } => {
            plain.iter().chain(named.iter().map(|argument| &argument.value)).for_each(|one| names_in(one, found));
        }
        ExpressionKind::Unary(_, inner) | ExpressionKind::Convert { value: inner, .. } => names_in(inner, found),
        ExpressionKind::Binary(_, left, right) | ExpressionKind::Range(left, right) => {
            names_in(left, found);
            names_in(right, found);
        }
        ExpressionKind::If { condition, then, otherwise } => {
            [condition, then, otherwise].into_iter().for_each(|part| names_in(part, found));
        }
        ExpressionKind::Number { .. }
        | ExpressionKind::Dimensions { .. }
        | ExpressionKind::Bool(_)
        | ExpressionKind::Unit(_)
        | ExpressionKind::Damaged => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::analysis::with_cursor;

    fn at(text: &str) -> Option<(String, String, usize)> {
        let (analysis, at) = with_cursor(text);
        let thing = thing_at(&analysis.understood.document, &analysis.text, at)?;
        Some((format!("{:?}", thing.kind), analysis.slice(thing.span).to_string(), thing.around.len()))
    }

    fn is(kind: &str, slice: &str, around: usize) -> Option<(String, String, usize)> {
        Some((kind.to_string(), slice.to_string(), around))
    }

    #[test]
    fn each_kind_is_found() {
        assert_eq!(at("pan|el 128x32\n"), is("Word", "panel", 1));
        assert_eq!(at("reading te|mp from: \"a\""), is("Name(None)", "temp", 1));
        assert_eq!(at("reading temp fr|om: \"a\""), is("Argument(None)", "from", 1));
        assert_eq!(at("reading t from: \"a\" pick: col|umn(2)"), is("Call", "column", 1));
        assert_eq!(
            at("reading t from: \"a\" pick: column(2, sep|arator: \";\")"),
            is("Argument(Some(\"column\"))", "separator", 1)
        );
        assert_eq!(at("reading t from: \"a\" unit: °|C"), is("Unit(\"°C\")", "°C", 1));
        assert_eq!(at("screen s { text \"5 °: {te|mp:.1}\" }"), is("Name(None)", "temp", 2));
        assert_eq!(at("screen s { text \"5| °: {temp:.1}\" }"), is("Text", "\"5 °: {temp:.1}\"", 2));
        assert_eq!(at("screen s { text \"a\" face: nar|row }"), is("Name(Some(\"face\"))", "narrow", 2));
        assert_eq!(at("screen s { text \"a\" }\n|\n"), None);
    }

    #[test]
    fn a_mistake_before_and_behind_changes_nothing() {
        assert_eq!(at("panel (\nvalue dew = dew_po|int(temp, rh\nscreen s { text \"a }"), is("Call", "dew_point", 1));
        assert_eq!(
            at("screen s { text \"{if te|mp > then \"a\" else \"b\"}\" }").map(|found| found.1),
            Some("temp".into())
        );
    }
}
