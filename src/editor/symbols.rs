//! The outline of a file: what it is made of, for lists of symbols.
//!
//! What enters is a syntax tree; what leaves is a tree of names with their places.

use crate::language::Span;
use crate::language::each;
use crate::language::syntax::{Document, ExpressionKind, Statement};

/// A part of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Symbol {
    /// Its name; of an element without one, its word and what it shows.
    pub name: String,
    /// The word that it begins with.
    pub word: String,
    /// All of it.
    pub span: Span,
    /// The part that names it.
    pub selection: Span,
    /// What stands in its block.
    pub children: Vec<Symbol>,
}

/// More characters of what an element shows help nobody to find it.
const LONGEST: usize = 40;

/// The parts of a file in their order.
pub fn symbols(text: &str, document: &Document) -> Vec<Symbol> {
    document.statements.iter().map(|statement| symbol(text, statement)).collect()
}

fn symbol(text: &str, statement: &Statement) -> Symbol {
    let word = &statement.word;
    let first = match statement.named.first() {
        Some(list) if word.value == each::WORD => Some(list.name.span),
        _ => statement.plain.first().map(|first| first.span),
    };
    let named = matches!(statement.plain.first().map(|first| &first.kind), Some(ExpressionKind::Name(_)));
    let shown: Option<String> =
        first.and_then(|span| text.get(span.range())).map(|shown| shown.chars().take(LONGEST).collect());
    let declares = matches!(word.value.as_str(), "reading" | "value" | "screen");
    let name = match shown {
        Some(name) if declares && named => name,
        Some(shown) => format!("{} {shown}", word.value),
        None => word.value.clone(),
    };
    let block = statement.block.iter().flat_map(|block| &block.statements);
    Symbol {
        name,
        word: word.value.clone(),
        span: statement.span,
        selection: first.filter(|_| declares && named).unwrap_or(word.span),
        children: block.map(|inner| symbol(text, inner)).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::language::parse;

    fn outline(symbols: &[Symbol]) -> String {
        let one = |symbol: &Symbol| match symbol.children.as_slice() {
            [] => symbol.name.clone(),
            children => format!("{} [{}]", symbol.name, outline(children)),
        };
        symbols.iter().map(one).collect::<Vec<_>>().join(", ")
    }

    #[test]
    fn a_file_and_a_broken_one() {
        let text = "panel 128x32\nreading temp from: \"a\"\nscreen s { columns gap: 1 { text \"{temp:.1}\"\nrule } each room: (a, b) { icon \"sun\" } }";
        let found = symbols(text, &parse(text).0);
        assert_eq!(
            outline(&found),
            "panel 128x32, temp, s [columns [text \"{temp:.1}\", rule], each room [icon \"sun\"]]"
        );
        assert_eq!(&text[found[1].selection.range()], "temp");
        let text = "reading temp from:\nvalue = 3\nscreen s { text \"a";
        assert_eq!(outline(&symbols(text, &parse(text).0)), "temp, value, s [text \"a]");
    }

    #[test]
    fn selections_lie_within_their_symbols() {
        let text = include_str!("../../layouts/demo.layout");
        fn check(symbols: &[Symbol]) {
            for symbol in symbols {
                assert!(symbol.span.start <= symbol.selection.start && symbol.selection.end <= symbol.span.end);
                check(&symbol.children);
            }
        }
        let found = symbols(text, &parse(text).0);
        assert!(found.len() > 3);
        check(&found);
    }
}
