//! What a checked layout means: every name resolved, every unit converted, every argument of the right kind.
//!
//! The model knows nothing of pixels beyond what the file says; boxes, faces and fits are the work of
//! [`layout`](crate::layout).

use std::time::Duration;

use crate::draw::{Point, Size};
use crate::formulas::{Bounds, Compiled, Observed, Source, TimeStyle};
use crate::language::clock::Clock;
use crate::panel::Glass;
use crate::readings::ReadingSpec;
use crate::readings::history::Span as Window;
use crate::units::Unit;

use super::allow::Allowances;
use super::syntax::{Format, Span, Spanned};

/// A checked layout.
#[derive(Clone, Debug)]
pub struct Layout {
    /// The panel it is made for.
    pub panel: Size,
    /// Its glass, where the file says how large it is.
    pub glass: Option<Glass>,
    /// How far the picture is shifted to each side as time goes by, in pixels; nothing stands in that margin.
    pub shift: u32,
    /// What is heard from the broker, in the order of the file.
    pub readings: Vec<Reading>,
    /// Histories to be kept: whose numbers, and how far back.
    pub histories: Vec<(Source, Window)>,
    /// What is observed of the readings besides their newest numbers.
    pub observed: Vec<Observed>,
    /// What is computed, in the order of the file; each looks only at readings and at values before it.
    pub values: Vec<Value>,
    /// When the panel is less bright.
    pub dims: Vec<Dim>,
    /// The screens, in the order of the file.
    pub screens: Vec<Screen>,
    /// The warnings that the file allows.
    pub allowances: Allowances,
}

/// While a condition holds, the panel is less bright.
#[derive(Clone, Debug)]
pub struct Dim {
    /// Per cent of the full brightness.
    pub to: u8,
    /// The condition.
    pub when: Compiled,
}

impl Layout {
    /// Every text and icon of every screen, in the order of the file.
    pub fn texts(&self) -> Vec<&Text> {
        fn collect<'a>(elements: &'a [Element], texts: &mut Vec<&'a Text>) {
            for element in elements {
                match &element.kind {
                    ElementKind::Text(text) => texts.push(text),
                    kind => collect(kind.children(), texts),
                }
            }
        }
        let mut texts = Vec::new();
        self.screens.iter().for_each(|screen| collect(&screen.children, &mut texts));
        texts
    }
}

impl ElementKind {
    /// The children of a container; nothing for any other element.
    pub fn children(&self) -> &[Element] {
        match self {
            ElementKind::Frame { children, .. }
            | ElementKind::Columns { children, .. }
            | ElementKind::Stack { children, .. }
            | ElementKind::Overlay { children } => children,
            ElementKind::Text(_)
            | ElementKind::Bar(_)
            | ElementKind::Trend(_)
            | ElementKind::Rule { .. }
            | ElementKind::Space(_) => &[],
        }
    }
}

/// A `reading` statement.
#[derive(Clone, Debug)]
pub struct Reading {
    /// Topic, pick, range, stale time and unit.
    pub spec: ReadingSpec,
    /// Bounds of the numbers that it can have: its range, or what its unit or its words imply.
    pub bounds: Bounds,
    /// The name's place in the file.
    pub span: Span,
}

/// A `value` statement.
#[derive(Clone, Debug)]
pub struct Value {
    /// The name in the file.
    pub name: String,
    /// How it is computed.
    pub formula: Compiled,
    /// The unit of the result, where it has one.
    pub unit: Option<Unit>,
    /// Bounds of the result. Where `range` is given, results outside of it are faulty.
    pub bounds: Bounds,
    /// The range that the file gives.
    pub range: Option<Bounds>,
    /// The name's place in the file.
    pub span: Span,
}

/// A `screen` statement.
#[derive(Clone, Debug)]
pub struct Screen {
    /// The name in the file.
    pub name: String,
    /// While this holds, the screen takes over; without it the screen is shown in turn.
    pub when: Option<Compiled>,
    /// How long the screen is shown before the next one's turn.
    pub turn: Duration,
    /// What it holds, arranged as a stack.
    pub children: Vec<Element>,
    /// The statement's place in the file.
    pub span: Span,
}

/// Something that is drawn, or that arranges what is drawn.
#[derive(Clone, Debug)]
pub struct Element {
    /// Counts through the layout: no other element has it, not even a copy from the same place in the file.
    pub id: usize,
    /// What it is.
    pub kind: ElementKind,
    /// Where it goes and how large it is.
    pub place: Place,
    /// It is drawn only while this holds.
    pub when: Option<Compiled>,
    /// Lit and dark are exchanged in its box while this holds.
    pub invert: Option<Compiled>,
    /// The statement's place in the file.
    pub span: Span,
}

/// Where an element goes and how large it is; what is not given follows from the arrangement around it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Place {
    /// From the top left corner of the surrounding box; takes the element out of the arrangement.
    pub at: Option<Point>,
    /// How wide.
    pub width: Option<Length>,
    /// How tall.
    pub height: Option<Length>,
}

/// A length in one direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Length {
    /// Whole pixels.
    Pixels(u32),
    /// A share of the surrounding box, 1 being all of it.
    Share(f64),
}

/// The kinds of elements.
#[derive(Clone, Debug)]
pub enum ElementKind {
    /// Characters and fields.
    Text(Text),
    /// A number as a length.
    Bar(Bar),
    /// What a number was, as a line.
    Trend(Trend),
    /// A straight line through its box: horizontal in a stack, vertical in columns.
    Rule {
        /// Pixels across.
        thickness: u32,
    },
    /// A box drawn around its children.
    Frame {
        /// Pixels of the line.
        thickness: u32,
        /// Dark pixels between line and children.
        padding: u32,
        /// What stands inside, arranged as a stack.
        children: Vec<Element>,
    },
    /// Nothing, of the given length in the direction of the arrangement; without one, a share of what is left over.
    Space(Option<u32>),
    /// Children side by side.
    Columns {
        /// Dark pixels between neighbours.
        gap: u32,
        /// From left to right.
        children: Vec<Element>,
    },
    /// Children one below the other.
    Stack {
        /// Dark pixels between neighbours.
        gap: u32,
        /// From top to bottom.
        children: Vec<Element>,
    },
    /// Children in one and the same box.
    Overlay {
        /// In the order in which they are drawn.
        children: Vec<Element>,
    },
}

/// A `text` element.
#[derive(Clone, Debug)]
pub struct Text {
    /// Literals and fields, in order.
    pub parts: Vec<TextPart>,
    /// Which face; any of the built-in ones where the file does not say.
    pub face: Option<Face>,
    /// How tall its digits are; where the file does not say, the face's only size, or else what fits.
    pub size: Option<TextSize>,
    /// Where it stands from left to right.
    pub align: Align,
    /// Where it stands from top to bottom.
    pub valign: Align,
    /// The quoted text's place in the file.
    pub span: Span,
}

/// Which face a text is set in.
#[derive(Clone, Debug, PartialEq)]
pub enum Face {
    /// A built-in family, by name.
    BuiltIn(Spanned<String>),
    /// An outline file, by its path relative to the layout file.
    Outline(Spanned<String>),
}

/// How tall a text's digits are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TextSize {
    /// The largest size at which everything that it can show fits its box.
    Fit,
    /// Digits of this many pixels.
    Pixels(u32, Span),
}

/// One of three places along an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Left, or top.
    Start,
    /// In the middle.
    Middle,
    /// Right, or bottom.
    End,
}

/// A part of a text.
#[derive(Clone, Debug)]
pub enum TextPart {
    /// Characters to be shown as they are.
    Literal(String),
    /// A number to be formatted.
    Number {
        /// How it is computed, already in the unit shown.
        formula: Compiled,
        /// How it is written.
        format: Format,
        /// Bounds of the number.
        bounds: Bounds,
        /// The field's place in the file.
        span: Span,
    },
    /// The time of day or the date.
    Clock(Clock),
    /// A time in seconds, to be written in its own way.
    Time(Compiled, TimeStyle),
    /// One of several texts.
    Words {
        /// Which text.
        choice: Choice,
        /// How it is written.
        format: Format,
        /// The field's place in the file.
        span: Span,
    },
}

/// A text that depends on conditions.
#[derive(Clone, Debug)]
pub enum Choice {
    /// This text.
    Words(String),
    /// The first where the condition holds, else the second.
    If(Compiled, Box<Choice>, Box<Choice>),
}

/// A `bar` element.
#[derive(Clone, Debug)]
pub struct Bar {
    /// The number shown, in the scale's unit.
    pub formula: Compiled,
    /// From the empty end to the full end.
    pub scale: Bounds,
    /// Where the filled part begins; the empty end where the file does not say.
    pub origin: f64,
    /// The part of the scale where the number ought to be.
    pub target: Option<Bounds>,
    /// Which way it grows.
    pub direction: Direction,
    /// Into how many blocks it is cut, if at all.
    pub segments: Option<u32>,
}

/// A `trend` element.
#[derive(Clone, Debug)]
pub struct Trend {
    /// The reading or the value with its past.
    pub source: Source,
    /// Its history.
    pub history: usize,
    /// From the lowest to the highest row.
    pub scale: Bounds,
    /// Where the number ought to be.
    pub target: Option<Bounds>,
}

/// Which way a bar grows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// From left to right.
    Right,
    /// From right to left.
    Left,
    /// From bottom to top.
    Up,
    /// From top to bottom.
    Down,
}
