//! From syntax to meaning: what each statement says, with names resolved, units checked and kinds told apart.
//!
//! What enters is a syntax tree; what leaves is a [`Layout`] and every finding of the file, or findings alone where there is an
//! error. Nothing here knows how large a glyph is.

mod arguments;
mod care;
mod clocks;
mod curve;
#[cfg(feature = "editor")]
mod declared;
mod elements;
mod expressions;
mod heard;
mod sense;
mod statements;
mod trust;
mod windows;

use crate::formulas::Bounds;

use super::model::Layout;
use super::syntax::Document;
use super::{Allowances, Finding, MAX_FINDINGS, each, has_errors};

#[cfg(feature = "editor")]
pub use curve::NAME as CURVE;
#[cfg(feature = "editor")]
pub use declared::{Declared, Means, declared};
#[cfg(feature = "editor")]
pub use expressions::functions;
use expressions::{Expressions, Scope};

/// The meaning of a document. There is a layout if and only if no finding is an error.
pub fn check(document: &Document) -> (Option<Layout>, Vec<Finding>) {
    let mut checker = Checker::default();
    let mut allowances = Allowances::of(document, &mut checker.findings);
    let document = each::expand(document, &mut checker.findings);
    let layout = checker.document(&document);
    let mut findings = checker.findings;
    say_once(&mut findings);
    allowances.settle(&mut findings);
    if findings.len() >= MAX_FINDINGS {
        findings.truncate(MAX_FINDINGS);
        let last = findings[MAX_FINDINGS - 1].span;
        findings.push(
            Finding::error("too many findings", last, format!("gave up after {MAX_FINDINGS} mistakes"))
                .help("mend the first ones and check again"),
        );
    }
    let failed = has_errors(&findings);
    (layout.filter(|_| !failed).map(|layout| Layout { allowances, ..layout }), findings)
}

/// Of findings of one kind at one place, which the copies of an `each` have in common, the first is enough.
pub(crate) fn say_once(findings: &mut Vec<Finding>) {
    let mut said = std::collections::BTreeSet::new();
    findings.retain(|finding| said.insert((finding.span, finding.name)));
}

/// What is known so far while a document is checked.
#[derive(Default)]
struct Checker {
    findings: Vec<Finding>,
    scope: Scope,
    reading_bounds: Vec<Bounds>,
    value_bounds: Vec<Bounds>,
    observations: windows::Observations,
    /// How many elements there were so far.
    elements: usize,
}

impl Checker {
    /// Whether there are so many mistakes that nobody wants to see more of them.
    fn gives_up(&self) -> bool {
        self.findings.len() >= MAX_FINDINGS
    }

    /// Checks expressions against all that was declared so far.
    fn expressions(&mut self) -> Expressions<'_> {
        Expressions {
            scope: &self.scope,
            findings: &mut self.findings,
            observations: &mut self.observations,
            reading_bounds: &self.reading_bounds,
            value_bounds: &self.value_bounds,
        }
    }
}
