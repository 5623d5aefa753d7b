//! From a layout file to a program: the one way in which every verb reads a layout.
//!
//! What enters is a path; what leaves are the file's text, its findings and, without errors, its program. Outline faces are
//! read from beside the layout file.

use std::path::Path;
use std::sync::Arc;

use crate::faces::Catalogue;
use crate::language::{self, Finding, Severity, report};
use crate::layout::{self, Program};

use super::Failure;

/// A layout file as far as it could be understood.
#[derive(Debug)]
pub struct Loaded {
    /// The name for reports.
    pub name: String,
    /// The file's text; empty where it is no text.
    pub text: String,
    /// Everything that is wrong or doubtful, in the order of the file.
    pub findings: Vec<Finding>,
    /// The program, if no finding is an error.
    pub program: Option<Arc<Program>>,
}

/// Reads and compiles a layout file. Findings are no failure; only a file that cannot be read is.
pub fn load(path: &Path) -> Result<Loaded, Failure> {
    let bytes = std::fs::read(path).map_err(|problem| Failure::Read { path: path.into(), problem })?;
    Ok(compile(&bytes, path))
}

/// Compiles what stands in a layout file; outline faces are looked for beside `path`.
pub fn compile(bytes: &[u8], path: &Path) -> Loaded {
    let name = path.display().to_string();
    let text = match language::decode(bytes) {
        Ok(text) => text,
        Err(finding) => {
            // What is no text is shown as far as it goes, so that the report can point into it.
            let text = String::from_utf8_lossy(&bytes[..bytes.len().min(language::MAX_BYTES)]).into_owned();
            return Loaded { name, text, findings: vec![*finding], program: None };
        }
    };
    let (document, mut findings) = language::parse(text);
    let (layout, more) = language::check(&document);
    findings.extend(more);
    let damaged = findings.iter().any(|finding| finding.severity == Severity::Error);
    let mut program = None;
    if let Some(layout) = layout.filter(|_| !damaged) {
        let catalogue = Catalogue::new();
        let (compiled, more) = layout::compile(&layout, &catalogue);
        findings.extend(more);
        program = compiled.map(Arc::new);
    }
    findings.sort_by_key(|finding| finding.span);
    Loaded { name, text: text.to_string(), findings, program }
}

impl Loaded {
    /// The findings as a report for people; empty without any.
    pub fn report(&self, color: bool) -> String {
        report::to_text(&self.name, &self.text, &self.findings, color)
    }

    /// The program; the report goes to standard error where there is none, and where there are warnings.
    pub fn program_or_report(&self, path: &Path) -> Result<Arc<Program>, Failure> {
        use std::io::IsTerminal;

        eprint!("{}", self.report(std::io::stderr().is_terminal()));
        self.program.clone().ok_or_else(|| Failure::Layout { path: path.into() })
    }
}
