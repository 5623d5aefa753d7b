//! Findings to what a person or a program reads.
//!
//! In come a file's name, its text and its findings, out comes a report with the lines in question and carets below them, or
//! the same as JSON. Nothing is printed here.

use std::borrow::Cow;

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
    let file_name = normalize_untrusted_str(file_name);
    let text = without_c1(text);
    let mut report = String::new();
    for finding in findings {
        report.push_str(&without_c1(&renderer.render(&[group(&file_name, &text, finding)])));
        report.push_str("\n\n");
    }
    report.truncate(report.trim_end().len());
    if !report.is_empty() {
        report.push('\n');
    }
    report
}

/// The text with a dot of as many bytes for each control character from U+0080 to U+009F, which the renderer lets through and of which
/// some begin a command to a terminal (ECMA-48, section 5.3, from memory).
fn without_c1(text: &str) -> Cow<'_, str> {
    let is_c1 = |sign| ('\u{80}'..='\u{9f}').contains(&sign);
    if text.contains(is_c1) { text.replace(is_c1, "\u{b7}").into() } else { text.into() }
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
pub(super) fn within(text: &str, span: Span) -> std::ops::Range<usize> {
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

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "panel 128x32\nreading µ from: \"a\"\n\ttext \"µ {x}\"\n";

    /// An error with everything that a finding can have, and a warning with nothing but its message.
    fn findings() -> Vec<Finding> {
        let at = |part: &str| {
            let start = TEXT.find(part).expect("a part of the text");
            Span::new(start, start + part.len())
        };
        vec![
            Finding::error("unknown name", at("x}").to(at("x}")), "expected a reading or a value, found `x`")
                .label("not defined")
                .help("did you mean `µ`?")
                .related(at("µ from"), "defined here"),
            Finding::warning("no range", at("reading"), "expected `range:`, found none"),
        ]
    }

    #[test]
    fn places_count_lines_and_characters_from_one() {
        let place = |offset| {
            let Place { line, column } = line_and_column(TEXT, offset);
            (line, column)
        };
        assert_eq!(place(0), (1, 1));
        assert_eq!(place(12), (1, 13));
        assert_eq!(place(13), (2, 1));
        assert_eq!(place(TEXT.find(" from").expect("a part")), (2, 10));
        // Within a character: its first byte.
        assert_eq!(place(TEXT.find("µ from").expect("a part") + 1), (2, 9));
        assert_eq!(place(TEXT.find("{x").expect("a part")), (3, 10));
        assert_eq!(place(TEXT.len()), (4, 1));
        assert_eq!(place(TEXT.len() + 100), (4, 1));
        assert_eq!(line_and_column("", 0), Place { line: 1, column: 1 });
        assert_eq!(line_and_column("a\r\nb", 3), Place { line: 2, column: 1 });
    }

    #[test]
    fn a_report_for_people() {
        insta::assert_snapshot!(to_text("door.layout", TEXT, &findings(), false), @r#"
        error[unknown name]: expected a reading or a value, found `x`
         --> door.layout:3:11
          |
        2 | reading µ from: "a"
          |         ------ defined here
        3 |     text "µ {x}"
          |              ^^ not defined
          |
          = help: did you mean `µ`?

        warning[no range]: expected `range:`, found none
         --> door.layout:2:1
          |
        2 | reading µ from: "a"
          | ^^^^^^^
        "#);
        assert_eq!(to_text("door.layout", TEXT, &[], false), "");
    }

    #[test]
    fn color_changes_nothing_but_color() {
        let colored = to_text("door.layout", TEXT, &findings(), true);
        let mut plain = String::new();
        for (at, part) in colored.split('\u{1b}').enumerate() {
            plain += if at == 0 { part } else { part.split_once('m').map_or("", |(_, rest)| rest) };
        }
        assert_ne!(colored, plain);
        // The renderer ends some lines with blanks where it changes the color.
        let trimmed = |text: &str| text.lines().map(str::trim_end).collect::<Vec<_>>().join("\n");
        assert_eq!(trimmed(&plain), trimmed(&to_text("door.layout", TEXT, &findings(), false)));
    }

    #[test]
    fn a_report_for_programs() {
        let json = to_json("door.layout", TEXT, &findings());
        assert_eq!(
            json,
            json!({
                "version": 1,
                "file": "door.layout",
                "errors": 1,
                "warnings": 1,
                "findings": [
                    {
                        "severity": "error",
                        "name": "unknown name",
                        "message": "expected a reading or a value, found `x`",
                        "line": 3, "column": 11, "end_line": 3, "end_column": 13,
                        "label": "not defined",
                        "help": "did you mean `µ`?",
                        "related": [
                            { "line": 2, "column": 9, "end_line": 2, "end_column": 15, "label": "defined here" }
                        ],
                    },
                    {
                        "severity": "warning",
                        "name": "no range",
                        "message": "expected `range:`, found none",
                        "line": 2, "column": 1, "end_line": 2, "end_column": 8,
                        "label": "",
                        "help": null,
                        "related": [],
                    },
                ],
            })
        );
    }

    #[test]
    fn a_place_that_does_not_fit_its_text_is_shown_at_the_nearest() {
        let finding = Finding::error("unexpected token", Span::new(1, 900), "expected a value, found nothing");
        let json = to_json("door.layout", "µ\n", std::slice::from_ref(&finding));
        assert_eq!((&json["findings"][0]["line"], &json["findings"][0]["column"]), (&json!(1), &json!(1)));
        assert!(to_text("door.layout", "µ\n", std::slice::from_ref(&finding), false).contains("door.layout:1:1"));
        assert!(to_text("door.layout", "", &[finding], false).contains("unexpected token"));
    }

    #[test]
    fn the_file_cannot_send_commands_to_the_terminal() {
        let text = "text \u{1b}[2J\n";
        let (_, findings) = super::super::parse(text);
        assert_eq!(findings.len(), 1);
        assert!(!to_text("door\u{1b}[2J.layout", text, &findings, false).contains('\u{1b}'));
        // The same command in one character, within what is shown, named and quoted.
        let text = "text \u{9b}2J # \u{90}\n";
        let (_, findings) = super::super::parse(text);
        let told = to_text("door\u{9b}2J.layout", text, &findings, false);
        assert!(!told.chars().any(|sign| sign.is_control() && sign != '\n'), "{told:?}");
        assert!(told.contains("text ·2J # ·"), "{told}");
    }
}
