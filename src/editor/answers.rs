//! Answers in the words of the protocol: findings, items and symbols as the editor wants them.
//!
//! What enters are what the other modules found; what leaves are the protocol's types.

use gen_lsp_types as lsp;
use serde_json::{Value, json};

use crate::language::{Finding, Span};

use super::completion::{Item, ItemKind};
use super::position::Lines;
use super::session::severity;
use super::symbols::Symbol;

/// The document that an answer is about.
pub struct Of<'a> {
    /// Its text.
    pub text: &'a str,
    /// Its lines.
    pub lines: &'a Lines,
    /// Its address.
    pub uri: &'a str,
}

/// What an editor can do.
#[derive(Clone, Copy, Debug)]
pub struct Client {
    /// Whether it takes insertions with holes to be filled.
    pub snippets: bool,
}

/// Where an item goes.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// What it takes the place of.
    pub range: lsp::Range,
    /// The sign behind that, which is not written a second time.
    pub next: Option<char>,
}

impl Of<'_> {
    /// A span as a range.
    pub fn range(&self, span: Span) -> lsp::Range {
        self.lines.range(self.text, span)
    }

    /// A span as a place in this document.
    pub fn location(&self, span: Span) -> lsp::Location {
        lsp::Location::new(lsp::Uri(self.uri.to_string()), self.range(span))
    }
}

/// A finding: what is wrong, what stands beside the caret, and the way out; its code is its name.
pub fn diagnostic(of: &Of<'_>, finding: &Finding) -> lsp::Diagnostic {
    let label = Some(&finding.label).filter(|label| !label.is_empty()).cloned();
    let help = finding.help.as_ref().map(|help| format!("help: {help}"));
    let lines: Vec<String> = [Some(finding.message.clone()), label, help].into_iter().flatten().collect();
    let related = finding
        .related
        .iter()
        .map(|(span, label)| lsp::DiagnosticRelatedInformation::new(of.location(*span), label.clone()));
    let related: Vec<_> = related.collect();
    lsp::Diagnostic {
        range: of.range(finding.span),
        severity: Some(severity(finding.severity)),
        code: Some(lsp::Code::String(finding.name.to_string())),
        source: Some(env!("CARGO_PKG_NAME").to_string()),
        message: lsp::Message::String(lines.join("\n")),
        related_information: (!related.is_empty()).then_some(related),
        ..lsp::Diagnostic::default()
    }
}

/// An item in the place of what is typed; `index` is its own in the order of the list.
pub fn completion_item(item: Item, index: usize, place: Place, client: Client) -> lsp::CompletionItem {
    let kind = match item.kind {
        ItemKind::Word => lsp::CompletionItemKind::Keyword,
        ItemKind::Argument => lsp::CompletionItemKind::Property,
        ItemKind::Choice => lsp::CompletionItemKind::EnumMember,
        ItemKind::Name | ItemKind::List => lsp::CompletionItemKind::Variable,
        ItemKind::Function => lsp::CompletionItemKind::Function,
        ItemKind::Unit => lsp::CompletionItemKind::Unit,
        ItemKind::Face => lsp::CompletionItemKind::Value,
    };
    let (text, format) = match (&item.parameters, item.kind) {
        (Some(parameters), _) if client.snippets && place.next != Some('(') => {
            let holes = parameters.iter().enumerate().map(|(index, name)| format!("${{{}:{name}}}", index + 1));
            let holes = holes.collect::<Vec<_>>().join(", ");
            (format!("{}({holes})", item.label), lsp::InsertTextFormat::Snippet)
        }
        (_, ItemKind::Argument) => {
            let name = item.label.trim_end_matches(':');
            let written = if place.next == Some(':') { name.to_string() } else { format!("{name}: ") };
            (written, lsp::InsertTextFormat::PlainText)
        }
        _ => (item.label.clone(), lsp::InsertTextFormat::PlainText),
    };
    lsp::CompletionItem {
        kind: Some(kind),
        detail: item.detail,
        documentation: item.about.map(lsp::Documentation::String),
        sort_text: Some(format!("{index:04}")),
        insert_text_format: Some(format),
        text_edit: Some(lsp::TextEdit::new(place.range, text).into()),
        label: item.label,
        ..lsp::CompletionItem::default()
    }
}

/// A symbol with those in its block.
pub fn symbol(of: &Of<'_>, symbol: &Symbol) -> Value {
    let kind = match symbol.word.as_str() {
        "reading" => lsp::SymbolKind::Variable,
        "value" => lsp::SymbolKind::Function,
        "screen" => lsp::SymbolKind::Class,
        "panel" => lsp::SymbolKind::Constant,
        _ => lsp::SymbolKind::Object,
    };
    json!({
        "name": symbol.name,
        "detail": symbol.word,
        "kind": kind,
        "range": of.range(symbol.span),
        "selectionRange": of.range(symbol.selection),
        "children": symbol.children.iter().map(|inner| self::symbol(of, inner)).collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::analysis::Analysis;
    use crate::editor::position::Encoding;

    #[test]
    fn a_finding_with_all_it_has() {
        let text = "panel 128x32\nreading temp from: \"a\" unit: °C\nscreen s { text \"µ° {temp:.1} {temo:.1}\" size: 9 size: 9 }\n";
        let analysis = Analysis::of(text, &mut |_| Err("none".into()));
        let lines = Lines::new(text, Encoding::Utf16);
        let of = Of { text, lines: &lines, uri: "file:///door.layout" };
        let all: Vec<Value> =
            analysis.understood.findings.iter().map(|finding| json!(diagnostic(&of, finding))).collect();
        let found = |code: &str| all.iter().find(|one| one["code"] == code).unwrap_or_else(|| panic!("{all:#?}"));
        let name = found("unknown name");
        assert_eq!(
            name["range"],
            json!({ "start": { "line": 2, "character": 31 }, "end": { "line": 2, "character": 35 } })
        );
        assert_eq!(name["message"], "nothing here is called `temo`\nunknown\nhelp: did you mean `temp`?");
        assert_eq!((&name["severity"], &name["source"]), (&json!(1), &json!("sidelight")));
        let twice = found("argument given twice");
        let related = &twice["relatedInformation"][0];
        assert_eq!(
            (&related["message"], &related["location"]["uri"]),
            (&json!("first here"), &json!("file:///door.layout"))
        );
    }

    /// What an item writes before a sign.
    fn written(label: &str, kind: ItemKind, snippets: bool, next: Option<char>) -> Value {
        let parameters = (kind == ItemKind::Function).then(|| vec!["a".into(), "b".into()]);
        let item = Item { label: label.into(), kind, detail: None, about: None, parameters };
        let place = Place { range: lsp::Range::default(), next };
        json!(completion_item(item, 3, place, Client { snippets }))["textEdit"]["newText"].take()
    }

    #[test]
    fn items_with_holes_where_the_editor_fills_them() {
        assert_eq!(written("min", ItemKind::Function, true, None), "min(${1:a}, ${2:b})");
        assert_eq!(written("min", ItemKind::Function, false, None), "min");
    }

    #[test]
    fn what_stands_behind_is_not_written_again() {
        assert_eq!(written("min", ItemKind::Function, true, Some('(')), "min");
        assert_eq!(written("pick:", ItemKind::Argument, true, Some('}')), "pick: ");
        assert_eq!(written("pick:", ItemKind::Argument, true, Some(':')), "pick");
    }
}
