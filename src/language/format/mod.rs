//! One canonical form of a layout file.
//!
//! In comes the text of a layout that parses without an error, out comes the same layout in the form that all files share.
//! Comments stay, and so does one blank line of several. Only blanks and line breaks change: the tokens are the same ones in
//! the same order, and texts are copied byte for byte. Nothing is read or written here.

mod lines;
#[cfg(test)]
mod tests;

use super::parse;
use super::{Finding, Severity};

/// The columns beyond which a statement goes on in a further line, before one of its named arguments.
const MAX_COLUMNS: usize = 110;

/// The canonical form of `text`.
///
/// # Errors
/// The findings of the parser if one of them is an error: nobody can say how damaged text is meant.
pub fn canonical(text: &str) -> Result<String, Vec<Finding>> {
    let (_, findings) = parse(text);
    if findings.iter().any(|finding| finding.severity == Severity::Error) {
        return Err(findings);
    }
    let mut lines = lines::lines(text);
    align_readings(&mut lines);
    let mut out = String::with_capacity(text.len());
    for line in &lines {
        line.write(&mut out, MAX_COLUMNS);
    }
    Ok(out)
}

/// Gives the names of readings that follow each other the same width, so that their arguments begin in one column.
fn align_readings(lines: &mut [lines::Line]) {
    for run in lines.chunk_by_mut(|a, b| a.is_reading() && b.is_reading()) {
        let width = run.iter().map(lines::Line::head_width).max().unwrap_or_default();
        if run.len() > 1 {
            run.iter_mut().for_each(|line| line.pad_head(width));
        }
    }
}
