//! How well the digits of a face that somebody brings can be read: what `check` says of it.
//!
//! What enters is the strike that a number is set in; what leaves are warnings. The built-in faces are held to the same by their tests.

use crate::faces::{LEAST_OUTLINE, Strike, Weight};
use crate::language::{Finding, Span};

/// Warnings about a number at `span` that is set in this strike of an outline face.
pub(super) fn of_outline(strike: &Strike, span: Span) -> Vec<Finding> {
    let height = strike.figure_height();
    let mut findings = Vec::new();
    if height < LEAST_OUTLINE {
        findings.push(
            Finding::warning("small outline", span, "a number in an outline face this small is hard to read")
                .label(format!("digits {height} px tall"))
                .help("leave `face:` out, so that a face drawn for this size is taken, or give it 12 px or more"),
        );
    }
    let stroke = strike.stroke().unwrap_or(0);
    let weight = match strike.weight() {
        Weight::Good => None,
        Weight::Thin => Some(("thin for their height: from afar they fade first", "a heavier cut of the face")),
        Weight::Thick => {
            Some(("thick for their height: they fill what tells digits apart", "a lighter cut of the face"))
        }
    };
    if let Some((what, way)) = weight {
        findings.push(
            Finding::warning("stroke width", span, format!("the strokes of this face are {what}"))
                .label(format!("{stroke} px in digits {height} px tall"))
                .help(format!("take {way}, or leave `face:` out; light strokes on dark want an eighth of the height")),
        );
    }
    if let Some((one, other, share)) = strike.alike() {
        findings.push(
            Finding::warning("digits alike", span, format!("in this face {one} and {other} are hard to tell apart"))
                .label(format!("{:.0} % of their pixels differ", 100.0 * share))
                .help("take a larger `size:` or another face, or leave `face:` out"),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::{Bitmap, Size};
    use crate::faces::Glyph;

    /// A face whose digits are all the same upright stroke.
    fn strokes(height: u32, stroke: u32) -> Strike {
        let bitmap = Bitmap::from_fn(Size::new(stroke, height), |_, _| true);
        let glyph = Glyph { bitmap, left: 0, rise: height as i32, advance: stroke + 1 };
        Strike::new("strokes", height, height, 0, ('0'..='9').map(|digit| (digit, glyph.clone())).collect(), glyph)
    }

    fn said(height: u32, stroke: u32) -> Vec<String> {
        let findings = of_outline(&strokes(height, stroke), Span::default());
        findings.iter().map(|finding| format!("{}: {}", finding.name, finding.label)).collect()
    }

    #[test]
    fn each_reason_is_told() {
        assert_eq!(said(22, 3), ["digits alike: 0 % of their pixels differ"]);
        assert_eq!(said(22, 1)[0], "stroke width: 1 px in digits 22 px tall");
        assert_eq!(said(22, 9)[0], "stroke width: 9 px in digits 22 px tall");
        assert_eq!(said(11, 2)[0], "small outline: digits 11 px tall");
        assert_eq!(said(12, 2).len(), 1, "from 12 px on an outline is not small");
    }
}
