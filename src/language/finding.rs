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

impl Finding {
    /// An error at `span`, without label, help or related places.
    pub fn error(name: &'static str, span: Span, message: impl Into<String>) -> Self {
        Self {
            severity: Severity::Error,
            name,
            message: message.into(),
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
        self.label = label.into();
        self
    }

    /// The same finding with a way out.
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// The same finding with another place that matters.
    pub fn related(mut self, span: Span, label: impl Into<String>) -> Self {
        self.related.push((span, label.into()));
        self
    }
}
