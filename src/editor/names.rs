//! Readings, values and the lists of `each`: where a name is declared, and every place that looks at it.
//!
//! What enters is an analysed text and a byte; what leaves are places. Copies of an `each` share their places, so that one place may
//! stand for several names.

use std::collections::BTreeSet;

use crate::language::syntax::{ExpressionKind, NamedArgument, Statement};
use crate::language::{Span, each};

use super::analysis::Analysis;
use super::thing::{Kind, each_name, thing_at};

/// Something with a name, and its places.
#[derive(Debug, PartialEq, Eq)]
pub struct Named {
    /// What kind of thing.
    pub kind: NamedKind,
    /// The place that was asked about: of a name with dots, the part between them.
    pub asked: Span,
    /// Which part of a name with dots that is, counted from 0.
    pub part: usize,
    /// Where it is declared.
    pub declarations: BTreeSet<Span>,
    /// What looks at it.
    pub uses: BTreeSet<Span>,
}

/// What kind of thing has a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NamedKind {
    /// A reading or a value; its places hold the whole name.
    Declared,
    /// A list of an `each`; its places hold that part of a name that stands for a word.
    List,
    /// A word of a list, as a part of a name.
    ListWord,
}

/// What is named at the byte `at`.
pub fn named_at(analysis: &Analysis, at: usize) -> Option<Named> {
    let thing = thing_at(&analysis.understood.document, &analysis.text, at)?;
    if let (Kind::Argument(None), Some(statement)) = (thing.kind, thing.around.last())
        && statement.word.value == each::WORD
    {
        return Some(list(analysis, statement, thing.span, thing.span));
    }
    let Kind::Name(_) = thing.kind else { return None };
    let (part, asked) = part_at(analysis, thing.span, at);
    let owner = list_owner(&thing.around, analysis.slice(asked));
    if let Some((statement, argument)) = owner {
        return Some(list(analysis, statement, argument.name.span, asked));
    }
    let known = match thing.parsed {
        true => thing.span,
        // The checker never came here, but a name is a name.
        false => analysis.declared_as(&resolved(&thing.around, analysis.slice(thing.span)))?.span,
    };
    let (declarations, mut uses) = family(analysis, known);
    uses.extend((!thing.parsed).then_some(thing.span));
    if declarations.is_empty() {
        return None;
    }
    // What was written as a list's name where it is declared is one of the list's words here.
    let written = parts(analysis, *declarations.first()?).get(part).map(|(text, _)| *text);
    let kind = if written == Some(analysis.slice(asked)) { NamedKind::Declared } else { NamedKind::ListWord };
    Some(Named { kind, asked, part, declarations, uses })
}

/// Everything that is one with the readings or values at a place: what is declared there, what looks at it, and what any of these
/// places stands for besides.
fn family(analysis: &Analysis, span: Span) -> (BTreeSet<Span>, BTreeSet<Span>) {
    let (mut declarations, mut uses) = (BTreeSet::new(), BTreeSet::from([span]));
    loop {
        let before = (declarations.len(), uses.len());
        for declared in &analysis.declared {
            if declarations.contains(&declared.span)
                || uses.contains(&declared.span)
                || declared.uses.iter().any(|place| uses.contains(place))
            {
                declarations.insert(declared.span);
                uses.extend(&declared.uses);
            }
        }
        if before == (declarations.len(), uses.len()) {
            break;
        }
    }
    uses.retain(|place| !declarations.contains(place));
    (declarations, uses)
}

/// Where exactly the readings or values are declared that a place looks at.
pub fn definitions(analysis: &Analysis, at: usize) -> BTreeSet<Span> {
    let Some(named) = named_at(analysis, at) else { return BTreeSet::new() };
    if named.kind == NamedKind::List {
        return named.declarations;
    }
    let thing = thing_at(&analysis.understood.document, &analysis.text, at);
    let Some(thing) = thing.filter(|thing| thing.parsed) else { return named.declarations };
    let meant = analysis.declared.iter().filter(|one| one.span == thing.span || one.uses.contains(&thing.span));
    meant.map(|one| one.span).collect()
}

/// A list of an `each`, with every part of a name in its block that stands for one of its words.
fn list(analysis: &Analysis, statement: &Statement, declaration: Span, asked: Span) -> Named {
    let name = analysis.slice(declaration);
    let mut uses = BTreeSet::new();
    let block = statement.block.iter().flat_map(|block| &block.statements);
    for inner in block {
        each_name(std::slice::from_ref(inner), &mut Vec::new(), &mut |_, _, span| {
            let here = parts(analysis, span).into_iter().filter(|(part, _)| *part == name);
            uses.extend(here.map(|(_, place)| place));
        });
    }
    Named { kind: NamedKind::List, asked, part: 0, declarations: BTreeSet::from([declaration]), uses }
}

/// The innermost `each` among these statements that has a list of that name.
pub fn list_owner<'a>(around: &[&'a Statement], name: &str) -> Option<(&'a Statement, &'a NamedArgument)> {
    around.iter().rev().filter(|statement| statement.word.value == each::WORD).find_map(|statement| {
        let argument = statement.named.iter().find(|argument| argument.name.value == name)?;
        Some((*statement, argument))
    })
}

/// A name with the first word of each list in the place of the list's name: one of those that it stands for.
pub fn resolved(around: &[&Statement], name: &str) -> String {
    let word = |part: &str| {
        let (_, list) = list_owner(around, part)?;
        let first = match &list.value.kind {
            ExpressionKind::Tuple(words) => words.first()?,
            _ => &list.value,
        };
        match &first.kind {
            ExpressionKind::Name(word) => Some(word.clone()),
            _ => None,
        }
    };
    let parts: Vec<String> = name.split('.').map(|part| word(part).unwrap_or_else(|| part.to_string())).collect();
    parts.join(".")
}

/// The parts of a name between its dots.
pub fn parts(analysis: &Analysis, span: Span) -> Vec<(&str, Span)> {
    let mut start = span.start as usize;
    let part = |part: &'_ str| {
        let place = Span::new(start, start + part.len());
        start = place.end as usize + 1;
        place
    };
    let texts = analysis.slice(span).split('.');
    texts.clone().zip(texts.map(part)).collect()
}

/// Which part of the name at `span` the byte `at` is in, and where that stands.
fn part_at(analysis: &Analysis, span: Span, at: usize) -> (usize, Span) {
    let parts = parts(analysis, span);
    let found = parts.iter().enumerate().find(|(_, (_, place))| at <= place.end as usize);
    found.map_or((0, span), |(index, (_, place))| (index, *place))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::analysis::with_cursor;

    const ROOMS: &str = "panel 128x64\neach room: (brine, yard) { reading temp.room from: \"cellar/{room}\" unit: °C }\n\
        value dew = temp.brine - 2\nscreen s { each room: (brine, yard) { text \"{room} {temp.room:.0}\" size: 9 }\n\
        text \"{temp.brine:.0} {dew:.1}\" size: 9 }\n";

    /// The lines of the declarations and of the uses of what stands at `part`, moved on by `behind` bytes.
    fn lines(text: &str, part: &str, behind: usize) -> Option<(NamedKind, Vec<usize>, Vec<usize>)> {
        let at = text.find(part).unwrap() + behind;
        let (analysis, at) = with_cursor(&format!("{}|{}", &text[..at], &text[at..]));
        let line = |span: &Span| text[..span.start as usize].matches('\n').count() + 1;
        let named = named_at(&analysis, at)?;
        let places = |places: &BTreeSet<Span>| places.iter().map(line).collect();
        Some((named.kind, places(&named.declarations), places(&named.uses)))
    }

    #[test]
    fn readings_and_values() {
        assert_eq!(lines(ROOMS, "dew:.1", 1), Some((NamedKind::Declared, vec![3], vec![5])));
        assert_eq!(lines(ROOMS, "dew = ", 0), Some((NamedKind::Declared, vec![3], vec![5])));
        let temp = Some((NamedKind::Declared, vec![2], vec![3, 4, 5]));
        assert_eq!(lines(ROOMS, "temp.brine", 2), temp);
        assert_eq!(lines(ROOMS, "temp.room from", 2), temp);
        assert_eq!(lines(ROOMS, "temp.brine", 7).unwrap().0, NamedKind::ListWord);
        assert_eq!(lines(ROOMS, "panel", 2), None);
    }

    #[test]
    fn lists_belong_to_their_block() {
        let first = Some((NamedKind::List, vec![2], vec![2, 2]));
        assert_eq!(lines(ROOMS, "room: ", 1), first);
        assert_eq!(lines(ROOMS, "room from", 1), first);
        assert_eq!(lines(ROOMS, "room} {", 1), Some((NamedKind::List, vec![4], vec![4, 4])));
    }

    #[test]
    fn a_word_that_is_no_reading_is_none() {
        let text = "panel 128x32\nreading small from: \"a\" unit: %\nscreen s { text \"{small:.0}\" face: small }\n";
        assert_eq!(lines(text, "small from", 1), Some((NamedKind::Declared, vec![2], vec![3])));
        assert_eq!(lines(text, "small }", 1), None);
    }

    #[test]
    fn a_broken_file_has_definitions() {
        let text =
            "panel 128x32\nreading temp from: \"a\" unit: °C\nvalue x = temp + )\nscreen s { text \"{temp:.1\" }\n";
        assert_eq!(lines(text, "temp + )", 1).unwrap().1, [2]);
    }
}
