//! `each`: a block that is repeated for each word of a list.
//!
//! What enters is a syntax tree; what leaves is one without `each` and `allow`, in which every copy keeps the places of what it was copied from.
//! Within the block the list's name stands for the word of the copy: as a part of a name behind a dot, in a text between braces, or
//! as an argument. So `each room: (ripening, brine) { reading temp.room from: "cellar/{room}/climate" }` declares `temp.ripening` and
//! `temp.brine`.

use super::syntax::{Block, Document, Expression, ExpressionKind, NamedArgument, Piece, Span, Spanned, Statement};
use super::{Finding, allow};

/// The word that the statement begins with.
pub const WORD: &str = "each";
/// All copies together have at most so many statements; more than any panel can show.
pub const MOST_COPIES: usize = 2000;
const EXAMPLE: &str = "each room: (ripening, brine) { … }";

/// What the names of the lists stand for in a copy.
type Words<'a> = Vec<(&'a str, &'a str)>;

struct Expansion<'a> {
    findings: &'a mut Vec<Finding>,
    copies: usize,
    gave_up: bool,
}

/// The document with every `each` replaced by its copies.
pub(super) fn expand(document: &Document, findings: &mut Vec<Finding>) -> Document {
    let mut expansion = Expansion { findings, copies: 0, gave_up: false };
    Document { statements: expansion.statements(&document.statements, &Words::new()) }
}

impl Expansion<'_> {
    fn statements(&mut self, statements: &[Statement], words: &Words<'_>) -> Vec<Statement> {
        let mut expanded = Vec::with_capacity(statements.len());
        for statement in statements {
            if self.gave_up {
                break;
            }
            if statement.word.value == allow::WORD {
                // What is allowed was read before.
                continue;
            }
            if statement.word.value == WORD {
                self.each(statement, words, &mut expanded);
            } else {
                self.copies += usize::from(!words.is_empty());
                if self.copies > MOST_COPIES {
                    self.gave_up = true;
                    self.findings.push(
                        Finding::error(
                            "too many copies",
                            statement.span,
                            format!("all `{WORD}` together make more than {MOST_COPIES} statements"),
                        )
                        .label("not copied any more")
                        .help("shorten the lists"),
                    );
                } else {
                    expanded.push(self.copy(statement, words));
                }
            }
        }
        expanded
    }

    fn each(&mut self, statement: &Statement, words: &Words<'_>, expanded: &mut Vec<Statement>) {
        let Some(lists) = self.lists(statement) else { return };
        let Some(block) = &statement.block else {
            self.findings.push(
                Finding::error("missing block", statement.span, format!("`{WORD}` needs a block to repeat"))
                    .help(format!("write, for example, `{EXAMPLE}`")),
            );
            return;
        };
        if let Some((name, _)) = lists.iter().find(|(name, _)| words.iter().any(|(outer, _)| outer == name)) {
            self.findings.push(Finding::error(
                "name given twice",
                statement.span,
                format!("an `{WORD}` around this one has a list `{name}` already"),
            ));
            return;
        }
        let copies = lists[0].1.len();
        for copy in 0..copies {
            let mut words = words.clone();
            words.extend(lists.iter().map(|(name, list)| (*name, list[copy].as_str())));
            expanded.extend(self.statements(&block.statements, &words));
        }
    }

    /// The lists of an `each`, all of one length and none empty.
    fn lists<'s>(&mut self, statement: &'s Statement) -> Option<Vec<(&'s str, Vec<String>)>> {
        let mut lists: Vec<(&str, Vec<String>)> = Vec::new();
        for NamedArgument { name, value } in &statement.named {
            let entries = match &value.kind {
                ExpressionKind::Tuple(entries) => entries.as_slice(),
                _ => std::slice::from_ref(value),
            };
            let mut list = Vec::with_capacity(entries.len());
            for entry in entries {
                list.push(self.word(entry)?);
            }
            if let Some((first, others)) = lists.first().filter(|(_, first)| first.len() != list.len()) {
                self.findings.push(
                    Finding::error(
                        "lists differ in length",
                        value.span,
                        format!("`{}` has {} words, and `{first}` has {}", name.value, list.len(), others.len()),
                    )
                    .label("not as many as in the first list"),
                );
                return None;
            }
            lists.push((&name.value, list));
        }
        if lists.is_empty() || !statement.plain.is_empty() || statement.definition.is_some() {
            self.findings.push(
                Finding::error(
                    "missing argument",
                    statement.word.span,
                    format!("`{WORD}` needs a name with its list of words"),
                )
                .help(format!("write, for example, `{EXAMPLE}`")),
            );
            return None;
        }
        Some(lists)
    }

    fn word(&mut self, entry: &Expression) -> Option<String> {
        let word = match &entry.kind {
            ExpressionKind::Name(name) => Some(name.clone()),
            ExpressionKind::Damaged => return None,
            _ => entry.literal().map(str::to_string),
        };
        if word.is_none() {
            self.findings.push(
                Finding::error("wrong kind", entry.span, "a list is made of names and of texts in quotes")
                    .help(format!("write, for example, `{EXAMPLE}`")),
            );
        }
        word
    }

    fn copy(&mut self, statement: &Statement, words: &Words<'_>) -> Statement {
        let mut copy = statement.clone();
        if let Some(Block { statements, .. }) = &mut copy.block {
            *statements = self.statements(statements, words);
        }
        if !words.is_empty() {
            // What a statement declares by its first argument is a name, not a text.
            if let Some(Expression { kind: ExpressionKind::Name(name), .. }) = copy.plain.first_mut()
                && let Some((_, word)) = words.iter().find(|(list, _)| list == name)
            {
                *name = (*word).to_string();
            }
            copy.plain.iter_mut().for_each(|argument| fill(argument, words));
            copy.named.iter_mut().for_each(|argument| fill(&mut argument.value, words));
            copy.definition.iter_mut().for_each(|definition| fill(definition, words));
        }
        copy
    }
}

/// Puts the words of a copy in the place of the lists' names.
fn fill(expression: &mut Expression, words: &Words<'_>) {
    let span = expression.span;
    match &mut expression.kind {
        ExpressionKind::Name(name) => {
            if let Some((_, word)) = words.iter().find(|(list, _)| list == name) {
                expression.kind = ExpressionKind::Text(vec![literal(word, span)]);
            } else if name.contains('.') {
                let parts = name
                    .split('.')
                    .map(|part| words.iter().find(|(list, _)| *list == part).map_or(part, |(_, word)| word));
                *name = parts.collect::<Vec<_>>().join(".");
            }
        }
        ExpressionKind::Text(pieces) => *pieces = filled(std::mem::take(pieces), words),
        ExpressionKind::Tuple(items) => items.iter_mut().for_each(|item| fill(item, words)),
        ExpressionKind::Call { plain, named, .. } => {
            plain.iter_mut().for_each(|argument| fill(argument, words));
            named.iter_mut().for_each(|argument| fill(&mut argument.value, words));
        }
        ExpressionKind::Unary(_, inner) | ExpressionKind::Convert { value: inner, .. } => fill(inner, words),
        ExpressionKind::Binary(_, left, right) | ExpressionKind::Range(left, right) => {
            fill(left, words);
            fill(right, words);
        }
        ExpressionKind::If { condition, then, otherwise } => {
            fill(condition, words);
            fill(then, words);
            fill(otherwise, words);
        }
        ExpressionKind::Number { .. }
        | ExpressionKind::Dimensions { .. }
        | ExpressionKind::Bool(_)
        | ExpressionKind::Unit(_)
        | ExpressionKind::Damaged => {}
    }
}

/// The pieces of a text with the words of a copy; characters that come together are one piece.
fn filled(pieces: Vec<Piece>, words: &Words<'_>) -> Vec<Piece> {
    let mut together: Vec<Piece> = Vec::with_capacity(pieces.len());
    for mut piece in pieces {
        if let Piece::Field { value, span, .. } = &mut piece {
            let span = *span;
            fill(value, words);
            if let ExpressionKind::Text(inner) = &value.kind
                && let [Piece::Literal(text)] = inner.as_slice()
            {
                piece = literal(&text.value, span);
            }
        }
        match (together.last_mut(), piece) {
            (Some(Piece::Literal(before)), Piece::Literal(text)) => {
                before.value.push_str(&text.value);
                before.span = before.span.to(text.span);
            }
            (_, piece) => together.push(piece),
        }
    }
    together
}

fn literal(word: &str, span: Span) -> Piece {
    Piece::Literal(Spanned::new(word.to_string(), span))
}

#[cfg(test)]
mod tests {
    use crate::language::{check, parse};

    fn findings(text: &str) -> Vec<(&'static str, String)> {
        let (document, mut findings) = parse(text);
        findings.extend(check(&document).1);
        findings.into_iter().map(|finding| (finding.name, text[finding.span.range()].to_string())).collect()
    }

    const ROOMS: &str = "panel 128x64\neach room: (ripening, brine) {\n\
        reading temp.room from: \"cellar/{room}/climate\" unit: °C\n}\n";

    #[test]
    fn readings_and_elements_are_copied() {
        let text =
            format!("{ROOMS}screen s {{ each room: (ripening, brine) {{ text \"{{room}} {{temp.room:.0}}\" }} }}");
        let (document, _) = parse(&text);
        let (layout, findings) = check(&document);
        assert_eq!(findings, []);
        let layout = layout.unwrap();
        let readings: Vec<(&str, &str)> =
            layout.readings.iter().map(|reading| (&*reading.spec.name, reading.spec.filter.as_str())).collect();
        assert_eq!(readings, [("temp.ripening", "cellar/ripening/climate"), ("temp.brine", "cellar/brine/climate")]);
        let elements = &layout.screens[0].children;
        assert_eq!((elements.len(), elements[0].span), (2, elements[1].span));
        assert_ne!(elements[0].id, elements[1].id);
    }

    #[test]
    fn lists_may_be_nested_and_name_screens() {
        let text = "panel 128x64\neach room: (a, b) { each thing: (c, d) { reading x.room.thing from: \"{room}/{thing}\" unit: % }\n\
            screen room { text \"{x.room.c + x.room.d:.0}\" } }";
        let (document, _) = parse(text);
        let (layout, findings) = check(&document);
        assert_eq!(findings, []);
        let layout = layout.unwrap();
        assert_eq!(layout.readings.len(), 4);
        assert_eq!(layout.screens.iter().map(|screen| &*screen.name).collect::<Vec<_>>(), ["a", "b"]);
    }

    #[test]
    fn a_mistake_in_a_block_is_reported_once() {
        let text = format!("{ROOMS}screen s {{ each room: (ripening, brine) {{ text \"{{tmp.room:.0}}\" }} }}");
        assert_eq!(findings(&text), [("unknown name", "tmp.room".to_string())]);
    }

    #[test]
    fn lists_that_cannot_be_are_named() {
        let screen = |each: &str| findings(&format!("panel 128x64\nscreen s {{ {each} }}"));
        assert_eq!(screen("each { text \"a\" }")[0].0, "missing argument");
        assert_eq!(screen("each room: (a, b)")[0].0, "missing block");
        assert_eq!(screen("each room: (a, 2) { text \"a\" }")[0], ("wrong kind", "2".to_string()));
        assert_eq!(screen("each a: (b, c) { each a: (d, e) { text \"x\" } }")[0].0, "name given twice");
    }

    #[test]
    fn copies_are_bounded() {
        let list = (0..60).map(|number| format!("w{number}")).collect::<Vec<_>>().join(", ");
        let text = format!(
            "panel 128x64\nscreen s {{ each a: ({list}) {{ each b: ({list}) {{ each c: ({list}) {{ text \"x\" }} }} }} }}"
        );
        assert!(findings(&text).iter().any(|(name, _)| *name == "too many copies"));
    }
}
