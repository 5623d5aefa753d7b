//! What a file declares, as far as it can be told: also of a file with mistakes, of which there is no model.
//!
//! What enters is a syntax tree; what leaves are the names of readings and values with their meaning, and each place that looks at
//! them. Findings are left to [`check`](super::check).

use crate::formulas::{Bounds, Compiled};
use crate::language::syntax::{Document, Span};
use crate::units::Unit;

use super::expressions::NameKind;
use super::{Checker, each};

/// A reading or a value.
#[derive(Clone, Debug)]
pub struct Declared {
    /// The name; of a copy of an `each`, the one that it has there.
    pub name: String,
    /// Where it is declared. Copies of an `each` share their places.
    pub span: Span,
    /// Whether it is heard, and not computed.
    pub heard: bool,
    /// What it is.
    pub means: Means,
    /// The places that look at it, in the order of the file and each once.
    pub uses: Vec<Span>,
}

/// What a name stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Means {
    /// A number in a unit, within bounds.
    Number(Unit, Bounds),
    /// Something that holds or does not.
    Condition,
    /// Nobody knows: its statement has a mistake.
    Unknown,
}

/// The readings and values of a document, in the order in which they are declared. Of two with one name the first counts.
pub fn declared(document: &Document) -> Vec<Declared> {
    let mut checker = Checker::default();
    let expanded = each::expand(document, &mut checker.findings);
    // Of a file without a single statement that is right there may be no layout, but what was declared is known all the same.
    let _ = checker.document(&expanded);
    let bounds = |source: &Compiled| match source {
        Compiled::Reading(place) => checker.reading_bounds.get(*place),
        Compiled::Value(place) => checker.value_bounds.get(*place),
        _ => None,
    };
    let names = checker.scope.names.iter().map(|known| {
        let mut uses = known.uses.borrow().clone();
        uses.sort_unstable();
        uses.dedup();
        let means = match known.kind {
            NameKind::Number(unit) => Means::Number(unit, bounds(&known.source).copied().unwrap_or(Bounds::ANY)),
            NameKind::Truth => Means::Condition,
            NameKind::Unknown => Means::Unknown,
        };
        let heard = matches!(known.source, Compiled::Reading(_));
        Declared { name: known.name.clone(), span: known.span, heard, means, uses }
    });
    names.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::language::parse;

    #[test]
    fn a_broken_file_still_declares() {
        let text = "panel 128x32\nreading temp from: \"cellar/a\" unit: °C range: -10..40\nreading rh from: \"cellar/a\" unit: blub\n\
            value dew = dew_point(temp, rh)\nvalue warm = temp > 12\nscreen s { text \"{temp:.1} {tmp}\" bar temp over: }\n";
        let found = declared(&parse(text).0);
        let names: Vec<&str> = found.iter().map(|one| one.name.as_str()).collect();
        assert_eq!(names, ["temp", "rh", "dew", "warm"]);
        let celsius = crate::units::lookup("°C").unwrap();
        assert_eq!(found[0].means, Means::Number(celsius, Bounds { low: -10.0, high: 40.0 }));
        assert_eq!(found[1].means, Means::Unknown);
        assert_eq!(found[3].means, Means::Condition);
        let uses: Vec<usize> = found[0].uses.iter().map(|span| text[..span.start as usize].lines().count()).collect();
        assert_eq!(uses, [4, 5, 6]);
    }

    #[test]
    fn copies_share_their_places() {
        let text = "panel 128x64\neach room: (brine, yard) { reading temp.room from: \"cellar/{room}\" unit: °C }\n\
            screen s { each room: (brine, yard) { text \"{temp.room:.0}\" size: 9 } text \"{temp.yard:.0}\" size: 9 }\n";
        let found = declared(&parse(text).0);
        assert_eq!((found[0].name.as_str(), found[1].name.as_str()), ("temp.brine", "temp.yard"));
        assert_eq!(found[0].span, found[1].span);
        assert_eq!((found[0].uses.len(), found[1].uses.len()), (1, 2));
    }
}
