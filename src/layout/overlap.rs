//! Overlaps: elements that would paint over each other.
//!
//! What enters are the items of a screen with the pixels that each may touch; what leaves is a finding for each element that could
//! be misread. Within one `overlay` elements may meet on purpose, but two texts that are shown at the same time may not.

use crate::draw::Rectangle;
use crate::language::Finding;

use super::program::{Drawing, Item};

/// An item with the overlays around it.
pub struct Drawn {
    /// The item.
    pub item: Item,
    /// The overlays that hold it.
    pub overlays: Vec<usize>,
}

/// Reports each element that meets another one below it where it must not; the first of those is named.
pub fn overlaps(drawn: &[Drawn], findings: &mut Vec<Finding>) {
    let mut reported: Option<usize> = None;
    for (index, upper) in drawn.iter().enumerate() {
        let meets = |lower: &&Drawn| !may_meet(lower, upper) && meet(&lower.item.ink, &upper.item.ink);
        // The items of one element, such as the sides of a frame, follow each other.
        if let Some(lower) = drawn[..index].iter().find(meets).filter(|_| reported != Some(upper.item.element)) {
            reported = Some(upper.item.element);
            findings.push(
                Finding::error("overlap", upper.item.span, "this element would paint over another one")
                    .label("on top")
                    .related(lower.item.span, "below")
                    .help("move one of them; to show one or the other, put both into an `overlay`, each with its own `when:`"),
            );
        }
    }
}

fn meet(a: &Rectangle, b: &Rectangle) -> bool {
    !a.intersection(b).is_zero_sized()
}

/// Whether two items may share pixels.
fn may_meet(lower: &Drawn, upper: &Drawn) -> bool {
    let inverts = |drawn: &Drawn| matches!(drawn.item.drawing, Drawing::Invert);
    if inverts(lower) || inverts(upper) || lower.item.element == upper.item.element {
        return true;
    }
    let share_overlay = lower.overlays.iter().any(|overlay| upper.overlays.contains(overlay));
    let is_text = |drawn: &Drawn| matches!(drawn.item.drawing, Drawing::Text(_));
    // Conditions that never hold together cannot be told from others here; that a text has one shows the intention.
    let at_once = lower.item.when.is_empty() || upper.item.when.is_empty();
    share_overlay && !(is_text(lower) && is_text(upper) && at_once)
}
