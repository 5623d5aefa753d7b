//! From a layout file to a program: the one way in which every verb reads a layout.
//!
//! What enters is a path; what leaves are the file's text, its findings and, without errors, its program. Outline faces are
//! read from beside the layout file.

use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use crate::faces::Catalogue;
use crate::language::model::{Face, Layout, Text, TextPart};
use crate::language::syntax::Document;
use crate::language::{self, Finding, report};
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
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut font = |face: &str| match reach {
        Reach::Anywhere => read_font(path, face),
        Reach::Beside => beside(folder, face).and_then(|file| font_in(&file)),
    };
    let Understood { findings, program, .. } = understand(text, &mut font);
    Loaded { name, text: text.to_string(), findings, program }
}

/// The bytes of an outline face that a layout file names, from beside it.
pub fn read_font(layout: &Path, face: &str) -> Result<Vec<u8>, String> {
    font_in(&layout.parent().unwrap_or(Path::new("")).join(face))
}

fn font_in(file: &Path) -> Result<Vec<u8>, String> {
    // A pipe would never end, nor even begin.
    if std::fs::metadata(file).is_ok_and(|known| !known.is_file()) {
        return Err(format!("cannot read {}: it is no file", file.display()));
    }
    read_start(file, MOST_FONT_BYTES).map_err(|problem| problem.to_string())
}

/// What a layout's text means, as far as it could be understood.
#[derive(Debug)]
pub struct Understood {
    /// The syntax tree; whole even where there are errors, which leave damaged nodes behind.
    pub document: Document,
    /// The model, if the checker found no error.
    pub layout: Option<Layout>,
    /// Everything that is wrong or doubtful, in the order of the file.
    pub findings: Vec<Finding>,
    /// The program, if no finding is an error.
    pub program: Option<Arc<Program>>,
}

/// Compiles a layout's text without looking at any file: `font` gives the bytes of an outline face by its path as written, or says
/// why there are none.
pub fn understand(text: &str, font: &mut dyn FnMut(&str) -> Result<Vec<u8>, String>) -> Understood {
    let (document, mut findings) = language::parse(text);
    let (layout, mut more) = language::check(&document);
    if language::has_errors(&findings) {
        // What stood where the parser could not read on might have used it.
        more.retain(|finding| finding.name != "never used");
    }
    findings.extend(more);
    let damaged = language::has_errors(&findings);
    let mut program = None;
    if let Some(layout) = layout.as_ref().filter(|_| !damaged) {
        let mut catalogue = Catalogue::new();
        let unread = add_outlines(layout, font, &mut catalogue);
        if unread.is_empty() {
            let (compiled, mut more) = layout::compile(layout, &catalogue);
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
    Understood { document, layout, findings, program }
}

/// The file that a layout in `folder` names, if that lies in this folder. Links count as where they lead.
fn beside(folder: &Path, name: &str) -> Result<PathBuf, String> {
    let outside =
        || format!("{name:?} lies outside of the folder that this layout may read: name a file in that folder");
    if !Path::new(name).components().all(|part| matches!(part, Component::Normal(_))) {
        return Err(outside());
    }
    let here = if folder == Path::new("") { Path::new(".") } else { folder };
    let unread = |problem: std::io::Error| format!("cannot read {name:?}: {problem}");
    let (file, here) = (folder.join(name).canonicalize().map_err(unread)?, here.canonicalize().map_err(unread)?);
    if file.starts_with(here) { Ok(file) } else { Err(outside()) }
}

/// Takes the outline faces that a layout names into the catalogue.
fn add_outlines(
    layout: &Layout,
    font: &mut dyn FnMut(&str) -> Result<Vec<u8>, String>,
    catalogue: &mut Catalogue,
) -> Vec<Finding> {
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
        let added = font(&face.value).and_then(|bytes| {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_face_that_is_a_pipe_keeps_nobody_waiting() {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("own.ttf");
        assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let problem = read_font(&folder.path().join("door.layout"), "own.ttf").unwrap_err();
        assert!(problem.ends_with("own.ttf: it is no file"), "{problem}");
        let missing = read_font(&folder.path().join("door.layout"), "other.ttf").unwrap_err();
        assert!(missing.contains("other.ttf: No such file"), "{missing}");
    }
}
