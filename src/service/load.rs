//! From a layout file to a program: the one way in which every verb reads a layout.
//!
//! What enters is a path; what leaves are the file's text, its findings and, without errors, its program. Outline faces are
//! read from beside the layout file.

use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use crate::faces::Catalogue;
use crate::language::model::{Face, Layout, Text, TextPart};
use crate::language::{self, Finding, Severity, report};
use crate::layout::{self, Program};

use super::files::{Unreadable, read_start};

/// More than this is read of no font file; the catalogue refuses files of that size.
const MOST_FONT_BYTES: usize = 16 * 1024 * 1024;

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
pub fn load(path: &Path) -> Result<Loaded, Unreadable> {
    Ok(compile(&read_start(path, language::MAX_BYTES + 1)?, path))
}

/// Which files a layout may name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reach {
    /// Any: it was written by somebody on this machine.
    Anywhere,
    /// Those in the folder of the layout file and below it: it came from elsewhere.
    Beside,
}

/// Compiles what stands in a layout file; outline faces are looked for beside `path`.
pub fn compile(bytes: &[u8], path: &Path) -> Loaded {
    compile_within(bytes, path, Reach::Anywhere)
}

/// Compiles a layout that would lie at `path` and may name files within `reach`.
pub(super) fn compile_within(bytes: &[u8], path: &Path, reach: Reach) -> Loaded {
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
    let (layout, mut more) = language::check(&document);
    if findings.iter().any(|finding| finding.severity == Severity::Error) {
        // What stood where the parser could not read on might have used it.
        more.retain(|finding| finding.name != "never used");
    }
    findings.extend(more);
    let damaged = findings.iter().any(|finding| finding.severity == Severity::Error);
    let mut program = None;
    if let Some(layout) = layout.filter(|_| !damaged) {
        let mut catalogue = Catalogue::new();
        let unread = add_outlines(&layout, path, reach, &mut catalogue);
        if unread.is_empty() {
            let (compiled, mut more) = layout::compile(&layout, &catalogue);
            let mut allowances = layout.allowances.clone();
            allowances.settle(&mut more);
            findings.extend(more);
            if compiled.is_some() {
                findings.extend(allowances.unneeded());
            }
            program = compiled.map(Arc::new);
        }
        findings.extend(unread);
    }
    findings.sort_by_key(|finding| finding.span);
    Loaded { name, text: text.to_string(), findings, program }
}

/// The file that a layout in `folder` names, if that is within its reach. Links count as where they lead.
fn reached(folder: &Path, name: &str, reach: Reach) -> Result<PathBuf, String> {
    let file = folder.join(name);
    if reach == Reach::Anywhere {
        return Ok(file);
    }
    let outside =
        || format!("{name:?} lies outside of the folder that this layout may read: name a file in that folder");
    if !Path::new(name).components().all(|part| matches!(part, Component::Normal(_))) {
        return Err(outside());
    }
    let here = if folder == Path::new("") { Path::new(".") } else { folder };
    let unread = |problem: std::io::Error| format!("cannot read {name:?}: {problem}");
    let (file, here) = (file.canonicalize().map_err(unread)?, here.canonicalize().map_err(unread)?);
    // A device or a pipe may never end.
    if file.starts_with(here) && file.is_file() { Ok(file) } else { Err(outside()) }
}

/// Reads the outline faces that a layout names into the catalogue, from beside the layout file.
fn add_outlines(layout: &Layout, path: &Path, reach: Reach, catalogue: &mut Catalogue) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut seen: Vec<&str> = Vec::new();
    let texts = layout.texts();
    for text in &texts {
        let Some(Face::Outline(face)) = &text.face else { continue };
        if seen.contains(&face.value.as_str()) {
            continue;
        }
        seen.push(&face.value);
        let characters: String = texts.iter().map(|text| literal_characters(text)).collect();
        let file = reached(path.parent().unwrap_or(Path::new("")), &face.value, reach);
        let bytes = file.and_then(|file| read_start(&file, MOST_FONT_BYTES).map_err(|problem| problem.to_string()));
        let added = bytes.and_then(|bytes| {
            catalogue.add_outline(&face.value, &bytes, &characters).map_err(|problem| problem.to_string())
        });
        if let Err(problem) = added {
            findings.push(
                Finding::error("unknown face", face.span, problem)
                    .label("not usable")
                    .help("paths are relative to the layout file; built-in faces are named without quotes"),
            );
        }
    }
    findings
}

/// The characters that a text shows whatever its readings are.
fn literal_characters(text: &Text) -> String {
    let mut characters = String::new();
    for part in &text.parts {
        match part {
            TextPart::Literal(literal) => characters.push_str(literal),
            TextPart::Words { choice, .. } => choice.texts(&mut |words| characters.push_str(words)),
            TextPart::Clock(clock) => characters.extend(clock.pattern.extremes().flatten()),
            TextPart::Time(_, style) => characters.extend(layout::format::longest_times(*style)),
            TextPart::Number { .. } => {}
        }
    }
    characters
}

impl Loaded {
    /// The findings as a report for people; empty without any.
    pub fn report(&self, color: bool) -> String {
        report::to_text(&self.name, &self.text, &self.findings, color)
    }
}
