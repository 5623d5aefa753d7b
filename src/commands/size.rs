//! A panel's size as people write it: `128x32`.
//!
//! What enters is text; what leaves is one of the sizes that a layout can be made for.

use crate::draw::Size;
use crate::language::words::PANELS;

/// The size that somebody wrote.
pub(super) fn parse(text: &str) -> Result<Size, String> {
    let written = PANELS.map(|(width, height)| format!("{width}x{height}"));
    let found = written.iter().position(|written| written == text);
    let size = |place: usize| Size::new(PANELS[place].0, PANELS[place].1);
    found.map(size).ok_or_else(|| format!("write {}", written.join(" or ")))
}
