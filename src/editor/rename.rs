//! Another name for a reading, a value or a list of an `each`, everywhere at once.
//!
//! What enters are an analysed text, a byte and a new name; what leaves are the places to be changed, or why there are none. A change
//! is refused unless the layout afterwards declares and uses the same things as before, under their new name.

use std::collections::BTreeSet;

use crate::language::tokens::{TokenKind, tokenize};
use crate::language::{self, Declared, Span, has_errors};

use super::analysis::Analysis;
use super::names::{Named, NamedKind, named_at, parts};

/// The longest new name, in bytes; it is written at each of its places.
const LONGEST: usize = 256;

/// Why something gets no other name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// Nothing at that place has a name of its own.
    #[error("only readings, values and the lists of `each` can get another name")]
    Nameless,
    /// A part of a name that is a word of a list.
    #[error(
        "`{0}` is a word of a list, which may be part of topics and texts as well; change it where the list stands"
    )]
    ListWord(String),
    /// A part of a name that stands for a word in one place and for itself in another.
    #[error("`{0}` is a list in other places of this name, so that it cannot be changed alone")]
    Mixed(String),
    /// The new name is none.
    #[error("`{0}` is no name; a name begins with a letter and goes on with letters, digits and `_`")]
    BadName(String),
    /// The new name is longer than anybody would write.
    #[error("expected a name of at most {LONGEST} bytes, found one of {0}")]
    TooLong(usize),
    /// The new name would mean something else somewhere.
    #[error("`{0}` is taken, or would mean something else in one of the places")]
    Taken(String),
    /// The file has errors.
    #[error("the layout has errors, and nobody can say how damaged text is meant; mend them first")]
    Damaged,
}

/// What would be renamed at a place: the part of a name that stands there.
pub fn renamable(analysis: &Analysis, at: usize) -> Result<Named, Refusal> {
    let named = named_at(analysis, at).ok_or(Refusal::Nameless)?;
    match named.kind {
        NamedKind::ListWord => Err(Refusal::ListWord(analysis.slice(named.asked).to_string())),
        NamedKind::Declared | NamedKind::List => Ok(named),
    }
}

/// The places that have to read `new` from now on.
pub fn rename(analysis: &Analysis, at: usize, new: &str) -> Result<BTreeSet<Span>, Refusal> {
    let named = renamable(analysis, at)?;
    if new.len() > LONGEST {
        return Err(Refusal::TooLong(new.len()));
    }
    if !is_name(new) {
        return Err(Refusal::BadName(new.to_string()));
    }
    if analysis.is_damaged() {
        // What does not fit, or a face that is not there, does no harm to names.
        let (document, findings) = language::parse(&analysis.text);
        if has_errors(&findings) || has_errors(&language::check(&document).1) {
            return Err(Refusal::Damaged);
        }
    }
    let old = analysis.slice(named.asked);
    let places = match named.kind {
        NamedKind::List => named.declarations.union(&named.uses).copied().collect(),
        _ => {
            let part = |span: &Span| {
                let found = parts(analysis, *span).get(named.part).copied();
                found.filter(|(text, _)| *text == old).map(|(_, place)| place)
            };
            let places: Option<BTreeSet<Span>> = named.declarations.union(&named.uses).map(part).collect();
            places.ok_or_else(|| Refusal::Mixed(old.to_string()))?
        }
    };
    let renamed = replaced(&analysis.text, &places, new);
    if old != new && !means_the_same(analysis, &named, &renamed, new) {
        return Err(Refusal::Taken(new.to_string()));
    }
    Ok(places)
}

/// Whether a word can be a name, or a part of one.
fn is_name(word: &str) -> bool {
    let tokens = tokenize(word);
    matches!(tokens.as_slice(), [name, _] if name.kind == TokenKind::Name && name.span == Span::new(0, word.len()))
        && !word.contains('.')
}

fn replaced(text: &str, places: &BTreeSet<Span>, new: &str) -> String {
    let mut out = String::with_capacity(text.len() + places.len() * new.len());
    let mut at = 0;
    for place in places {
        out.push_str(&text[at..place.start as usize]);
        out.push_str(new);
        at = place.end as usize;
    }
    out + &text[at..]
}

/// Whether the new text says the same as the old one, but for the name.
fn means_the_same(analysis: &Analysis, named: &Named, renamed: &str, new: &str) -> bool {
    let kinds = |text: &str| {
        let (document, mut findings) = language::parse(text);
        findings.extend(language::check(&document).1);
        findings.into_iter().map(|finding| finding.name).collect::<Vec<_>>()
    };
    let declared = language::declared(&language::parse(renamed).0);
    let name = |before: &Declared| match named.kind {
        NamedKind::Declared if named.declarations.contains(&before.span) => {
            let parts = before.name.split('.').enumerate();
            let parts: Vec<&str> = parts.map(|(index, part)| if index == named.part { new } else { part }).collect();
            parts.join(".")
        }
        _ => before.name.clone(),
    };
    let same = |before: &Declared, after: &Declared| {
        name(before) == after.name
            && (before.heard, before.means, before.uses.len()) == (after.heard, after.means, after.uses.len())
    };
    declared.len() == analysis.declared.len()
        && analysis.declared.iter().zip(&declared).all(|(before, after)| same(before, after))
        && kinds(&analysis.text) == kinds(renamed)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::analysis::with_cursor;

    /// The text after the name at `|` was changed.
    fn renamed(text: &str, new: &str) -> Result<String, Refusal> {
        let (analysis, at) = with_cursor(text);
        rename(&analysis, at, new).map(|places| replaced(&analysis.text, &places, new))
    }

    const TWO: &str = "panel 128x32\nreading te|mp from: \"cellar/temp\" unit: °C # temp\nvalue dew = temp - 2\n\
        screen s when: temp > 3 { text \"temp {temp:.1} {dew:.1}\" size: 9 }\n";

    #[test]
    fn everything_that_looks_at_it_follows() {
        assert_eq!(
            renamed(TWO, "air").unwrap(),
            "panel 128x32\nreading air from: \"cellar/temp\" unit: °C # temp\nvalue dew = air - 2\n\
             screen s when: air > 3 { text \"temp {air:.1} {dew:.1}\" size: 9 }\n"
        );
    }

    #[test]
    fn bad_names_and_clashes_are_refused() {
        for bad in ["", "two words", "9a", "if", "a.b", "a-b", "\"a\"", "a # b", "é\n"] {
            assert_eq!(renamed(TWO, bad), Err(Refusal::BadName(bad.to_string())));
        }
        assert!(renamed(TWO, &"a".repeat(LONGEST)).is_ok());
        assert_eq!(renamed(TWO, &"a".repeat(LONGEST + 1)), Err(Refusal::TooLong(LONGEST + 1)));
        assert_eq!(renamed(TWO, "dew"), Err(Refusal::Taken("dew".into())));
        assert!(renamed(TWO, "temp").is_ok());
        assert_eq!(renamed("pan|el 128x32", "a"), Err(Refusal::Nameless));
    }

    #[test]
    fn a_damaged_file_is_left_alone() {
        assert_eq!(renamed(&format!("{TWO}value x = (\n"), "air"), Err(Refusal::Damaged));
        let tall = TWO.replace("size: 9", "size: 24 face: wide");
        assert!(renamed(&tall, "air").is_ok());
    }

    const ROOMS: &str = "panel 128x64\neach room: (brine, yard) { reading temp.room from: \"cellar/{room}\" unit: °C }\n\
        screen s { each room: (brine, yard) { text \"{room} {temp.room:.0}\" size: 9 }\n\
        text \"{temp.brine:.0}\" size: 9 }\n";

    #[test]
    fn parts_of_names_in_copies() {
        let all = renamed(&ROOMS.replacen("temp.brine", "te|mp.brine", 1), "air").unwrap();
        assert_eq!(all, ROOMS.replace("temp.", "air."));
        let word = renamed(&ROOMS.replacen("temp.brine", "temp.bri|ne", 1), "air");
        assert_eq!(word, Err(Refusal::ListWord("brine".into())));
    }

    #[test]
    fn lists_in_their_block() {
        let all = renamed(&ROOMS.replacen("temp.room from", "temp.ro|om from", 1), "place").unwrap();
        let (first, rest) = ROOMS.split_at(ROOMS.find("screen").unwrap());
        assert_eq!(all, first.replace("room", "place") + rest);
        // `temp.temp` would have both of its parts replaced.
        let captured = renamed(&ROOMS.replacen("temp.room from", "temp.ro|om from", 1), "temp");
        assert_eq!(captured, Err(Refusal::Taken("temp".into())));
    }

    #[test]
    fn a_list_that_would_catch_a_reading_is_a_clash() {
        let text = "panel 128x64\nreading te|mp from: \"a\" unit: °C\nscreen s { each room: (a, b) { text \"{room} {temp:.0}\" size: 9 } }\n";
        assert_eq!(renamed(text, "room"), Err(Refusal::Taken("room".into())));
        assert!(renamed(text, "air").is_ok());
    }
}
