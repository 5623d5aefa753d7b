//! Findings to what a person or a program reads.
//!
//! In come a file's name, its text and its findings, out comes a report with the lines in question and carets below them, or
//! the same as JSON. Nothing is printed here.

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet, normalize_untrusted_str};
use serde_json::{Value, json};

use super::{Finding, Severity, Span};

/// The version of the JSON that [`to_json`] gives; it grows when a key changes its meaning or goes away.
pub const JSON_VERSION: u32 = 1;

/// A place in a text as people count it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// The line, from 1.
    pub line: usize,
    /// The column, from 1, in characters (Unicode scalar values); a tab is one.
    pub column: usize,
}

/// The place of the byte `offset` in `text`. Lines end at a line feed. An offset within a character counts as its first byte,
/// one past the text as its end.
pub fn line_and_column(text: &str, offset: usize) -> Place {
    let before = &text[..floor_boundary(text, offset)];
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    Place {
        line: 1 + before.bytes().filter(|&byte| byte == b'\n').count(),
        column: 1 + before[line_start..].chars().count(),
    }
}

/// The findings as a report for people, each with its line, a caret below the place and the help; empty without findings. With
/// `color`, ANSI escape sequences are in it. Control characters of the file never are.
pub fn to_text(file_name: &str, text: &str, findings: &[Finding], color: bool) -> String {
    let renderer = if color { Renderer::styled() } else { Renderer::plain() };
    let mut report = String::new();
    for finding in findings {
        report.push_str(&renderer.render(&[group(file_name, text, finding)]));
        report.push_str("\n\n");
    }
    report.truncate(report.trim_end().len());
    if !report.is_empty() {
        report.push('\n');
    }
    report
}

fn group<'a>(file_name: &'a str, text: &'a str, finding: &'a Finding) -> Group<'a> {
    let level = match finding.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let label = (!finding.label.is_empty()).then_some(finding.label.as_str());
    let mut snippet = Snippet::source(text)
        .path(file_name)
        .annotation(AnnotationKind::Primary.span(within(text, finding.span)).label(label));
    for (span, label) in &finding.related {
        let label = (!label.is_empty()).then_some(label.as_str());
        snippet = snippet.annotation(AnnotationKind::Context.span(within(text, *span)).label(label));
    }
    let group = level.primary_title(&finding.message).id(finding.name).element(snippet);
    match &finding.help {
        Some(help) => group.element(Level::HELP.message(normalize_untrusted_str(help))),
        None => group,
    }
}

/// The findings as JSON:
///
/// ```json
/// {
///   "version": 1,
///   "file": "door.layout",
///   "errors": 1,
///   "warnings": 0,
///   "findings": [
///     {
///       "severity": "error",
///       "name": "unexpected token",
///       "message": "expected a value after `+`, found the end of the line",
///       "line": 3, "column": 17, "end_line": 3, "end_column": 17,
///       "label": "",
///       "help": null,
///       "related": [
///         { "line": 1, "column": 1, "end_line": 1, "end_column": 6, "label": "given here first" }
///       ]
///     }
///   ]
/// }
/// ```
///
/// Lines and columns count from 1, columns in characters; the end is the place behind the last character. `severity` is `error`
/// or `warning`, `name` is the same for all findings of a kind, `help` is a text or null. Findings keep their order.
pub fn to_json(file_name: &str, text: &str, findings: &[Finding]) -> Value {
    let count = |severity| findings.iter().filter(|finding| finding.severity == severity).count();
    let findings_as_json: Vec<Value> = findings
        .iter()
        .map(|finding| {
            let mut value = place_as_json(text, finding.span);
            value["severity"] = match finding.severity {
                Severity::Error => "error".into(),
                Severity::Warning => "warning".into(),
            };
            value["name"] = finding.name.into();
            value["message"] = finding.message.as_str().into();
            value["label"] = finding.label.as_str().into();
            value["help"] = finding.help.as_deref().into();
            value["related"] = finding
                .related
                .iter()
                .map(|(span, label)| {
                    let mut related = place_as_json(text, *span);
                    related["label"] = label.as_str().into();
                    related
                })
                .collect();
            value
        })
        .collect();
    json!({
        "version": JSON_VERSION,
        "file": file_name,
        "errors": count(Severity::Error),
        "warnings": count(Severity::Warning),
        "findings": findings_as_json,
    })
}

fn place_as_json(text: &str, span: Span) -> Value {
    let range = within(text, span);
    let (start, end) = (line_and_column(text, range.start), line_and_column(text, range.end));
    json!({ "line": start.line, "column": start.column, "end_line": end.line, "end_column": end.column })
}

/// The span as a range that `text` can be cut at, whatever the span says.
fn within(text: &str, span: Span) -> std::ops::Range<usize> {
    let start = floor_boundary(text, span.start as usize);
    let mut end = (span.end as usize).clamp(start, text.len());
    while !text.is_char_boundary(end) {
        end += 1;
    }
    start..end
}

/// The nearest character boundary at or before `offset`.
fn floor_boundary(text: &str, offset: usize) -> usize {
    let mut at = offset.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}
