//! The format of a field: what stands between the `:` and the `}`.
//!
//! The syntax is that of `std::fmt` (The Rust Standard Library, "Formatting Parameters"), without the parts that make no sense
//! on a panel: types, alternate forms, and widths taken from arguments.

use super::super::syntax::{Format, FormatAlign};
use super::super::{Finding, Span};
use super::mistakes::quoted;

/// The largest width and precision: more characters than any panel has columns of pixels.
pub const MAX_FORMAT_LENGTH: u16 = 256;

/// Reads `[[fill]align][+][0][width][.precision]`. `at` is the byte of the file where `spec` begins, for the finding's place;
/// 0 where there is no file.
///
/// # Errors
/// A finding named `bad format` with the place of the first character that does not fit.
pub fn parse_format(spec: &str, at: usize) -> Result<Format, Box<Finding>> {
    let mut reader = Reader { spec, position: 0, at };
    if spec.is_empty() {
        return Err(reader.bad(
            0,
            "expected a format after `:`, found nothing",
            "write a format, as in `:.1`, or leave the `:` out",
        ));
    }
    let mut format = Format::default();
    let mut characters = spec.chars();
    let (first, second) = (characters.next(), characters.next());
    if let Some(align) = second.and_then(align) {
        format.fill = first;
        format.align = Some(align);
        reader.position = first.map_or(0, char::len_utf8) + 1;
    } else if let Some(align) = first.and_then(align) {
        format.align = Some(align);
        reader.position = 1;
    }
    format.plus = reader.take("+");
    format.zero = reader.take("0");
    format.width = reader.number("width")?;
    if reader.take(".") {
        format.precision = reader.number("precision")?;
        if format.precision.is_none() {
            let message = format!("expected digits after the `.` of a format, found {}", reader.found());
            let length = reader.rest().chars().next().map_or(0, char::len_utf8);
            return Err(reader.bad(length, &message, "write how many decimals to show, as in `:.1`"));
        }
    }
    match reader.rest().chars().next() {
        None => Ok(format),
        Some(c) => {
            let message = format!("expected `[[fill]align][+][0][width][.precision]`, found {}", reader.found());
            Err(reader.bad(c.len_utf8(), &message, help_for(c)))
        }
    }
}

fn align(c: char) -> Option<FormatAlign> {
    match c {
        '<' => Some(FormatAlign::Left),
        '^' => Some(FormatAlign::Center),
        '>' => Some(FormatAlign::Right),
        _ => None,
    }
}

/// What to write instead of a character that does not fit.
fn help_for(c: char) -> &'static str {
    match c {
        ' ' | '\t' => "a format has no spaces, except one before `<`, `^` or `>` to fill with",
        'f' | 'd' | 'i' | 's' | 'g' => "a format has no type letter: write `:.1` for one decimal, `:.0` for none",
        'x' | 'X' | 'o' | 'b' | 'e' | 'E' | '?' => "numbers are shown in decimal: write `:.1` for one decimal",
        '#' => "there is no alternate form; a comment cannot stand within a text",
        '$' | '*' => "width and precision are plain numbers here, as in `:>5.1`",
        '-' => "a minus is always shown; write `:+.1` to show the plus as well",
        '%' => "write the sign behind the field: `{rh:.0}%`",
        ',' => "there are no group separators; decimals are written `:.1`",
        '<' | '^' | '>' => "fill and alignment come first, as in `:>5.1`",
        '+' => "the plus stands before zero and width, as in `:+5.1`",
        _ => "write `:.1` for one decimal, `:>5.1` for a width of five as well",
    }
}

struct Reader<'a> {
    spec: &'a str,
    position: usize,
    at: usize,
}

impl<'a> Reader<'a> {
    fn rest(&self) -> &'a str {
        &self.spec[self.position..]
    }

    fn take(&mut self, sign: &str) -> bool {
        let there = self.rest().starts_with(sign);
        if there {
            self.position += sign.len();
        }
        there
    }

    /// Digits, if there are any.
    fn number(&mut self, what: &str) -> Result<Option<u16>, Box<Finding>> {
        let rest = self.rest();
        let length = rest.bytes().take_while(u8::is_ascii_digit).count();
        if length == 0 {
            return Ok(None);
        }
        let digits = &rest[..length];
        match digits.parse() {
            Ok(number) if number <= MAX_FORMAT_LENGTH => {
                self.position += length;
                Ok(Some(number))
            }
            _ => {
                let message = format!("expected a {what} of at most {MAX_FORMAT_LENGTH}, found {}", quoted(digits));
                Err(self.bad(length, &message, "no panel shows that many characters"))
            }
        }
    }

    /// What stands at the position, for "found …".
    fn found(&self) -> String {
        match self.rest().chars().next() {
            Some(c) => quoted(c.encode_utf8(&mut [0; 4])),
            None => "the end of the format".into(),
        }
    }

    fn bad(&self, length: usize, message: &str, help: &str) -> Box<Finding> {
        let start = self.at + self.position;
        let end = (start + length).min(self.at + self.spec.len());
        Box::new(Finding::error("bad format", Span::new(start, end), message).help(help))
    }
}
