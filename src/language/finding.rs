//! What is wrong, or doubtful, in a layout: findings with a place, a label and a way out.
//!
//! Each stage collects findings and goes on; only `commands` decides how they are shown.

use super::Span;

/// Whether a finding keeps a layout from being shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// The layout can be shown, but something about it is doubtful.
    Warning,
    /// The layout cannot be shown.
    Error,
}

/// One mistake or doubt, tied to a place in the layout file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Whether the layout can still be shown.
    pub severity: Severity,
    /// A stable name in words, such as `unknown name`: the same for all findings of the kind.
    pub name: &'static str,
    /// What is wrong, in lower case and without a full stop: "expected a unit after `unit:`, found `{`".
    pub message: String,
    /// The place that the caret marks.
    pub span: Span,
    /// What stands beside the caret; may be empty.
    pub label: String,
    /// What to write instead, or which ways out there are.
    pub help: Option<String>,
    /// Other places that matter, such as the first use of a name that is given twice, each with its label.
    pub related: Vec<(Span, String)>,
}

/// Whether one of the findings is an error.
pub fn has_errors(findings: &[Finding]) -> bool {
    findings.iter().any(|finding| finding.severity == Severity::Error)
}

/// More characters than anybody reads: a name may be as long as the file.
const MOST_CHARACTERS: usize = 800;

/// The text, without its middle where it is longer than anybody reads.
fn brief(text: String) -> String {
    let place = |character: usize| text.char_indices().nth(character).map(|(byte, _)| byte);
    let length = text.chars().count();
    match (place(MOST_CHARACTERS / 2), place(length.saturating_sub(MOST_CHARACTERS / 2))) {
        (Some(head), Some(tail)) if length > MOST_CHARACTERS => format!("{}…{}", &text[..head], &text[tail..]),
        _ => text,
    }
}

impl Finding {
    /// An error at `span`, without label, help or related places.
    pub fn error(name: &'static str, span: Span, message: impl Into<String>) -> Self {
        Self {
            severity: Severity::Error,
            name,
            message: brief(message.into()),
            span,
            label: String::new(),
            help: None,
            related: Vec::new(),
        }
    }

    /// A warning at `span`, without label, help or related places.
    pub fn warning(name: &'static str, span: Span, message: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, ..Self::error(name, span, message) }
    }

    /// The same finding with words beside the caret.
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = brief(label.into());
        self
    }

    /// The same finding with a way out.
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(brief(help.into()));
        self
    }

    /// The same finding with another place that matters.
    pub fn related(mut self, span: Span, label: impl Into<String>) -> Self {
        self.related.push((span, brief(label.into())));
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_finding_quotes_no_more_than_anybody_reads() {
        let long = format!("there is no statement `{}`", "ä".repeat(5000));
        let finding = Finding::error("unknown statement", Span::default(), long.as_str())
            .label(long.as_str())
            .help(long.as_str())
            .related(Span::default(), long.as_str());
        for text in [&finding.message, &finding.label, finding.help.as_ref().unwrap(), &finding.related[0].1] {
            assert!(
                text.chars().count() == MOST_CHARACTERS + 1 && text.starts_with("there is") && text.ends_with("ä`")
            );
        }
        let whole = "ä".repeat(MOST_CHARACTERS);
        assert_eq!(Finding::error("unknown statement", Span::default(), whole.as_str()).message, whole);
    }
}
