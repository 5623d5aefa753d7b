//! Places in a text: bytes here, lines and columns in the units of the Language Server Protocol there.
//!
//! What enters are byte offsets or positions; what leaves is the other of the two. A position that does not exist counts as the
//! nearest one before it, as the protocol asks; nothing is ever cut within a character.

use std::ops::RangeInclusive;

use gen_lsp_types::{Position, PositionEncodingKind, Range};

use crate::language::Span;

/// What a column counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// Bytes of UTF-8.
    Utf8,
    /// 16-bit units of UTF-16: an emoji is two.
    Utf16,
    /// Unicode scalar values.
    Utf32,
}

impl Encoding {
    /// The first one that a client offers and that is known here; UTF-16, which every client knows, where it offers none.
    pub fn agreed(offered: &[PositionEncodingKind]) -> Self {
        let known = offered.iter().find_map(|kind| match kind {
            PositionEncodingKind::UTF8 => Some(Self::Utf8),
            PositionEncodingKind::UTF16 => Some(Self::Utf16),
            PositionEncodingKind::UTF32 => Some(Self::Utf32),
            _ => None,
        });
        known.unwrap_or(Self::Utf16)
    }

    /// Its name in the protocol.
    pub fn kind(self) -> PositionEncodingKind {
        match self {
            Self::Utf8 => PositionEncodingKind::UTF8,
            Self::Utf16 => PositionEncodingKind::UTF16,
            Self::Utf32 => PositionEncodingKind::UTF32,
        }
    }

    fn width(self, character: char) -> usize {
        match self {
            Self::Utf8 => character.len_utf8(),
            Self::Utf16 => character.len_utf16(),
            Self::Utf32 => 1,
        }
    }
}

/// Where the lines of a text begin.
#[derive(Clone, Debug)]
pub struct Lines {
    /// The first byte of each line; the first line begins at 0.
    starts: Vec<usize>,
    encoding: Encoding,
}

impl Lines {
    /// The lines of `text`: they end at a line feed, a carriage return, or both together.
    pub fn new(text: &str, encoding: Encoding) -> Self {
        Self { starts: std::iter::once(0).chain(starts_in(text, 1..=text.len())).collect(), encoding }
    }

    /// The lines after `length` bytes came into the place of `span`; `text` is what they gave.
    pub fn replaced(&mut self, text: &str, span: Span, length: usize) {
        let (start, end) = (span.start as usize, span.end as usize);
        // Whether a line begins at a byte is told from that byte and the one before it.
        let first = self.starts.partition_point(|at| *at < start.max(1));
        let behind = self.starts.partition_point(|at| *at <= end.max(start)).max(first);
        self.starts[behind..].iter_mut().for_each(|at| *at = *at + length + start - end);
        self.starts.splice(first..behind, starts_in(text, start.max(1)..=start + length));
    }

    /// The position of a byte; one within a character counts as its first, one past the text as its end.
    pub fn position(&self, text: &str, offset: usize) -> Position {
        let offset = text.floor_char_boundary(offset);
        let line = self.starts.partition_point(|start| *start <= offset) - 1;
        let column: usize = text[self.starts[line]..offset].chars().map(|c| self.encoding.width(c)).sum();
        Position { line: line as u32, character: column as u32 }
    }

    /// The byte at a position. A column beyond the line's end counts as the end, a line beyond the text's as the text's end.
    pub fn offset(&self, text: &str, position: Position) -> usize {
        let Some(start) = self.starts.get(position.line as usize) else { return text.len() };
        let end = self.starts.get(position.line as usize + 1).copied().unwrap_or(text.len());
        let line = text[*start..end].trim_end_matches(['\n', '\r']);
        let mut column = 0;
        for (at, character) in line.char_indices() {
            column += self.encoding.width(character);
            if column > position.character as usize {
                return start + at;
            }
        }
        start + line.len()
    }

    /// A span as a range.
    pub fn range(&self, text: &str, span: Span) -> Range {
        let start = self.position(text, span.start as usize);
        Range { start, end: self.position(text, span.end.max(span.start) as usize) }
    }

    /// A range as a span; an end before its start counts as the start.
    pub fn span(&self, text: &str, range: Range) -> Span {
        let start = self.offset(text, range.start);
        Span::new(start, self.offset(text, range.end).max(start))
    }
}

/// The bytes of `range`, none of which is the first of the text, at which a line begins.
fn starts_in(text: &str, range: RangeInclusive<usize>) -> impl Iterator<Item = usize> {
    let bytes = text.as_bytes();
    range.filter(|at| match bytes.get(at - 1) {
        Some(b'\n') => true,
        Some(b'\r') => bytes.get(*at) != Some(&b'\n'),
        _ => false,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn at(line: u32, character: u32) -> Position {
        Position { line, character }
    }

    #[test]
    fn columns_in_each_encoding() {
        let text = "panel 128x32\r\ntext \"5 °C µ 🧀{t}\" # x\rlast";
        for (part, utf8, utf16, utf32) in [
            ("panel", (0, 0), (0, 0), (0, 0)),
            ("°C", (1, 8), (1, 8), (1, 8)),
            ("C µ", (1, 10), (1, 9), (1, 9)),
            ("🧀", (1, 15), (1, 13), (1, 13)),
            ("{t}", (1, 19), (1, 15), (1, 14)),
            ("last", (2, 0), (2, 0), (2, 0)),
        ] {
            let offset = text.find(part).unwrap();
            for (encoding, (line, column)) in
                [(Encoding::Utf8, utf8), (Encoding::Utf16, utf16), (Encoding::Utf32, utf32)]
            {
                let lines = Lines::new(text, encoding);
                assert_eq!(lines.position(text, offset), at(line, column), "{part} in {encoding:?}");
                assert_eq!(lines.offset(text, at(line, column)), offset, "{part} in {encoding:?}");
            }
        }
    }

    #[test]
    fn what_does_not_exist_is_the_nearest_before() {
        let text = "a🧀b\r\n°\n";
        let lines = Lines::new(text, Encoding::Utf16);
        // Between the halves of a surrogate pair, beyond a line, beyond the text.
        assert_eq!(lines.offset(text, at(0, 2)), 1);
        assert_eq!(lines.offset(text, at(0, 99)), 6);
        assert_eq!(lines.offset(text, at(2, 5)), text.len());
        assert_eq!(lines.offset(text, at(9, 0)), text.len());
        assert_eq!(lines.position(text, 3), at(0, 1));
        assert_eq!(lines.position(text, 999), at(2, 0));
        assert_eq!(lines.position("", 0), at(0, 0));
    }

    #[test]
    fn the_first_known_encoding_is_agreed_on() {
        use PositionEncodingKind as K;
        assert_eq!(Encoding::agreed(&[]), Encoding::Utf16);
        assert_eq!(Encoding::agreed(&[K::Custom("utf-7".into()), K::UTF8, K::UTF16]), Encoding::Utf8);
        assert_eq!(Encoding::agreed(&[K::UTF16, K::UTF8]).kind(), K::UTF16);
    }

    proptest! {
        #[test]
        fn every_character_is_found_again(text in "[a-z°µ🧀ß\u{1f1f3}\r\n\"{}]{0,60}") {
            for encoding in [Encoding::Utf8, Encoding::Utf16, Encoding::Utf32] {
                let lines = Lines::new(&text, encoding);
                for (offset, _) in text.char_indices() {
                    // Between a carriage return and its line feed there is no position.
                    let within_break = text[..offset].ends_with('\r') && text[offset..].starts_with('\n');
                    let found = lines.offset(&text, lines.position(&text, offset));
                    prop_assert_eq!(found, offset - usize::from(within_break));
                }
            }
        }

        #[test]
        fn lines_after_a_change_are_those_of_the_new_text(
            text in "[a°\r\n]{0,30}", new in "[a°\r\n]{0,6}", from in 0usize..40, to in 0usize..40,
        ) {
            let (from, to) = (text.floor_char_boundary(from), text.floor_char_boundary(to));
            let span = Span::new(from.min(to), from.max(to));
            let mut lines = Lines::new(&text, Encoding::Utf16);
            let mut changed = text.clone();
            changed.replace_range(span.range(), &new);
            lines.replaced(&changed, span, new.len());
            prop_assert_eq!(lines.starts, Lines::new(&changed, Encoding::Utf16).starts, "{:?} {:?}", text, span);
        }

        #[test]
        fn any_position_is_a_character_of_its_line(
            text in "[a°🧀\r\n]{0,40}", line in 0u32..12, character in 0u32..60,
        ) {
            for encoding in [Encoding::Utf8, Encoding::Utf16, Encoding::Utf32] {
                let lines = Lines::new(&text, encoding);
                let offset = lines.offset(&text, at(line, character));
                prop_assert!(text.is_char_boundary(offset));
                prop_assert!(lines.position(&text, offset) <= at(line, character));
            }
        }
    }
}
