//! Numbers as text: the one place where a number becomes characters.
//!
//! What enters is a finite number and a field's format; what leaves are characters, the same on every machine, with a true
//! minus sign and never a "minus zero".

use std::fmt::Write;

use crate::formulas::TimeStyle;
use crate::language::syntax::{Format, FormatAlign};

/// The true minus sign, as wide as a plus.
pub const MINUS: char = '\u{2212}';

/// A space as wide as a digit, which fills numbers up, so that their last digits stand below each other.
pub const FIGURE_SPACE: char = '\u{2007}';

/// Appends `number` as `format` says; without a precision a whole number.
///
/// Rounding is to the nearest decimal, as Rust's own formatting does it on the exact binary value.
pub fn write_number(out: &mut String, number: f64, format: &Format) {
    let start = out.len();
    let precision = usize::from(format.precision.unwrap_or(0));
    if !write_small(out, number.abs(), precision) {
        // Writing to a string cannot fail.
        let _ = write!(out, "{:.precision$}", number.abs());
    }
    let is_zero = || out[start..].bytes().all(|digit| digit == b'0' || digit == b'.');
    let sign = if number < 0.0 && !is_zero() { Some(MINUS) } else { format.plus.then_some('+') };
    let width = usize::from(format.width.unwrap_or(0));
    let missing = width.saturating_sub(out.len() - start + usize::from(sign.is_some()));
    if format.zero {
        for _ in 0..missing {
            out.insert(start, '0');
        }
    }
    if let Some(sign) = sign {
        out.insert(start, sign);
    }
    if !format.zero {
        pad(out, start, missing, format, FormatAlign::Right, FIGURE_SPACE);
    }
}

/// The units of a span of time in words, with how many seconds each has, and more than its most.
const TIMES: [(&str, f64, f64); 4] =
    [("s", 1.0, 60.0), ("min", 60.0, 60.0), ("h", 3600.0, 24.0), ("d", 86400.0, 100.0)];

/// Appends a time in seconds: a span as `45 s`, `3 min`, `2 h` or `5 d`, where more than 99 days are 99 days, or a time of day as
/// `07:45`. Both are rounded down.
pub fn write_time(out: &mut String, seconds: f64, style: TimeStyle) {
    // Writing to a string cannot fail.
    let _ = match style {
        TimeStyle::Span => {
            let fits = |(_, length, most): &&(&str, f64, f64)| seconds < length * most;
            let (unit, length, most) = TIMES.iter().find(fits).unwrap_or(&TIMES[TIMES.len() - 1]);
            write!(out, "{} {unit}", (seconds / length).min(most - 1.0).max(0.0) as u32)
        }
        TimeStyle::OfDay => {
            let minutes = (seconds / 60.0).clamp(0.0, 24.0 * 60.0) as u32;
            write!(out, "{:02}:{:02}", minutes / 60, minutes % 60)
        }
    };
}

/// The longest texts that [`write_time`] can give; all digits are equally wide.
pub fn longest_times(style: TimeStyle) -> Vec<String> {
    match style {
        TimeStyle::Span => TIMES.iter().map(|(unit, ..)| format!("00 {unit}")).collect(),
        TimeStyle::OfDay => vec!["00:00".to_string()],
    }
}

/// Appends a number of few digits by whole-number arithmetic, which is several times as fast as the general way; does nothing and
/// says so where that could give another digit.
fn write_small(out: &mut String, magnitude: f64, precision: usize) -> bool {
    const SCALES: [f64; 4] = [1.0, 10.0, 100.0, 1000.0];
    /// Below this, scaling is wrong by less than a millionth.
    const MOST: f64 = (1u64 << 33) as f64;
    let Some(scale) = SCALES.get(precision) else { return false };
    let scaled = magnitude * scale;
    if scaled.is_nan() || scaled >= MOST {
        return false;
    }
    let whole = scaled as u64;
    let rest = scaled - whole as f64;
    // So near to the middle between two numbers, the exact binary value decides.
    if (rest - 0.5).abs() < 1e-5 {
        return false;
    }
    let mut left = whole + u64::from(rest > 0.5);
    let mut characters = [b'0'; 16];
    let mut first = characters.len();
    let mut written = 0;
    while left > 0 || written <= precision {
        if written == precision && precision > 0 {
            first -= 1;
            characters[first] = b'.';
        }
        first -= 1;
        characters[first] = b'0' + (left % 10) as u8;
        left /= 10;
        written += 1;
    }
    out.push_str(str::from_utf8(&characters[first..]).unwrap_or_default());
    true
}

/// Appends `words` as `format` says: cut to the precision and filled to the width.
pub fn write_words(out: &mut String, words: &str, format: &Format) {
    let start = out.len();
    let most = format.precision.map_or(usize::MAX, usize::from);
    out.extend(words.chars().take(most));
    let missing = usize::from(format.width.unwrap_or(0)).saturating_sub(out[start..].chars().count());
    pad(out, start, missing, format, FormatAlign::Left, ' ');
}

/// Fills up what stands from `start` on with `missing` characters, by the format or as is usual for its kind.
fn pad(out: &mut String, start: usize, missing: usize, format: &Format, usual: FormatAlign, usual_fill: char) {
    if missing == 0 {
        return;
    }
    let before = match format.align.unwrap_or(usual) {
        FormatAlign::Left => 0,
        FormatAlign::Center => missing / 2,
        FormatAlign::Right => missing,
    };
    let fill = format.fill.unwrap_or(usual_fill);
    for _ in 0..before {
        out.insert(start, fill);
    }
    out.extend(std::iter::repeat_n(fill, missing - before));
}

/// A number's shape for when there is no number: `0` for each digit, one or two before the point as `widest` asks for.
pub fn placeholder(widest: f64, format: &Format) -> String {
    let mut shape = String::from(if widest.abs() >= 9.5 { "00" } else { "0" });
    if let Some(precision @ 1..) = format.precision {
        shape.push('.');
        shape.extend(std::iter::repeat_n('0', usize::from(precision)));
    }
    shape
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn written(number: f64, format: &Format) -> String {
        let mut out = String::new();
        write_number(&mut out, number, format);
        out
    }

    fn digits(precision: u16) -> Format {
        Format { precision: Some(precision), ..Format::default() }
    }

    #[test]
    fn signs_and_rounding() {
        assert_eq!(written(12.44, &digits(1)), "12.4");
        assert_eq!(written(-10.4, &digits(1)), "−10.4");
        assert_eq!(written(-0.04, &digits(1)), "0.0");
        assert_eq!(written(-0.0, &Format::default()), "0");
        assert_eq!(written(99.96, &digits(1)), "100.0");
        assert_eq!(written(0.2, &Format { plus: true, ..digits(1) }), "+0.2");
        assert_eq!(written(-0.2, &Format { plus: true, ..digits(0) }), "+0");
    }

    #[test]
    fn width_and_fill() {
        assert_eq!(written(7.0, &Format { width: Some(3), ..Format::default() }), "\u{2007}\u{2007}7");
        assert_eq!(written(-7.0, &Format { width: Some(4), zero: true, ..Format::default() }), "−007");
        let centred = Format { width: Some(4), fill: Some('*'), align: Some(FormatAlign::Center), ..Format::default() };
        assert_eq!(written(7.0, &centred), "*7**");
        let mut out = String::from("door ");
        write_words(&mut out, "closed", &Format { precision: Some(3), width: Some(5), ..Format::default() });
        assert_eq!(out, "door clo  ");
    }

    proptest! {
        /// Rust's own formatting is the reference wherever the rules do not differ on purpose.
        #[test]
        fn agrees_with_the_standard_format(number in -1e9..1e9f64, precision in 0u16..6, width in 0u16..14) {
            let places = usize::from(precision);
            let mut expected = format!("{number:.places$}");
            if expected.trim_start_matches(['-', '0', '.']).is_empty() {
                expected = expected.trim_start_matches('-').to_string();
            }
            let characters = usize::from(width);
            let expected = format!("{expected:>characters$}").replace('-', "−").replace(' ', "\u{2007}");
            let format = Format { width: Some(width), ..digits(precision) };
            prop_assert_eq!(written(number, &format), expected);
        }
    }
}
