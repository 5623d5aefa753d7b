//! The worst case of a text: how wide and tall it can get, and the largest strike at which all of it fits.
//!
//! What enters are a text's parts with the bounds of their numbers; what leaves is the extent that holds every string the
//! text can show, in every state. Never a guess: where a number has no bounds, the text cannot be placed, and a finding says so.

use std::sync::Arc;

use crate::draw::{advance, covered_columns, ink_rows};
#[cfg(feature = "editor")]
use crate::faces::icons;
use crate::faces::{Catalogue, Strike};
use crate::formulas::TimeStyle;
use crate::language::model::TextPart;
use crate::language::{Finding, Span};

use super::format;
use super::program::Part;

/// The most characters that a number in a text may take, a bound against formats of thousands of digits.
const WIDEST_NUMBER: f64 = 1e15;

/// What a part of a text can show: strings of which at least one is as wide, and one as tall, as any that can occur.
#[derive(Debug)]
pub struct Extremes {
    /// For each part its strings.
    parts: Vec<Vec<String>>,
}

/// How much room a text needs at most in one strike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Extent {
    /// Columns of ink.
    pub width: u32,
    /// Rows from the highest ink to the baseline.
    pub rise: u32,
    /// Rows from the baseline to the lowest ink.
    pub drop: u32,
}

impl Extent {
    /// Rows in all.
    pub fn height(self) -> u32 {
        self.rise + self.drop
    }
}

impl Extremes {
    /// The extreme strings of a text, or a finding for each number without bounds.
    ///
    /// All digits share one advance, so a number's width depends on its sign and its count of digits alone, and these are
    /// greatest at one of its two ends.
    pub fn of(parts: &[TextPart]) -> Result<Self, Vec<Finding>> {
        let mut findings = Vec::new();
        let parts = parts.iter().flat_map(|part| extremes_of(part, &mut findings)).collect();
        if findings.is_empty() { Ok(Self { parts }) } else { Err(findings) }
    }

    /// The most room that any string needs in `strike`.
    pub fn extent(&self, strike: &Strike) -> Extent {
        // Neighbouring parts do not influence each other, so the widest text is the widest choice of each part; only the
        // first one's left bearing and the last one's right bearing do not count.
        let last = self.parts.len().saturating_sub(1);
        let widest = |index: usize, strings: &Vec<String>| {
            let width = |string: &String| {
                let (left, right) = covered_columns(strike, string);
                let start = if index == 0 { left } else { 0 };
                let end = if index == last { right } else { advance(strike, string) };
                end - start
            };
            strings.iter().map(width).max().unwrap_or(0)
        };
        let width: i32 = self.parts.iter().enumerate().map(|(index, strings)| widest(index, strings)).sum();
        let rows = self.parts.iter().flatten().map(|string| ink_rows(strike, string));
        let (rise, drop) = rows.fold((0, 0), |most, rows| (most.0.max(rows.0), most.1.max(rows.1)));
        Extent { width: width.max(0) as u32, rise: rise as u32, drop: drop as u32 }
    }

    /// The widest string as text, for messages.
    pub fn widest(&self, strike: &Strike) -> String {
        let widest = |strings: &Vec<String>| {
            strings.iter().max_by_key(|string| advance(strike, string)).cloned().unwrap_or_default()
        };
        self.parts.iter().map(widest).collect()
    }

    /// The first character that the strike lacks.
    pub fn missing(&self, strike: &Strike) -> Option<char> {
        self.parts.iter().flatten().flat_map(|string| string.chars()).find(|c| strike.glyph(*c).is_none())
    }

    /// The largest strike among `families` in which everything fits `width` by `height`; a family named earlier wins at equal
    /// size. Strikes that lack a character are passed over.
    pub fn largest(&self, catalogue: &Catalogue, families: &[&str], width: u32, height: u32) -> Option<Arc<Strike>> {
        let mut sizes: Vec<(u32, &str)> = families
            .iter()
            .flat_map(|family| catalogue.sizes(family).unwrap_or_default().iter().map(|size| (*size, *family)))
            .filter(|(size, _)| *size <= height)
            .collect();
        sizes.sort_by_key(|(size, _)| std::cmp::Reverse(*size));
        sizes.into_iter().find_map(|(size, family)| {
            let strike = catalogue.strike(family, size).ok()?;
            let extent = self.extent(&strike);
            let fits = extent.width <= width && extent.height() <= height && self.missing(&strike).is_none();
            fits.then_some(strike)
        })
    }
}

/// The extreme strings of one part; of a time, those of each of its own parts.
fn extremes_of(part: &TextPart, findings: &mut Vec<Finding>) -> Vec<Vec<String>> {
    let mut strings = Vec::new();
    match part {
        TextPart::Literal(text) => strings.push(text.clone()),
        TextPart::Clock(clock) => return clock.pattern.extremes().collect(),
        TextPart::Time(_, style) => strings.extend(format::longest_times(*style)),
        TextPart::Number { format, bounds, span, .. } => {
            if !bounds.is_finite() || bounds.low < -WIDEST_NUMBER || bounds.high > WIDEST_NUMBER {
                findings.push(unbounded(*span));
                return Vec::new();
            }
            strings.push(placeholder_of(part));
            for end in [bounds.low, bounds.high] {
                let mut string = String::new();
                format::write_number(&mut string, end, format);
                strings.push(string);
            }
        }
        TextPart::Words { choice, format, .. } => {
            strings.push(placeholder_of(part));
            choice.texts(&mut |words| {
                let mut string = String::new();
                format::write_words(&mut string, words, format);
                strings.push(string);
            });
        }
    }
    vec![strings]
}

fn unbounded(span: Span) -> Finding {
    Finding::error("no range", span, "nothing says how large this number can get, so it cannot be fitted")
        .label("has no range")
        .help("give the reading, or the value, a `range:`, for example `range: 0..500`")
}

/// The shape of a field for when nothing is known, with `0` for each digit.
pub fn placeholder_of(part: &TextPart) -> String {
    match part {
        TextPart::Literal(_) | TextPart::Clock(_) => String::new(),
        TextPart::Time(_, TimeStyle::Span) => "00".to_string(),
        TextPart::Time(_, TimeStyle::OfDay) => "00:00".to_string(),
        TextPart::Number { format, bounds, .. } => format::placeholder(bounds.low.abs().max(bounds.high.abs()), format),
        TextPart::Words { choice, format, .. } => {
            let mut longest = 0;
            choice.texts(&mut |words| {
                let mut string = String::new();
                format::write_words(&mut string, words, format);
                longest = longest.max(string.chars().count());
            });
            "0".repeat(longest.min(2))
        }
    }
}

/// A text at its widest.
#[cfg(feature = "editor")]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Widest {
    /// What it shows then; icons by their names.
    pub text: String,
    /// Columns of ink.
    pub columns: u32,
    /// Rows of ink that all it can show has together.
    pub rows: u32,
}

/// How large a text can get in a strike; nothing where a number has no bounds.
#[cfg(feature = "editor")]
pub fn widest(parts: &[TextPart], strike: &Strike) -> Option<Widest> {
    let extremes = Extremes::of(parts).ok()?;
    let extent = extremes.extent(strike);
    let text = icons::spelled(&extremes.widest(strike));
    Some(Widest { text, columns: extent.width, rows: extent.height() })
}

/// A text's parts as the renderer wants them.
pub fn compiled_parts(parts: &[TextPart]) -> Vec<Part> {
    parts
        .iter()
        .map(|part| match part {
            TextPart::Literal(text) => Part::Literal(text.clone()),
            TextPart::Clock(clock) => Part::Clock(clock.clone()),
            TextPart::Time(formula, style) => {
                Part::Time { formula: formula.clone(), style: *style, placeholder: placeholder_of(part) }
            }
            TextPart::Number { formula, format, .. } => {
                Part::Number { formula: formula.clone(), format: format.clone(), placeholder: placeholder_of(part) }
            }
            TextPart::Words { choice, format, .. } => {
                Part::Words { choice: choice.clone(), format: format.clone(), placeholder: placeholder_of(part) }
            }
        })
        .collect()
}
