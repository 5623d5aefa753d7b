//! One canonical form of a layout file.
//!
//! In comes the text of a layout that parses without an error, out comes the same layout in the form that all files share.
//! Comments stay, and so does one blank line of several. Only blanks and line breaks change: the tokens are the same ones in
//! the same order, and texts are copied byte for byte. Nothing is read or written here.

mod lines;
mod places;
#[cfg(test)]
mod tests;

use super::{Finding, decode, has_errors, parse};

/// The columns beyond which a statement goes on in a further line, before one of its named arguments.
const MAX_COLUMNS: usize = 110;

/// Why a layout is left as it is.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// The findings of the parser, one of them an error: nobody can say how damaged text is meant.
    #[error("the layout has errors, and nobody can say how damaged text is meant")]
    Damaged(Vec<Finding>),
    /// What came out is not the layout that went in, or larger than a layout may be.
    #[error("the canonical form of this layout cannot be read as the same layout, which is therefore left as it is")]
    Changed,
}

/// The canonical form of `text`. It has been parsed again, and found to be the same layout.
///
/// # Errors
/// Where the layout cannot be parsed, and where its form would be another layout.
pub fn canonical(text: &str) -> Result<String, Refusal> {
    let (document, findings) = parse(text);
    if has_errors(&findings) {
        return Err(Refusal::Damaged(findings));
    }
    let mut lines = lines::lines(text);
    for run in lines.chunk_by_mut(|a, b| [a, b].iter().all(|line| line.is_whole_reading(MAX_COLUMNS))) {
        align(run, 0);
    }
    let mut out = String::with_capacity(text.len());
    for line in &lines {
        line.write(&mut out, MAX_COLUMNS);
    }
    let same = decode(out.as_bytes()).is_ok() && places::forgotten(parse(&out).0) == places::forgotten(document);
    if same { Ok(out) } else { Err(Refusal::Changed) }
}

/// Makes columns of readings that follow each other: from piece `at` on, the same arguments begin below each other as far
/// as no line becomes too long.
fn align(run: &mut [lines::Line], at: usize) {
    for group in run.chunk_by_mut(|a, b| a.argument(at + 1) == b.argument(at + 1)) {
        let to = group.iter().map(|line| line.piece_width(at)).max().unwrap_or_default();
        let fits = |line: &lines::Line| line.width() + to - line.piece_width(at) <= MAX_COLUMNS;
        if group.len() > 1 && group[0].argument(at + 1).is_some() && group.iter().all(fits) {
            group.iter_mut().for_each(|line| line.pad(at, to));
            align(group, at + 1);
        }
    }
}
