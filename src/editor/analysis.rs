//! What is known of a text after it was read once: the tree, what it declares, its findings and its program.
//!
//! What enters are a text and a way to outline faces; what leaves is all that the answers to an editor are made of.

use crate::language::{self, Declared, Span};
use crate::service::{Understood, understand};

/// A text as far as it could be understood.
pub struct Analysis {
    /// The text itself.
    pub text: String,
    /// Tree, model, findings and program.
    pub understood: Understood,
    /// What it declares, also where it has mistakes.
    pub declared: Vec<Declared>,
}

impl Analysis {
    /// Reads a text; `font` gives the bytes of an outline face by its path as written.
    pub fn of(text: &str, font: &mut dyn FnMut(&str) -> Result<Vec<u8>, String>) -> Self {
        let understood = understand(text, font);
        let declared = language::declared(&understood.document);
        Self { text: text.to_string(), understood, declared }
    }

    /// Whether an error keeps anybody from saying what every part of it means.
    pub fn is_damaged(&self) -> bool {
        language::has_errors(&self.understood.findings)
    }

    /// What stands at a place.
    pub fn slice(&self, span: Span) -> &str {
        self.text.get(span.range()).unwrap_or_default()
    }

    /// The reading or value of that name.
    pub fn declared_as(&self, name: &str) -> Option<&Declared> {
        self.declared.iter().find(|declared| declared.name == name)
    }
}

/// A text and the place of the `|` in it, for tests.
#[cfg(test)]
pub fn with_cursor(text: &str) -> (Analysis, usize) {
    let at = text.find('|').expect("a cursor");
    let text = text.replacen('|', "", 1);
    (Analysis::of(&text, &mut |_| Err("no fonts here".into())), at)
}
