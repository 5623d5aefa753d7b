//! Reading distance: from how far each text of a layout can be read.
//!
//! What enters are a program, or a text with its strike, and the panel's glass; what leaves are heights and distances, or a finding
//! where a text is too small for the distance that the layout promises.

use crate::faces::Strike;
use crate::language::model::{Text, TextPart};
use crate::language::{Finding, Span};
use crate::panel::{Glass, LEAST_ANGLE, PREFERRED_ANGLE};

use super::program::{Drawing, Program};

/// From how far a text can be read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readable {
    /// The text's place in the file.
    pub span: Span,
    /// The height of its digits, in pixels.
    pub rows: u32,
    /// The height of its digits, in millimetres.
    pub height: f64,
    /// Up to here its digits are read with ease, in metres.
    pub with_ease: f64,
    /// Up to here its digits are to be expected to be read, in metres.
    pub at_most: f64,
}

/// Every text of a program, in the order of the file; empty where the layout does not say how large the panel is.
pub fn readable(program: &Program) -> Vec<Readable> {
    let Some(glass) = program.glass else { return Vec::new() };
    let items = program.screens.iter().flat_map(|screen| &screen.items);
    let texts = items.filter_map(|item| match &item.drawing {
        Drawing::Text(run) => {
            let rows = run.strike.figure_height();
            Some(Readable {
                span: item.span,
                rows,
                height: glass.height(rows),
                with_ease: glass.distance(rows, PREFERRED_ANGLE),
                at_most: glass.distance(rows, LEAST_ANGLE),
            })
        }
        _ => None,
    });
    let mut texts: Vec<Readable> = texts.collect();
    texts.sort_by_key(|text| text.span);
    // The copies of an `each` are one text of the file.
    texts.dedup();
    texts
}

/// A text that shows something that changes, too small to be read from where the layout says that people stand. A caption that never
/// changes is known after the first look, and not judged.
pub(super) fn too_small(glass: &Glass, text: &Text, strike: &Strike) -> Option<Finding> {
    let seen_from = glass.seen_from?;
    let rows = strike.figure_height();
    let at_most = glass.distance(rows, LEAST_ANGLE);
    let changes = text.parts.iter().any(|part| !matches!(part, TextPart::Literal(_)));
    (changes && at_most < seen_from).then(|| {
        Finding::error(
            "too small to read",
            text.span,
            format!("digits of {rows} px ({:.1} mm) are read from {at_most:.2} m at most", glass.height(rows)),
        )
        .label(format!("to be read from {seen_from} m"))
        .help(format!(
            "from there {} px are needed; give it a larger `size:`, or take a larger panel or a shorter `distance:`",
            glass.rows(seen_from, LEAST_ANGLE)
        ))
    })
}
