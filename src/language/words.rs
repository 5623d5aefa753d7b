//! The words of the language: statements, elements and picks, with the arguments that each takes and what may stand in them.
//!
//! The checker knows no other names than the ones in these tables, and help in editors offers the same rows. Nothing is checked here.

use super::model::{Align, Direction};
use super::{allow, clock, each};

/// A statement, an element or a pick.
#[derive(Debug, PartialEq)]
pub struct Word {
    /// How it is written.
    pub name: &'static str,
    /// Its arguments without a name, in order; those of an `each` and of `words` have the names that the file gives them.
    pub plain: &'static [Takes],
    /// Its arguments with a name.
    pub named: &'static [(&'static str, Takes)],
    /// What its block holds, if it has one.
    pub holds: Option<Holds>,
}

/// What stands in a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// Elements.
    Elements,
    /// What may stand around the block.
    TheSame,
}

/// What may stand in an argument.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Takes {
    /// A new name.
    Name,
    /// A text without fields, such as a topic.
    Literal,
    /// A text with fields.
    Text,
    /// The name of an icon, in quotes, or a choice of several.
    Icon,
    /// An expression that is a number.
    Number,
    /// An expression that holds or does not.
    Condition,
    /// What has a past: a reading, or a value that is a number.
    Past,
    /// A number that stands in the file, or a range of numbers.
    Constant,
    /// A place, `(71, 8)`.
    Place,
    /// A unit.
    Unit,
    /// A topic, or one with the words that are published there.
    Presence,
    /// How a payload becomes a number.
    Pick,
    /// How numbers are smoothed.
    Smooth,
    /// How wide and tall a panel is.
    Panel,
    /// A face: a family, or the path of a file in quotes.
    Face,
    /// How tall digits are: pixels, or `fit`.
    Size,
    /// An age: a time, or one of [`STALE`].
    Stale,
    /// One of [`HORIZONTAL`].
    Horizontal,
    /// One of [`VERTICAL`].
    Vertical,
    /// One of [`DIRECTIONS`].
    Direction,
    /// One of [`DECIMALS`].
    Decimal,
    /// One of [`FIELDS`].
    Field,
    /// The name of a warning, in quotes.
    Finding,
    /// The name of a time zone, in quotes.
    Zone,
}

/// The panels that a layout can be made for.
pub const PANELS: [(u32, u32); 2] = [(128, 32), (128, 64)];
/// The size that follows from the room there is.
pub const FIT: &str = "fit";
/// The window from the last local midnight on.
pub const TODAY: &str = "today";
/// What is no time, but says when a reading is stale: never, or by its cadence.
pub const STALE: [&str; 2] = ["never", "auto"];
/// Where a text stands from left to right.
pub const HORIZONTAL: [(&str, Align); 3] = [("left", Align::Start), ("center", Align::Middle), ("right", Align::End)];
/// Where a text stands from top to bottom.
pub const VERTICAL: [(&str, Align); 3] = [("top", Align::Start), ("middle", Align::Middle), ("bottom", Align::End)];
/// Which way a bar grows.
pub const DIRECTIONS: [(&str, Direction); 4] =
    [("right", Direction::Right), ("left", Direction::Left), ("up", Direction::Up), ("down", Direction::Down)];
/// Whether a payload has decimal commas.
pub const DECIMALS: [(&str, bool); 2] = [("point", false), ("comma", true)];
/// Whether it is the sum of a SenML record that counts.
pub const FIELDS: [(&str, bool); 2] = [("value", false), ("sum", true)];
/// The call that is written in the place of a `presence:` topic whose words are others than usual.
pub const TOPIC: Word = word("topic", &[Takes::Literal], &[("online", Takes::Literal), ("offline", Takes::Literal)]);
/// How noise is smoothed.
pub const SMOOTHS: [Word; 2] = [word("median", &[Takes::Constant], &[]), word("average", &[Takes::Constant], &[])];

/// The call that a field holds instead of an expression where it shows the time.
pub const CLOCK: Word = word(clock::NAME, &[Takes::Literal, Takes::Zone], &[]);

/// The words that a statement begins with at the top level and among elements alike.
pub const ANYWHERE: [Word; 2] = [
    around(each::WORD, &[], &[], Holds::TheSame),
    word(allow::WORD, &[Takes::Finding], &[(allow::REASON, Takes::Literal)]),
];

/// The words that a statement begins with at the top level only.
pub const STATEMENTS: [Word; 5] = [
    word(
        "panel",
        &[Takes::Panel],
        &[("diagonal", Takes::Constant), ("distance", Takes::Constant), ("shift", Takes::Constant)],
    ),
    word(
        "reading",
        &[Takes::Name],
        &[
            ("from", Takes::Literal),
            ("presence", Takes::Presence),
            ("pick", Takes::Pick),
            ("unit", Takes::Unit),
            ("range", Takes::Constant),
            ("stale", Takes::Stale),
            ("scale", Takes::Constant),
            ("offset", Takes::Constant),
            ("jump", Takes::Constant),
            ("smooth", Takes::Smooth),
        ],
    ),
    word("value", &[Takes::Name], &[("range", Takes::Constant)]),
    around("screen", &[Takes::Name], &[("when", Takes::Condition), ("for", Takes::Constant)], Holds::Elements),
    word("dim", &[], &[("to", Takes::Constant), ("when", Takes::Condition)]),
];

/// The words that an element begins with, in the order of the reference.
pub const ELEMENTS: [Word; 10] = [
    word(
        "text",
        &[Takes::Text],
        &[("face", Takes::Face), ("size", Takes::Size), ("align", Takes::Horizontal), ("valign", Takes::Vertical)],
    ),
    word("icon", &[Takes::Icon], &[("size", Takes::Size), ("align", Takes::Horizontal), ("valign", Takes::Vertical)]),
    word(
        "bar",
        &[Takes::Number],
        &[
            ("over", Takes::Constant),
            ("target", Takes::Constant),
            ("origin", Takes::Constant),
            ("direction", Takes::Direction),
            ("segments", Takes::Constant),
        ],
    ),
    word("trend", &[Takes::Past], &[("for", Takes::Constant), ("over", Takes::Constant), ("target", Takes::Constant)]),
    word("rule", &[], &[("thickness", Takes::Constant)]),
    around("frame", &[], &[("thickness", Takes::Constant), ("padding", Takes::Constant)], Holds::Elements),
    word("space", &[Takes::Constant], &[]),
    around("columns", &[], &[("gap", Takes::Constant)], Holds::Elements),
    around("stack", &[], &[("gap", Takes::Constant)], Holds::Elements),
    around("overlay", &[], &[], Holds::Elements),
];

/// What every element takes besides.
pub const OF_ELEMENTS: [(&str, Takes); 5] = [
    ("at", Takes::Place),
    ("width", Takes::Constant),
    ("height", Takes::Constant),
    ("when", Takes::Condition),
    ("invert", Takes::Condition),
];

/// The pick whose arguments have the names of the words that are published.
pub const WORDS: &str = "words";
/// How a payload becomes a number.
pub const PICKS: [Word; 5] = [
    word("number", &[], &[("decimal", Takes::Decimal)]),
    word("column", &[Takes::Constant], &[("separator", Takes::Literal), ("decimal", Takes::Decimal)]),
    word("pointer", &[Takes::Literal], &[]),
    word("senml", &[Takes::Literal], &[("field", Takes::Field)]),
    word(WORDS, &[], &[]),
];

const fn word(name: &'static str, plain: &'static [Takes], named: &'static [(&'static str, Takes)]) -> Word {
    Word { name, plain, named, holds: None }
}

const fn around(
    name: &'static str,
    plain: &'static [Takes],
    named: &'static [(&'static str, Takes)],
    holds: Holds,
) -> Word {
    Word { name, plain, named, holds: Some(holds) }
}

/// The row of that name.
pub fn find<'a>(table: &'a [Word], name: &str) -> Option<&'a Word> {
    table.iter().find(|word| word.name == name)
}

/// The names in a table, in its order.
pub fn names(table: &[Word]) -> impl Iterator<Item = &'static str> + Clone {
    table.iter().map(|word| word.name)
}

impl Word {
    /// The names of its arguments.
    pub fn arguments(&self) -> Vec<&'static str> {
        self.named.iter().map(|(name, _)| *name).collect()
    }
}
