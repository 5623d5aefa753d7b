//! An open document: its text as the editor has it.
//!
//! What enters are whole texts and changes; what leaves is the text after them. Nothing is read from disk.

use gen_lsp_types::TextDocumentContentChangeEvent as Change;

use super::position::{Encoding, Lines};

/// A text in an editor, with its lines.
#[derive(Clone, Debug)]
pub struct Document {
    /// The text as it stands in the editor.
    pub text: String,
    /// Where its lines begin.
    pub lines: Lines,
    /// The editor's number for this state of the text.
    pub version: i32,
    encoding: Encoding,
}

impl Document {
    /// A document that was opened.
    pub fn new(text: String, version: i32, encoding: Encoding) -> Self {
        let lines = Lines::new(&text, encoding);
        Self { text, lines, version, encoding }
    }

    /// The document after changes, each of which is about the text that the one before it left.
    pub fn change(&mut self, changes: Vec<Change>, version: i32) {
        for change in changes {
            match change {
                Change::TextDocumentContentChangePartial(part) => {
                    let span = self.lines.span(&self.text, part.range);
                    self.text.replace_range(span.range(), &part.text);
                    self.lines.replaced(&self.text, span, part.text.len());
                }
                Change::TextDocumentContentChangeWholeDocument(whole) => {
                    self.text = whole.text;
                    self.lines = Lines::new(&self.text, self.encoding);
                }
            }
        }
        self.version = version;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::json;

    use super::*;

    fn changed(text: &str, changes: serde_json::Value) -> String {
        let mut document = Document::new(text.to_string(), 1, Encoding::Utf16);
        document.change(serde_json::from_value(changes).unwrap(), 2);
        assert_eq!(document.version, 2);
        document.text
    }

    #[test]
    fn changes_follow_each_other() {
        let change = |line: u32, from: u32, to: u32, text: &str| json!({"range": {"start": {"line": line, "character": from}, "end": {"line": line, "character": to}}, "text": text});
        // An emoji is two units wide; the second change counts in the text after the first.
        let text = "text \"🧀 12°\"\n";
        assert_eq!(changed(text, json!([change(0, 6, 8, "µ"), change(0, 8, 10, "9")])), "text \"µ 9°\"\n");
        assert_eq!(changed(text, json!([change(1, 0, 0, "space\n")])), "text \"🧀 12°\"\nspace\n");
        assert_eq!(changed(text, json!([{"text": "panel 128x32"}, change(0, 10, 12, "64")])), "panel 128x64");
    }

    #[test]
    fn a_range_that_does_not_exist_changes_what_is_nearest() {
        let change =
            json!([{"range": {"start": {"line": 7, "character": 3}, "end": {"line": 2, "character": 0}}, "text": "!"}]);
        assert_eq!(changed("a\nb", change), "a\nb!");
    }

    /// The byte at a place, told by walking there.
    fn walked(text: &str, line: u32, column: u32) -> usize {
        let (mut at, mut here) = (0, (0, 0));
        let mut characters = text.chars().peekable();
        while let Some(character) = characters.next() {
            let width = character.len_utf16() as u32;
            let ends = character == '\n' || (character == '\r' && characters.peek() != Some(&'\n'));
            if here.0 == line && (here.1 + width > column || matches!(character, '\r' | '\n')) {
                return at;
            }
            here = if ends { (here.0 + 1, 0) } else { (here.0, here.1 + width) };
            at += character.len_utf8();
        }
        at
    }

    proptest! {
        #[test]
        fn the_text_is_the_one_that_the_editor_has(
            text in "[a°🧀\r\n]{0,20}",
            changes in proptest::collection::vec(((0u32..5, 0u32..9), (0u32..5, 0u32..9), "[b°🧀\r\n]{0,4}"), 0..6),
        ) {
            let mut wanted = text.clone();
            let mut told = Vec::new();
            for (one, other, new) in changes {
                let (from, to) = (one.min(other), one.max(other));
                let (start, end) = (walked(&wanted, from.0, from.1), walked(&wanted, to.0, to.1));
                wanted.replace_range(start..end.max(start), &new);
                let place = |(line, character): (u32, u32)| json!({ "line": line, "character": character });
                told.push(json!({ "range": { "start": place(from), "end": place(to) }, "text": new }));
            }
            prop_assert_eq!(changed(&text, told.into()), wanted);
        }
    }
}
