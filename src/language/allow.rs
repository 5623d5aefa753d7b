//! `allow`: a warning that somebody has looked at and wants to keep, with the reason.
//!
//! What enters are a syntax tree and findings; what leaves are the findings that nobody allowed, and a warning for each `allow` that
//! none needs. `allow "never used" because: "shown from spring on"` holds for the statement behind it and all that stands in its
//! block. An error cannot be allowed.

use super::syntax::{Document, Span, Statement};
use super::{Finding, Severity, nearest, pages};

/// The word that the statement begins with.
pub const WORD: &str = "allow";
/// The argument with the reason.
pub const REASON: &str = "because";
const EXAMPLE: &str = "allow \"never used\" because: \"shown from spring on\"";

/// All that a file allows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Allowances(Vec<Allowance>);

#[derive(Clone, Debug, PartialEq, Eq)]
struct Allowance {
    /// The finding's name.
    name: &'static str,
    /// The statement that it holds for.
    holds_for: Span,
    /// Its own place.
    span: Span,
    /// Whether there was such a finding.
    is_needed: bool,
}

impl Allowances {
    /// What a document allows; what is wrong with it goes to `findings`.
    pub(super) fn of(document: &Document, findings: &mut Vec<Finding>) -> Self {
        let mut found = Self::default();
        found.collect(&document.statements, findings);
        found
    }

    fn collect(&mut self, statements: &[Statement], findings: &mut Vec<Finding>) {
        for (place, statement) in statements.iter().enumerate() {
            if statement.word.value == WORD {
                let next = statements[place + 1..].iter().find(|next| next.word.value != WORD);
                self.0.extend(allowance(statement, next, findings));
            } else if let Some(block) = &statement.block {
                self.collect(&block.statements, findings);
            }
        }
    }

    /// Takes out the findings that are allowed.
    pub fn settle(&mut self, findings: &mut Vec<Finding>) {
        findings.retain(|finding| {
            let covers = |allowed: &&mut Allowance| {
                let Allowance { name, holds_for, .. } = **allowed;
                name == finding.name && holds_for.start <= finding.span.start && finding.span.end <= holds_for.end
            };
            let mut allowed = self.0.iter_mut().filter(|_| finding.severity == Severity::Warning).filter(covers);
            let first = allowed.next();
            first.map(|allowed| allowed.is_needed = true).is_none()
        });
    }

    /// A warning for each that was not needed.
    pub fn unneeded(&self) -> impl Iterator<Item = Finding> {
        self.0.iter().filter(|allowed| !allowed.is_needed).map(|allowed| {
            Finding::warning(
                "nothing to allow",
                allowed.span,
                format!("there is no warning `{}` about the statement behind this", allowed.name),
            )
            .help("take it out; what was doubtful has been mended, or stands elsewhere")
        })
    }
}

fn allowance(statement: &Statement, next: Option<&Statement>, findings: &mut Vec<Finding>) -> Option<Allowance> {
    let example = format!("write, for example, `{EXAMPLE}`");
    let missing = |what: &str| {
        let message = format!("`{WORD}` needs {what}");
        Box::new(Finding::error("missing argument", statement.word.span, message).help(&example))
    };
    let understood = || {
        let [written] = statement.plain.as_slice() else { return Err(missing("the name of one warning")) };
        if let Some(argument) = statement.named.iter().find(|argument| argument.name.value != REASON) {
            let (span, name) = (argument.name.span, &argument.name.value);
            let message = format!("`{WORD}` has no argument `{name}`");
            return Err(Box::new(Finding::error("unknown argument", span, message).help(&example)));
        }
        let name = written.literal().ok_or_else(|| {
            Box::new(
                Finding::error("wrong kind", written.span, "expected the name of a warning in quotes").help(&example),
            )
        })?;
        let page = pages::find(name).ok_or_else(|| {
            let near = nearest(name, pages::PAGES.iter().map(|page| page.name));
            let help = near.map_or(example.clone(), |near| format!("did you mean \"{near}\"?"));
            let message = format!("there is no finding \"{name}\"");
            Box::new(Finding::error("unknown finding", written.span, message).help(help))
        })?;
        let reason = statement.named.first().and_then(|reason| reason.value.literal());
        if reason.is_none_or(|reason| reason.trim().is_empty()) {
            return Err(missing("the reason"));
        }
        let holds_for = next.map_or(statement.span, |next| next.span);
        Ok(Allowance { name: page.name, holds_for, span: statement.span, is_needed: false })
    };
    understood().map_err(|finding| findings.push(*finding)).ok()
}
